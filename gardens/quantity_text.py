"""Quantities as text: printed so that they read back as the very same value, echoed for the eye.

Printing uses US units where two decimals say the value exactly, else metric: a bed of 1.2 × 3 m is
"3 ft 11.2441 in × 9 ft 10.1103 in" to nobody. Echoes say it in both families.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import product
from typing import Literal

from gardens.numerals import exact_text, half_up, sensible_text, shortest
from gardens.quantity_grammar import Sides
from gardens.quantity_values import Length, Mass, Measure, Rate, Volume, rounded
from gardens.units import (
    CUP_UL,
    FT2_MM2,
    G_M2_PER_LB_1000FT2,
    GAL_UL,
    IN_MM,
    OZ_MG,
    TBSP_UL,
    TSP_UL,
)

System = Literal["metric", "us"]


# Printing

_Scale = tuple[tuple[str, int], ...]
_MASS: _Scale = (("kg", 10**6), ("g", 10**3))
_LENGTH: _Scale = (("m", 10**3), ("cm", 10))
_VOLUME: _Scale = (("L", 10**6), ("mL", 10**3))
_AREA: _Scale = (("m²", 10**6),)
_RATE: _Scale = (("g/m²", 10**6),)


def print_mass(m: Mass, system: System = "metric") -> str:
    """ "1.5 kg", "155 g"; "2 lb 4 oz"."""
    ounces = shortest(m.milligrams, OZ_MG)
    return _pounds(ounces) if _suits(ounces, system) else _metric(m.milligrams, _MASS)


def print_length(length: Length, system: System = "metric") -> str:
    """ "1.2 m", "45 cm"; "4 ft 6 in"."""
    inches = shortest(length.millimetres, IN_MM)
    return _feet(inches) if _suits(inches, system) else _metric(length.millimetres, _LENGTH)


def print_volume(volume: Volume, system: System = "metric") -> str:
    """ "20 L", "355 mL"; "1.5 cups", "2 tbsp"."""
    name, size = _us_volume(volume.microlitres)
    number = shortest(volume.microlitres, size)
    if _suits(number, system):
        return f"{exact_text(number)} {_plural(name, number)}"
    return _metric(volume.microlitres, _VOLUME)


def print_rate(rate: Rate, system: System = "metric") -> str:
    """ "15 g/m²"; "3 lb/1000 ft²"."""
    pounds = shortest(rate.ug_per_m2, G_M2_PER_LB_1000FT2 * 10**6)
    return f"{exact_text(pounds)} lb/1000 ft²" if _suits(pounds, system) else _metric(rate.ug_per_m2, _RATE)


def print_measure(m: Measure, system: System = "metric") -> str:
    """ "1.2 × 3 m", "2 beds of 4 × 8 ft", "6 ft circle", "30 ft row 18 in wide", "5 pots of 12 in", "30 m²".

    ValueError where no sides can have this area, which no parse returns.
    """
    times = f"{m.count} × " if m.count > 1 else ""
    beds_of = f"{m.count} beds of " if m.count > 1 else ""
    if m.shape == "area":
        feet2 = shortest(m.area_mm2, FT2_MM2)
        return beds_of + (f"{exact_text(feet2)} ft²" if _suits(feet2, system) else _metric(m.area_mm2, _AREA))
    sides = _exact_sides(m, system)
    inches = [side / IN_MM for side in sides]
    in_us = system == "us" and all(_has_two_decimals(number) for number in inches)
    match m.shape:
        case "rectangle":
            return beds_of + (_feet_by_feet(inches) if in_us else _metric_by_metric(sides))
        case "circle":
            return f"{times}{_feet(inches[0]) if in_us else _metric(sides[0], _LENGTH)} circle"
        case "pot":
            across = f"{exact_text(inches[0])} in" if in_us else _metric(sides[0], _LENGTH)
            return f"{m.count} {'pot' if m.count == 1 else 'pots'} of {across}"
        case "row":
            length, width = (
                _feet(i) if in_us else _metric(s, _LENGTH) for i, s in zip(inches, sides, strict=True)
            )
            return f"{times}{length} row {width} wide"


def _exact_sides(m: Measure, system: System) -> tuple[Fraction, ...]:
    """Sides in mm that make this very measure: each in whole mm or in inches if that does, else found."""
    known = [mm for mm in (m.a_mm, m.b_mm) if mm is not None]
    likely = [(Fraction(mm), shortest(mm, IN_MM) * IN_MM) for mm in known]
    choices = list(product(*likely))
    for sides in reversed(choices) if system == "us" else choices:
        if rounded(Sides(m.shape, m.count, sides)) == m:
            return sides
    return _found_sides(m, known)


def _found_sides(m: Measure, known: list[int]) -> tuple[Fraction, ...]:
    """All sides shifted by the same part of a mm, from -1/2 up, digit by digit, until the area fits."""

    def shifted(by: Fraction) -> Sides:
        return Sides(m.shape, m.count, tuple(mm + by for mm in known))

    shift = Fraction(-1, 2)
    for digit in range(1, 13):
        step = Fraction(1, 10**digit)
        while shift + step < Fraction(1, 2) and rounded(shifted(shift + step)).area_mm2 <= m.area_mm2:
            shift += step
        if rounded(shifted(shift)) == m:
            return shifted(shift).sides
    raise ValueError(f"no sides have this area: {m}")


def _suits(number: Fraction, system: System) -> bool:
    return system == "us" and _has_two_decimals(number)


def _has_two_decimals(number: Fraction) -> bool:
    return (100 * number).denominator == 1


def _metric(amount: int | Fraction, scale: _Scale) -> str:
    """In the largest unit that says it with two decimals, else in the smallest."""
    for name, size in scale[:-1]:
        if amount >= size and _has_two_decimals(number := Fraction(amount) / size):
            return f"{exact_text(number)} {name}"
    name, size = scale[-1]
    return f"{exact_text(Fraction(amount) / size)} {name}"


def _metric_by_metric(sides: tuple[Fraction, ...]) -> str:
    in_metres = max(sides) >= 1000 and all(_has_two_decimals(side / 1000) for side in sides)
    name, size = _LENGTH[0] if in_metres else _LENGTH[1]
    return f"{' × '.join(exact_text(side / size) for side in sides)} {name}"


def _feet_by_feet(inches: list[Fraction]) -> str:
    if all(number % 12 == 0 for number in inches):
        return f"{' × '.join(exact_text(number / 12) for number in inches)} ft"
    if all(number < 36 for number in inches):
        return f"{' × '.join(exact_text(number) for number in inches)} in"
    return " × ".join(_feet(number) for number in inches)


def _feet(inches: Fraction) -> str:
    if inches % 12 and inches < 36:
        return f"{exact_text(inches)} in"
    return _two_units(inches, 12, "ft", "in")


def _pounds(ounces: Fraction) -> str:
    return _two_units(ounces, 16, "lb", "oz")


def _two_units(fine: Fraction, ratio: int, coarse_name: str, fine_name: str) -> str:
    coarse, rest = divmod(fine, ratio)
    parts = [f"{coarse} {coarse_name}"] if coarse else []
    if rest or not coarse:
        parts.append(f"{exact_text(rest)} {fine_name}")
    return " ".join(parts)


def _us_volume(microlitres: int) -> tuple[str, Fraction]:
    """The unit people would take, and its size."""
    for name, size, least in (("gal", GAL_UL, 1), ("cup", CUP_UL, Fraction(1, 4)), ("tbsp", TBSP_UL, 1)):
        if microlitres >= half_up(size * least):
            return name, size
    return "tsp", TSP_UL


def _plural(name: str, number: Fraction) -> str:
    return "cups" if name == "cup" and number > 1 else name


# Echo


def echo_mass(m: Mass) -> str:
    """ "155 g, 5.5 oz", "1.5 kg, 3 lb 4.9 oz"; a shortfall is written with a minus."""
    if m.milligrams < 0:
        return f"−{echo_mass(Mass(-m.milligrams))}"
    grams = Fraction(m.milligrams, 1000)
    if grams >= 10_000 or (grams >= 1000 and grams % 10 == 0):
        metric = f"{sensible_text(grams / 1000, 2)} kg"
    else:
        metric = f"{sensible_text(grams, 1 if grams < 1000 else 0)} g"
    ounces = m.milligrams / OZ_MG
    if ounces >= 1600:
        return _both(metric, f"{sensible_text(ounces / 16, 1)} lb")
    return _both(metric, _rounded_pair(ounces, 16, 1 if ounces < 160 else 0, "lb", "oz"))


def echo_length(length: Length) -> str:
    """ "1.22 m, 4 ft", "45.7 cm, 18 in"."""
    mm = Fraction(length.millimetres)
    metric = f"{sensible_text(mm / 1000, 2)} m" if mm >= 1000 else f"{sensible_text(mm / 10, 1)} cm"
    inches = mm / IN_MM
    if inches < 36:
        return _both(metric, f"{sensible_text(inches, 1)} in")
    return _both(metric, _rounded_pair(inches, 12, 1 if inches < 120 else 0, "ft", "in"))


def echo_volume(volume: Volume) -> str:
    """ "355 mL, 1.5 cups", "20 L, 5.28 gal"."""
    millilitres = Fraction(volume.microlitres, 1000)
    litres = millilitres >= 1000
    metric = f"{sensible_text(millilitres / 1000, 2)} L" if litres else f"{sensible_text(millilitres, 0)} mL"
    name, size = _us_volume(volume.microlitres)
    number = volume.microlitres / size
    return _both(metric, f"{sensible_text(number, 2)} {_plural(name, number)}")


def echo_rate(rate: Rate) -> str:
    """ "14.6 g/m², 3 lb/1000 ft²"."""
    grams = Fraction(rate.ug_per_m2, 10**6)
    pounds = grams / G_M2_PER_LB_1000FT2
    return _both(f"{sensible_text(grams, 1)} g/m²", f"{sensible_text(pounds, 2)} lb/1000 ft²")


def echo_measure(m: Measure) -> str:
    """ "2.97 m², 32 ft²", "two beds of 2.97 m², 32 ft² each"."""
    metres2, feet2 = Fraction(m.area_mm2, 10**6), m.area_mm2 / FT2_MM2
    areas = _both(
        f"{sensible_text(metres2, 2 if metres2 < 100 else 1)} m²",
        f"{sensible_text(feet2, 1 if feet2 < 100 else 0)} ft²",
    )
    if m.count == 1:
        return areas
    number = _NUMBER_WORDS[m.count] if m.count < len(_NUMBER_WORDS) else str(m.count)
    return f"{number} {_NOUNS[m.shape]} of {areas} each"


_NUMBER_WORDS = (
    "none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip
_NOUNS = {"rectangle": "beds", "area": "beds", "circle": "circles", "row": "rows", "pot": "pots"}


def _rounded_pair(fine: Fraction, ratio: int, decimals: int, coarse_name: str, fine_name: str) -> str:
    """ "2 lb 4.2 oz": rounded before it is parted, so that never "1 lb 16 oz"."""
    if fine < ratio and half_up(fine * 10**decimals) < ratio * 10**decimals:
        return f"{sensible_text(fine, decimals)} {fine_name}"
    return _two_units(Fraction(half_up(fine * 10**decimals), 10**decimals), ratio, coarse_name, fine_name)


def _both(metric: str, us: str) -> str:
    """Each quantity kept on one line."""
    return ", ".join(text.replace(" ", "\u00a0") for text in (metric, us))
