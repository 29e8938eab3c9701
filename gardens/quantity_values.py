"""Quantities at rest: whole base units, rounded half-up from what was written."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from gardens.numerals import half_up
from gardens.quantity_grammar import Shape, Sides
from gardens.units import PI


@dataclass(frozen=True, slots=True)
class Mass:
    """Whole milligrams."""

    milligrams: int

    @property
    def grams(self) -> Decimal:
        return Decimal(self.milligrams).scaleb(-3)


@dataclass(frozen=True, slots=True)
class Length:
    """Whole millimetres."""

    millimetres: int


@dataclass(frozen=True, slots=True)
class Volume:
    """Whole microlitres."""

    microlitres: int


@dataclass(frozen=True, slots=True)
class Rate:
    """Mass per area, in whole micrograms per square metre."""

    ug_per_m2: int


@dataclass(frozen=True, slots=True)
class Measure:
    """One or several equal beds, rows or pots.

    `area_mm2` is that of one, rounded from its exact sides, not from the rounded ones. `a_mm` and `b_mm` are
    the sides of a rectangle, length and width of a row, diameter and None, or None twice for a mere area.
    """

    shape: Shape
    count: int
    area_mm2: int
    a_mm: int | None
    b_mm: int | None

    @property
    def total_mm2(self) -> int:
        return self.count * self.area_mm2


def rounded(exact: Sides) -> Measure:
    first, second = exact.sides[0], exact.sides[-1]
    match exact.shape:
        case "area":
            return Measure("area", exact.count, half_up(first), None, None)
        case "circle" | "pot":
            return Measure(exact.shape, exact.count, half_up(PI * first**2 / 4), half_up(first), None)
        case _:
            area = half_up(first * second)
            return Measure(exact.shape, exact.count, area, half_up(first), half_up(second))
