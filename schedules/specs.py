"""What a dose is computed from: beds, plantings, the item in the tub, and what people decided about them.

Areas are whole mm2, masses whole milligrams or micrograms, days are dates. Nothing here is rounded or
guessed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from gardens.faults import Fault
from schedules.crops import Crop, FeederClass


class DoseError(Fault):
    """The input cannot be a dose. `code` for programs, `message` for people, `field` for the form."""


class Feeding(StrEnum):
    """What a bed gets: the programme's blend, none of it (with a reason), or nothing grows here."""

    DEFAULT = "default"
    NONE = "none"
    NOTHING = "nothing"


@dataclass(frozen=True)
class BlendItem:
    """What is in the tub. `name` is printed ("batch 12"); percentages are by mass, of the pail as released.

    `boron_percent` None means not declared: never taken for zero, but the boron cap cannot then be checked.
    """

    name: str
    soluble_n_percent: Decimal | Fraction
    boron_percent: Decimal | Fraction | None = None
    slow_release: bool = False


class Cap(StrEnum):
    """The caps an organiser may lift, one for one planting, with a reason."""

    FEED_N = "feed_n"
    FEED_BLEND = "feed_blend"
    SOIL_N = "soil_n"
    SOIL_BORON = "soil_boron"


@dataclass(frozen=True)
class Lift:
    """One named cap lifted. Soil caps rise to their hard ceilings (22.4 g N/m2, 3.4 kg B/ha) only."""

    cap: Cap
    reason: str


@dataclass(frozen=True)
class OwnRate:
    """The organiser's own rate, already per square metre of the planting (see `schedules.rates`).

    `ug_per_m2` is of the blend or of nitrogen, for each feed or for the whole season. Days not given are
    those of the crop's own window. It replaces steps 1 to 5.
    """

    ug_per_m2: Fraction
    of_nitrogen: bool
    text: str
    reason: str
    per_season: bool = False
    every_weeks: int = 1
    first: date | None = None
    last: date | None = None


@dataclass(frozen=True)
class Frozen:
    """What the first freeze fixed for a planting. Later edits may lower the unit or drop feeds only.

    `unit` is ug N/m2 per full feed, after 6 and 8, exact (`str(unit)` is "n/d", `Fraction(text)` reads it
    back).
    """

    unit: Fraction
    feeds: int
    interval: int


@dataclass(frozen=True)
class Extra:
    """A logged extra: blend put on beside the plan. It is taken off the planting's last feeds."""

    day: date
    blend_mg: int


@dataclass(frozen=True)
class Given:
    """What the bed got outside this plan: an earlier season, another item, a planting that is gone.

    `ug_boron` None is boron that nobody declared: not known, never taken for none. `planting` names the
    planting on whose own area it went, if that planting is in the plan.
    """

    day: date
    ug_n: int
    ug_boron: int | None = None
    planting: str = ""


@dataclass(frozen=True)
class PlantingSpec:
    """One crop on (part of) a bed, or the bed's default planting.

    `crop` None is an unknown crop: medium, and marked assumed. `default` is the default planting of section
    "Default planting"; its `day`, `sown` and `ends_on` do not matter. `active` are the tenancies' spans
    (first day, last day or None for open): a feed on a day outside all of them is lost. `feeds_from` and
    `feeds_until` (both inclusive) bound a take-over: the default planting feeds until the day before, the
    crop from the next feed on; no feed moves because of them. `interplant_of` names the main crop, whose dose
    it shares.
    """

    key: str
    crop: Crop | None
    area_mm2: int
    day: date
    sown: bool = False
    ends_on: date | None = None
    default: bool = False
    needs: FeederClass | None = None
    legume_feed: bool = False
    skipped: frozenset[date] = frozenset()
    extras: tuple[Extra, ...] = ()
    own_rate: OwnRate | None = None
    lift: Lift | None = None
    active: tuple[tuple[date, date | None], ...] | None = None
    feeds_from: date | None = None
    feeds_until: date | None = None
    frozen: Frozen | None = None
    interplant_of: str = ""


@dataclass(frozen=True)
class BedSpec:
    """A growing surface: net planted area, whether water drains out below, and what it gets.

    `pot` beds get no dose of the blend, unless the organiser gave a rate per litre of mix.
    """

    key: str
    area_mm2: int
    drains: bool = True
    pot: bool = False
    feeding: Feeding = Feeding.DEFAULT
    reason: str = ""
