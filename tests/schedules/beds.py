"""A bed, a season and a blend to dose: what the tests of the dose stand on."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from typing import Any

from schedules.crops import crop
from schedules.doses import BedSpec, BlendItem, GardenSeason, PlantingPlan, PlantingSpec, plan_bed
from schedules.rules import HOUSE, Rules

FOUR_BY_EIGHT = 2_972_897
"""4 x 8 ft in whole mm2 (2.97289728 m2)."""
SEASON = GardenSeason(date(2026, 4, 20), date(2026, 10, 10), date(2026, 4, 27), date(2026, 9, 28))
BLEND = BlendItem("batch 12", Fraction(40, 3), Fraction(1, 80))
"""10.000 kg 16-16-16, 1.500 magnesium salt, 0.150 trace concentrate (1 % B), 0.350 inert in 12.000 kg."""
BED = BedSpec("bed 1", FOUR_BY_EIGHT)


def planting(code: str | None = "tomato", **changes: Any) -> PlantingSpec:
    """Tomatoes on the whole bed, transplanted on 11 May, ending on 28 September, unless told else."""
    usual: dict[str, Any] = {"key": code or "?", "area_mm2": FOUR_BY_EIGHT, "day": date(2026, 5, 11)}
    if code == "tomato":
        usual["ends_on"] = date(2026, 9, 28)
    return PlantingSpec(crop=crop(code) if code else None, **(usual | changes))


def plan(spec: PlantingSpec, *, bed: BedSpec = BED, rules: Rules = HOUSE, **changes: Any) -> PlantingPlan:
    """The plan of one planting alone on the bed."""
    season, item = changes.pop("season", SEASON), changes.pop("item", BLEND)
    return plan_bed(bed, [spec], season, item, rules, **changes).plantings[0]


def grams(found: PlantingPlan) -> list[float]:
    """Each feed's blend in grams, to the hundredth."""
    return [round(feed.blend_mg / 1000, 2) for feed in found.feeds]
