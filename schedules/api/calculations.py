"""The dose of a bed, with nothing kept: the same algorithm, rules and working as behind every slip."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from gardens.api.calculations import CALCULATIONS, examples_of, taken
from gardens.api.quantities import Mass, Percent
from gardens.api.schema import operation
from gardens.quantities import parse_measure
from schedules import crops
from schedules.api.plans import BedPlanOut, bed_plan_json
from schedules.doses import BedPlan, default_planting, plan_bed
from schedules.rules import HOUSE
from schedules.seasons import EARLIEST, LATEST, GardenSeason
from schedules.specs import BedSpec, BlendItem, DoseError, Extra, PlantingSpec

MOST_PLANTINGS = 12


class Day(serializers.DateField):
    """A day between 1990 and 2199."""

    def to_internal_value(self, value: Any) -> Any:
        day = super().to_internal_value(value)
        if not EARLIEST <= day <= LATEST:
            raise serializers.ValidationError("That day is too far away. Look at the year.", "far_off")
        return day


class ExtraIn(serializers.Serializer[Any]):
    day = Day()
    mass = Mass(positive=True)


class CropIn(serializers.Serializer[Any]):
    """A crop on the bed. A name that the catalogue lacks, or that means two, is fed as medium, assumed."""

    crop = serializers.CharField(max_length=80)
    day = Day(help_text="Sown or transplanted.")
    sown = serializers.BooleanField(default=False)
    ends_on = Day(required=False, help_text="Last harvest, cut or lifting; else the catalogue's days.")
    share = serializers.IntegerField(default=100, min_value=1, max_value=100, help_text="Percent of the bed.")
    feed_on_request = serializers.BooleanField(default=False, help_text="Peas and beans: one feed asked for.")
    skipped = serializers.ListField(child=Day(), required=False, default=list, max_length=60)
    extras = serializers.ListField(child=ExtraIn(), required=False, default=list, max_length=60)


class DoseSeasonIn(serializers.Serializer[Any]):
    last_frost = Day(required=False, allow_null=True, default=None)
    first_frost = Day(required=False, allow_null=True, default=None)
    first_feed = Day(help_text="Any day of the first feeding week.")
    last_feed = Day(help_text="Any day of the last feeding week.")


class DoseBlendIn(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=80, default="this blend")
    soluble_nitrogen = Percent(positive=True, help_text="Such as “13.33 %” or “40/3 %”.")
    boron = Percent(required=False, help_text="Left out: not declared, so its cap cannot be checked.")
    slow = serializers.BooleanField(default=False)


class DoseIn(serializers.Serializer[Any]):
    bed = serializers.CharField(max_length=200, help_text="Its measures, such as “4 x 8 ft”.")
    drains = serializers.BooleanField(default=True)
    plantings = serializers.ListField(
        child=CropIn(),
        default=list,
        max_length=MOST_PLANTINGS,
        help_text="None: the default planting, assumed.",
    )
    season = DoseSeasonIn()
    blend = DoseBlendIn()
    scoop = Mass(required=False, positive=True, help_text="What one struck scoop of it weighs.")


class DoseCalculation(APIView):
    @operation(
        "calculate_dose",
        "Every feed of a bed in its season, and why that much",
        tag=CALCULATIONS,
        request=DoseIn,
        answer=BedPlanOut,
        examples=examples_of("dose"),
    )
    def post(self, request: Request) -> Response:
        return Response(bed_plan_json(_plan(taken(DoseIn, request))))


def _plan(asked: Mapping[str, Any]) -> BedPlan:
    size = parse_measure(asked["bed"])
    bed = BedSpec("bed", size.total_mm2, drains=asked["drains"], pot=size.shape == "pot")
    season = GardenSeason(**asked["season"])
    if not 0 <= (season.last_feed - season.first_feed).days <= 366:
        raise DoseError(
            "season", "The last feeding week comes after the first, within a year.", "season.last_feed"
        )
    blend = asked["blend"]
    item = BlendItem(blend["name"], blend["soluble_nitrogen"], blend.get("boron"), slow_release=blend["slow"])
    rules = replace(HOUSE, scoop_mg=asked["scoop"]) if "scoop" in asked else HOUSE
    plantings = [_planting(bed, crop, n) for n, crop in enumerate(asked["plantings"], 1)]
    return plan_bed(bed, plantings or [default_planting(bed, season)], season, item, rules)


def _planting(bed: BedSpec, said: Mapping[str, Any], number: int) -> PlantingSpec:
    crop = crops.find(said["crop"])
    if said["feed_on_request"] and (crop is None or crop.needs.value is not crops.FeederClass.LEGUME):
        raise DoseError("not_a_legume", "Only peas and beans ask for their one feed.", "feed_on_request")
    return PlantingSpec(
        f"planting {number}",
        crop,
        (2 * bed.area_mm2 * said["share"] + 100) // 200,
        said["day"],
        sown=said["sown"],
        ends_on=said.get("ends_on"),
        legume_feed=said["feed_on_request"],
        skipped=frozenset(said["skipped"]),
        extras=tuple(Extra(extra["day"], extra["mass"]) for extra in said["extras"]),
    )
