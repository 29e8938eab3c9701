"""Readings in the digits of their scale and the reader's units."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from gardens.figures import NBSP, US, number, places_of, rounded
from gardens.units import LB_MG, OZ_MG


@dataclass(frozen=True)
class ReadingUnit:
    """A unit with the decimals that a scale's step deserves in it."""

    name: str
    size_mg: Fraction
    digits: int

    def value(self, mg: int) -> Decimal:
        return rounded(Fraction(mg) / self.size_mg, self.digits)

    def figure(self, mg: int) -> str:
        """The number alone: `39.0`, `2 600`."""
        return number(Fraction(mg) / self.size_mg, self.digits)

    def words(self, mg: int) -> str:
        return f"{self.figure(mg)}{NBSP}{self.name}"


def unit_for(mass_mg: int, division_mg: int, units: str) -> ReadingUnit:
    """Grams; in US customary ounces below a pound, pounds from there on."""
    if units != US:
        return ReadingUnit("g", Fraction(1000), places_of(division_mg))
    name, size = ("lb", LB_MG) if mass_mg >= LB_MG else ("oz", OZ_MG)
    digits = 0
    while Fraction(size) / 10**digits > division_mg + 1 and digits < 4:
        digits += 1
    return ReadingUnit(name, Fraction(size), digits)


def step_words(division_mg: int, units: str) -> str:
    """`1 g`, `0.1 g`, `0.1 oz`."""
    unit = unit_for(division_mg, division_mg, units)
    return unit.words(division_mg)
