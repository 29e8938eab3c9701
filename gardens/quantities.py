"""Quantities as people write them: parse, print back exactly, and echo what was understood in both families.

`parse_mass("2 lb 4 oz")`, `print_mass(mass, "us")`, `echo_mass(mass)`, and so for lengths, measures of beds
and plots, volumes and rates. A parse raises QuantityError (or its child AmbiguousQuantity) on any text it
cannot read, and nothing else. For all it returns, parse(print(value)) == value in either system of units.
"""

from __future__ import annotations

from fractions import Fraction

from gardens.numerals import half_up
from gardens.quantity_grammar import (
    AmbiguousQuantity,
    QuantityError,
    Reader,
    Shape,
    Sides,
    measure,
    quantity,
    rate,
    read,
    unit_called,
)
from gardens.quantity_text import (
    System,
    echo_length,
    echo_mass,
    echo_measure,
    echo_rate,
    echo_volume,
    print_length,
    print_mass,
    print_measure,
    print_rate,
    print_volume,
)
from gardens.quantity_values import Length, Mass, Measure, Rate, Volume, rounded
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
    TBSP_UL,
    TSP_UL,
    Kind,
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
    "System",
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

# Sane limits, so that a slip of the keyboard is told and everything fits a bigint.
MOST_MG = 10**12  # 1000 t
MOST_MM = 10**7  # 10 km
MOST_MM2 = 10**13  # 1000 ha
MOST_UL = 10**12  # 1000 m³
MOST_UG_M2 = 10**11  # 100 kg/m²


def parse_mass(text: str, *, default_unit: str | None = None) -> Mass:
    """ "2 lb 4 oz", "1,5 kg", "½ lb". `default_unit`, such as "g", is for a number without any unit."""
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
    """ "4 x 8 ft", "2 × 4 x 8 ft", "6 ft circle", "30 ft row 18 in wide", "5 pots of 12 in", "3 m²"."""
    default = unit_called(default_unit) if default_unit else None
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
    default = unit_called(default_unit) if default_unit else None

    def rule(reader: Reader) -> int:
        return _within(quantity(reader, kind, default), most, reader)

    return read(text, examples, rule)


def _measured(exact: Sides, reader: Reader) -> Measure:
    size = rounded(exact)
    if max(size.a_mm or 0, size.b_mm or 0) > MOST_MM or size.area_mm2 > MOST_MM2:
        reader.refuse("too_much", f"“{reader.shown()}” is larger than any garden.", 0)
    if 0 in (size.area_mm2, size.a_mm, size.b_mm):
        reader.refuse("zero", f"“{reader.shown()}” has no area.", 0)
    return size


def _within(value: Fraction, most: int, reader: Reader) -> int:
    amount = half_up(value)
    if amount > most:
        reader.refuse("too_much", f"“{reader.shown()}” is beyond anything measured here.", 0)
    return amount
