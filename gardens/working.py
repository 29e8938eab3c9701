"""The steps behind a number, as data: screens, API and paper print the same ones.

A `Working` is one line and then ordered steps. Figures in it are text, written with enough digits that a
reader can repeat the arithmetic from the paper and come out within one unit of the last digit of the result.
A dose's steps have the numbers of its algorithm: one that is missing is not built or not needed.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import TypedDict

HOUSE = "house value"
SIGNIFICANT = 7
"""Digits of a figure that later steps go on with."""


class FigureJSON(TypedDict):
    name: str
    value: str
    unit: str


class StepJSON(TypedDict):
    number: int
    code: str
    name: str
    formula: str
    inputs: list[FigureJSON]
    result: FigureJSON
    source: str
    confidence: str
    note: str


class WorkingJSON(TypedDict):
    line: str
    steps: list[StepJSON]


@dataclass(frozen=True)
class Figure:
    """A named quantity as it is printed: `Figure("area", "2.972897", "m2")`."""

    name: str
    value: str
    unit: str = ""

    def __str__(self) -> str:
        return f"{self.value} {self.unit}".strip()

    def as_json(self) -> FigureJSON:
        return {"name": self.name, "value": self.value, "unit": self.unit}


@dataclass(frozen=True)
class Step:
    """One step: what it is called, its formula in words, what went in, what came out, and who says so."""

    number: int
    code: str
    name: str
    formula: str
    inputs: tuple[Figure, ...]
    result: Figure
    source: str
    confidence: str
    note: str = ""

    def as_json(self) -> StepJSON:
        return {
            "number": self.number,
            "code": self.code,
            "name": self.name,
            "formula": self.formula,
            "inputs": [figure.as_json() for figure in self.inputs],
            "result": self.result.as_json(),
            "source": self.source,
            "confidence": self.confidence,
            "note": self.note,
        }


@dataclass(frozen=True)
class Working:
    line: str
    steps: tuple[Step, ...] = ()

    def step(self, number: int) -> Step | None:
        """The first step with this number, or None when the dose did not need it."""
        return next((step for step in self.steps if step.number == number), None)

    def as_json(self) -> WorkingJSON:
        return {"line": self.line, "steps": [step.as_json() for step in self.steps]}


def printed(value: Fraction, *, digits: int = SIGNIFICANT) -> str:
    """`value` in plain notation with `digits` significant digits, half up, trailing zeros dropped."""
    if value == 0:
        return "0"
    # Two guard digits are not needed: a Fraction is exact, so one correctly rounded division is enough.
    magnitude = _magnitude(abs(value))
    places = max(digits - 1 - magnitude, 0)
    scaled = value * 10**places
    whole = (2 * scaled.numerator + scaled.denominator) // (2 * scaled.denominator)
    return _plain(Decimal(whole).scaleb(-places))


def grams(milligrams: int) -> str:
    """Grams for people: whole grams from 10 g on, one decimal below ("18", "4.6"); never more than a kitchen
    scale.
    """
    amount = Decimal(milligrams) / 1000
    step = Decimal(1) if milligrams >= 9_950 else Decimal("0.1")
    return _plain(amount.quantize(step, rounding=ROUND_HALF_UP))


def square_metres(area_mm2: int) -> str:
    """An area for people, to the hundredth of a square metre ("2.97")."""
    return str((Decimal(area_mm2) / 1_000_000).quantize(Decimal("0.01"), rounding=ROUND_HALF_UP))


def _magnitude(value: Fraction) -> int:
    """The power of ten of the first digit: 0 for 9.7, 1 for 14.6, -1 for 0.61."""
    power = len(str(value.numerator)) - len(str(value.denominator))
    return power if value >= Fraction(10) ** power else power - 1


def _plain(value: Decimal) -> str:
    text = format(value, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
