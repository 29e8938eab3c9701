"""The figures of the default algorithm, each with its source: the page that a careful adviser reads and
signs.

Pounds per 1000 ft2 and per acre are converted exactly, by definition: 1 lb = 453.592 37 g, 1 ft = 0.3048 m, 1
acre = 43 560 ft2. Amounts on soil are micrograms per square metre, as exact fractions. A *house value* is our
own judgement; its reason stands in `source`, and whoever changes it says why.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType

from schedules.crops import FeederClass, Harvest
from schedules.working import HOUSE as HOUSE_VALUE

POUND_UG = Fraction(453_592_370)
SQUARE_FOOT_M2 = Fraction(9_290_304, 100_000_000)
ACRE_SQUARE_FEET = 43_560
GRAM = 1_000_000
"""Micrograms in a gram."""


def pounds_per_1000_ft2(pounds: Fraction | int) -> Fraction:
    """Micrograms per m2: 2 lb/1000 ft2 are 9 764 855 ug/m2, and a little."""
    return pounds * POUND_UG / (1000 * SQUARE_FOOT_M2)


def pounds_per_acre(pounds: Fraction | int) -> Fraction:
    """Micrograms per m2."""
    return pounds * POUND_UG / (ACRE_SQUARE_FEET * SQUARE_FOOT_M2)


def grams_per_m2(grams: str) -> Fraction:
    """Micrograms per m2."""
    return Fraction(grams) * GRAM


def kilograms_per_hectare(kilograms: str) -> Fraction:
    """Micrograms per m2: 1 kg/ha is 0.1 g/m2."""
    return Fraction(kilograms) * GRAM / 10


@dataclass(frozen=True)
class Value:
    """A figure of the algorithm, in the unit its name says, with where it is from and how sure that is."""

    value: Fraction
    source: str
    confidence: str


def _house(value: Fraction | int, reason: str) -> Value:
    return Value(Fraction(value), f"house value: {reason}", HOUSE_VALUE)


HOME_RATES = "Univ. of Maryland Extension, Fertilizing Vegetables: 2 lb N/1000 ft2, heavy feeders 3"

NEEDS: Mapping[FeederClass, Value] = MappingProxyType(
    {
        FeederClass.HEAVY: Value(pounds_per_1000_ft2(3), HOME_RATES, "FOUND (2nd)"),
        FeederClass.MEDIUM: Value(pounds_per_1000_ft2(2), HOME_RATES, "FOUND (2nd)"),
        FeederClass.LIGHT: _house(
            pounds_per_1000_ft2(1), "half of medium; published light rates run from a half to one"
        ),
        FeederClass.LEGUME: Value(
            Fraction(0), "Colorado State Univ. Fact Sheet 7.247: skip nitrogen for beans and peas", "FOUND"
        ),
    }
)
STOP_DAYS: Mapping[Harvest, Value] = MappingProxyType(
    {
        **{
            kind: _house(21, "the last feed still reaches fruit that ripen, later ones feed leaves")
            for kind in (Harvest.FRUIT, Harvest.POD)
        },
        **{
            kind: _house(10, "nothing soluble on a crop that is eaten whole within ten days")
            for kind in (Harvest.LEAF, Harvest.HEAD, Harvest.STEM)
        },
    }
)
"""Days between the last feed and the end; roots, bulbs and tubers stop at the midpoint, perennials have
dates.
"""


@dataclass(frozen=True)
class Rules:
    """Everything the algorithm takes for granted. Change one with `dataclasses.replace(HOUSE, ...)`.

    Amounts are ug/m2 and days are days; `scoop_mg` is what the programme's level scoop holds (None: no scoop
    known); `week_starts` is 0 for Monday to 6 for Sunday.
    """

    needs: Mapping[FeederClass, Value]
    legume_feed: Value
    first_after_transplanting: Value
    first_after_emergence: Value
    unknown_emergence: Value
    stop_days: Mapping[Harvest, Value]
    unknown_stop_days: Value
    feed_n: Value
    feed_blend: Value
    feed_blend_sensitive: Value
    soil_n: Value
    soil_n_ceiling: Value
    soil_boron: Value
    soil_boron_ceiling: Value
    boron_sensitive_share: Value
    no_drainage_share: Value
    least_blend: Value
    least_scoop_share: Value
    unknown_class: FeederClass = FeederClass.MEDIUM
    soil_weeks: int = 48
    default_weeks: int = 16
    longest_interval: int = 4
    scoop_mg: int | None = None
    week_starts: int = 0


HOUSE = Rules(
    needs=NEEDS,
    legume_feed=Value(
        pounds_per_acre(20),
        "Univ. of Delaware Weekly Crop Update: corrective side-dressing, beans 20 lb N/acre",
        "FOUND",
    ),
    first_after_transplanting=_house(14, "two weeks to root before the first salt"),
    first_after_emergence=_house(21, "three weeks until a seedling has true leaves and roots"),
    unknown_emergence=_house(14, "days to emergence when nobody knows; later is the safer side"),
    stop_days=STOP_DAYS,
    unknown_stop_days=_house(21, "an unknown crop stops as early as fruit does"),
    feed_n=_house(
        pounds_per_1000_ft2(Fraction(1, 2)),
        "half of the published side-dressing of 1 lb N/1000 ft2, since ours come every week",
    ),
    feed_blend=_house(grams_per_m2("25"), "salts near roots: a thin, even scatter that still washes in"),
    feed_blend_sensitive=_house(grams_per_m2("12.5"), "half, where the salt threshold is 1.3 dS/m or less"),
    soil_n=_house(pounds_per_1000_ft2(3), "the highest home-garden rate, for the soil as for one crop"),
    soil_n_ceiling=_house(grams_per_m2("22.4"), "200 lb N/acre rounded down: no reason lifts beyond it"),
    soil_boron=_house(kilograms_per_hectare("1.1"), "about 1 lb B/acre, the usual advice without a test"),
    soil_boron_ceiling=_house(
        kilograms_per_hectare("3.4"), "about 3 lb B/acre, the highest published advice"
    ),
    boron_sensitive_share=_house(Fraction(1, 2), "half where a boron-sensitive crop grows"),
    no_drainage_share=_house(Fraction(1, 2), "salts cannot leave; half, and flush monthly"),
    least_blend=_house(grams_per_m2("4"), "less cannot be spread evenly by hand"),
    least_scoop_share=_house(Fraction(1, 2), "less than half a level scoop cannot be measured by eye"),
)

TABLESPOON_UL = 14_787
"""A US tablespoon in microlitres; others hold 15 or 20 mL, so a programme states its own."""
BULK_DENSITY = Decimal("0.95")
"""g/mL, from memory, until the programme has weighed ten struck scoops."""


def scoop_mg(volume_ul: int, density: Decimal = BULK_DENSITY) -> int:
    """What a level scoop holds, half up to the milligram: microlitres times g/mL are milligrams."""
    mass = volume_ul * Fraction(density)
    return (2 * mass.numerator + mass.denominator) // (2 * mass.denominator)
