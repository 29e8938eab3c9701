"""Units: the words people use for them, their exact sizes, and the constants other modules calculate with.

Base units are those at rest: millimetre, square millimetre, milligram, microlitre. Cups, spoons, pints and
gallons are US customary.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Context, Decimal
from enum import StrEnum
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pint import UnitRegistry

# Exact by definition (NIST SP 811 App. B.8; NIST HB 44 App. C).
IN_MM = Fraction(254, 10)
FT_MM = 12 * IN_MM
FT2_MM2 = FT_MM**2
ACRE_M2 = Decimal("4046.8564224")
LB_MG = Fraction(45359237, 100)
OZ_MG = LB_MG / 16
GAL_UL = 231 * IN_MM**3
CUP_UL = GAL_UL / 16
TBSP_UL = CUP_UL / 16
TSP_UL = TBSP_UL / 3
G_M2_PER_LB_1000FT2 = LB_MG / FT2_MM2
"""1 lb per 1000 ft² in g/m² (mg/mm² is kg/m², and the thousands cancel): 4.8824…"""
PI = Fraction(Decimal("3.14159265358979323846264338327950288419716939937511"))


class Kind(StrEnum):
    """What a unit measures."""

    LENGTH = "length"
    AREA = "area"
    MASS = "mass"
    VOLUME = "volume"


_BASE = {
    Kind.LENGTH: "millimetre",
    Kind.AREA: "millimetre ** 2",
    Kind.MASS: "milligram",
    Kind.VOLUME: "microlitre",
}

# pint's name for a unit -> the words for it, in lower case. "ft²" also stands for "ft^2", "ft2" and "sq ft".
_WORDS: dict[Kind, dict[str, str]] = {
    Kind.LENGTH: {
        "millimetre": "mm millimetre millimetres millimeter millimeters",
        "centimetre": "cm centimetre centimetres centimeter centimeters",
        "metre": "m metre metres meter meters",
        "inch": 'in inch inches "',
        "foot": "ft foot feet '",
        "yard": "yd yds yard yards",
    },
    Kind.AREA: {
        "millimetre ** 2": "mm²",
        "centimetre ** 2": "cm² centimetres² centimeters²",
        "metre ** 2": "m² metre² metres² meter² meters² sqm",
        "are": "are ares",
        "hectare": "ha hectare hectares",
        "inch ** 2": "in² inch² inches²",
        "foot ** 2": "ft² foot² feet² sqft",
        "yard ** 2": "yd² yds² yard² yards² sqyd",
        "international_acre": "acre acres ac",
    },
    Kind.MASS: {
        "milligram": "mg milligram milligrams",
        "gram": "g gram grams gramme grammes",
        "kilogram": "kg kgs kilo kilos kilogram kilograms kilogramme kilogrammes",
        "tonne": "t tonne tonnes",
        "ounce": "oz ounce ounces",
        "pound": "lb lbs pound pounds",
    },
    Kind.VOLUME: {
        "millilitre": "ml millilitre millilitres milliliter milliliters",
        "centilitre": "cl centilitre centilitres centiliter centiliters",
        "decilitre": "dl decilitre decilitres deciliter deciliters",
        "litre": "l litre litres liter liters",
        "teaspoon": "tsp tsps teaspoon teaspoons",
        "tablespoon": "tbsp tbsps tablespoon tablespoons",
        "fluid_ounce": "floz fl_oz fluid_ounce fluid_ounces",
        "cup": "cup cups",
        "pint": "pt pint pints",
        "quart": "qt qts quart quarts",
        "gallon": "gal gals gallon gallons",
    },
}


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit by its name in pint; `size` is how many base units of its kind it holds, exactly."""

    name: str
    kind: Kind

    @property
    def size(self) -> Fraction:
        return _size(self.name, _BASE[self.kind])

    def divides(self, coarser: Unit) -> bool:
        """Whether some whole number of these makes the other: ounces a pound, but not a kilogram."""
        ratio = coarser.size / self.size
        return ratio > 1 and ratio.denominator == 1


UNITS: dict[str, Unit] = {
    word: Unit(name, kind)
    for kind, names in _WORDS.items()
    for name, words in names.items()
    for word in words.split()
}


@cache
def registry() -> UnitRegistry[Decimal]:
    """The one registry, built when first needed. pint's own acre is the retired survey acre, 4 ppm larger."""
    import pint

    units: UnitRegistry[Decimal] = pint.UnitRegistry(non_int_type=Decimal)
    units.define("international_acre = 43560 * foot ** 2")
    return units


@cache
def _size(name: str, base: str) -> Fraction:
    """pint chains decimal divisions, which leaves a crumb in the 28th digit of some (teaspoon). Each unit
    here is by definition a decimal of fewer than twenty digits, so rounding there restores it."""
    magnitude = registry().Quantity(Decimal(1), name).to(base).magnitude
    return Fraction(Context(prec=20).create_decimal(magnitude))
