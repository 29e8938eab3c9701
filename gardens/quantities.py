"""Quantities as people write them: parse, print back exactly, and echo what was understood in both unit families.

`parse_mass("2 lb 4 oz")`, `print_mass(mass, "us")`, `echo_mass(mass)` and so on for lengths, measures of beds and plots,
volumes and rates. Every parse raises QuantityError (or its child AmbiguousQuantity) on any text it cannot read, and
nothing else. For every value that a parse returns, parse(print(value)) == value in either system of units.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil, isqrt
from typing import Literal

from gardens.quantity_grammar import (
    AmbiguousQuantity,
    QuantityError,
    Reader,
    Shape,
    Sides,
    decimal_text,
    measure,
    quantity,
    rate,
    read,
)
from gardens.units import (
    ACRE_M2,
    CUP_UL,
    FT2_MM2,
    FT_MM,
    G_M2_PER_LB_1000FT2,
    GAL_UL,
    IN_MM,
    LB_MG,
    OZ_MG,
    PI,
    TBSP_UL,
    TSP_UL,
    UNITS,
    Kind,
    Unit,
)

__all__ = [
    "ACRE_M2",
    "CUP_UL",
    "FT2_MM2",
    "FT_MM",
    "GAL_UL",
    "G_M2_PER_LB_1000FT2",
    "IN_MM",
    "LB_MG",
    "OZ_MG",
    "TBSP_UL",
    "TSP_UL",
    "AmbiguousQuantity",
    "Length",
    "Mass",
    "Measure",
    "QuantityError",
    "Rate",
    "Shape",
    "Volume",
    "echo_length",
    "echo_mass",
    "echo_measure",
    "echo_rate",
    "echo_volume",
    "parse_area",
    "parse_length",
    "parse_mass",
    "parse_measure",
    "parse_rate",
    "parse_volume",
    "print_length",
    "print_mass",
    "print_measure",
    "print_rate",
    "print_volume",
]

System = Literal["metric", "us"]

# Sane limits, so that a slip of the keyboard is told and everything fits a bigint.
MOST_MG = 10**12  # 1000 t
MOST_MM = 10**7  # 10 km
MOST_MM2 = 10**13  # 1000 ha
MOST_UL = 10**12  # 1000 m³
MOST_UG_M2 = 10**11  # 100 kg/m²


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

    `area_mm2` is that of one, rounded from its exact sides, not from the rounded ones. `a_mm` and `b_mm` are the sides
    of a rectangle, length and width of a row, or diameter and None; both are None where only an area is known.
    """

    shape: Shape
    count: int
    area_mm2: int
    a_mm: int | None
    b_mm: int | None

    @property
    def total_mm2(self) -> int:
        return self.count * self.area_mm2


# Parsing


def parse_mass(text: str, *, default_unit: str | None = None) -> Mass:
    """ "2 lb 4 oz", "1,5 kg", "½ lb". `default_unit` (a word such as "g") is for a number without any unit."""
    return Mass(_plain(text, Kind.MASS, default_unit, MOST_MG, ("2 lb 4 oz", "1.5 kg")))


def parse_length(text: str, *, default_unit: str | None = None) -> Length:
    """ "4 ft 6 in", "1,2 m", "45 cm"."""
    return Length(_plain(text, Kind.LENGTH, default_unit, MOST_MM, ("4 ft 6 in", "1.2 m")))


def parse_volume(text: str) -> Volume:
    """ "1 1/2 cups", "2 tbsp", "20 L"; cups, spoons, pints and gallons are US customary."""
    return Volume(_plain(text, Kind.VOLUME, None, MOST_UL, ("1 1/2 cups", "20 L")))


def parse_rate(text: str) -> Rate:
    """ "15 g/m2", "3 lb/1000 ft²", "120 lb per acre"."""

    def rule(reader: Reader) -> Rate:
        return Rate(_within(rate(reader) * 10**9, MOST_UG_M2, reader))

    return read(text, ("15 g/m²", "3 lb/1000 ft²"), rule)


def parse_measure(text: str, *, default_unit: str | None = None) -> Measure:
    """Beds, rows and pots: "4 x 8 ft", "2 × 4 x 8 ft", "6 ft circle", "30 ft row 18 in wide", "5 pots of 12 in", "3 m²"."""
    default = UNITS[default_unit] if default_unit else None
    return read(text, ("4 x 8 ft", "1.2 × 3 m"), lambda reader: _measured(measure(reader, default), reader))


def parse_area(text: str) -> Measure:
    """The size of one plot: a measure whose count is 1."""

    def rule(reader: Reader) -> Measure:
        size = _measured(measure(reader, None), reader)
        if size.count != 1:
            reader.refuse("count", "One plot has one size; these are several beds.", 0)
        return size

    return read(text, ("20 x 30 ft", "30 m²"), rule)


def _plain(text: str, kind: Kind, default_unit: str | None, most: int, examples: tuple[str, str]) -> int:
    default = UNITS[default_unit] if default_unit else None

    def rule(reader: Reader) -> int:
        return _within(quantity(reader, kind, default), most, reader)

    return read(text, examples, rule)


def _measured(exact: Sides, reader: Reader) -> Measure:
    if any(side > (MOST_MM2 if exact.shape == "area" else MOST_MM) for side in exact.sides):
        reader.refuse("too_much", f"“{reader.excerpt}” is larger than any garden.", 0)
    rounded = _rounded(exact)
    _within(Fraction(rounded.area_mm2), MOST_MM2, reader)
    if 0 in (rounded.area_mm2, rounded.a_mm, rounded.b_mm):
        reader.refuse("zero", f"“{reader.excerpt}” has no area.", 0)
    return rounded


def _within(value: Fraction, most: int, reader: Reader) -> int:
    if value > most:
        reader.refuse("too_much", f"“{reader.excerpt}” is more than anybody here can mean.", 0)
    return _half_up(value)


def _half_up(value: Fraction) -> int:
    return (2 * value.numerator + value.denominator) // (2 * value.denominator)


def _rounded(exact: Sides) -> Measure:
    first, second = exact.sides[0], exact.sides[-1]
    match exact.shape:
        case "area":
            return Measure("area", exact.count, _half_up(first), None, None)
        case "circle" | "pot":
            return Measure(exact.shape, exact.count, _half_up(PI * first**2 / 4), _half_up(first), None)
        case _:
            area = _half_up(first * second)
            return Measure(exact.shape, exact.count, area, _half_up(first), _half_up(second))


# Printing: the shortest text that reads back as the very same value


def print_mass(m: Mass, system: System = "metric") -> str:
    """ "1.5 kg", "155 g"; "3 lb 4.91093 oz"."""
    if system == "us":
        ounces = _shortest(m.milligrams, OZ_MG)
        pounds, rest = divmod(ounces, 16)
        return _joined((pounds, "lb"), (rest, "oz"))
    return _metric(m.milligrams, ("kg", 10**6), ("g", 10**3))
