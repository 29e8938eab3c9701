"""Doses in JSON: feeds of a season with their working, a plot's week, everybody's week, what holders log."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from rest_framework import serializers

from gardens.api.calculations import WorkingJSON
from gardens.api.quantities import ExactQuantity, Quantity, figure, grams, square_metres
from schedules.plans import BedPlan, Feed, NotFed, PlantingPlan
from schedules.rules import GRAM


class ScoopsOut(serializers.Serializer[Any]):
    quarters = serializers.IntegerField(help_text="Level quarter scoops; 0: too little to measure, weigh it.")
    words = serializers.CharField()
    mass = Quantity()


class FeedOut(serializers.Serializer[Any]):
    """One feed. Skipped, it is printed but not due."""

    number = serializers.IntegerField()
    day = serializers.DateField()
    weeks = serializers.IntegerField(help_text="How many weeks it stands for.")
    mass = Quantity(help_text="Of the blend.")
    nitrogen = Quantity()
    boron = Quantity()
    planned_nitrogen = Quantity(help_text="Before the soil's account.")
    share = serializers.CharField(help_text="Of a full feed: 1, 1/2.")
    skipped = serializers.BooleanField()
    cut_by_soil = serializers.BooleanField()
    scoops = ScoopsOut(allow_null=True)
    line = serializers.CharField()


class NotFedOut(serializers.Serializer[Any]):
    code = serializers.CharField()
    words = serializers.CharField()
    nitrogen = Quantity()


class PlantingPlanOut(serializers.Serializer[Any]):
    """One planting's season, and why that much. ``unit`` is a full feed's nitrogen, before rounding."""

    key = serializers.CharField()
    crop = serializers.CharField(help_text="The catalogue's name; empty where none is known.")
    assumed = serializers.BooleanField()
    area = Quantity()
    unit = ExactQuantity()
    interval = serializers.IntegerField(help_text="Weeks between feeds.")
    feeds = FeedOut(many=True)
    total = Quantity(help_text="Of the blend, in the season.")
    first = serializers.DateField(allow_null=True)
    stop = serializers.DateField(allow_null=True, help_text="The last feed; after it, nothing.")
    not_fed = NotFedOut(many=True)
    refused = serializers.CharField(help_text="A code where it gets nothing; empty otherwise.")
    reason = serializers.CharField()
    notes = serializers.ListField(child=serializers.CharField())
    working = WorkingJSON()


class BedPlanOut(serializers.Serializer[Any]):
    plantings = PlantingPlanOut(many=True)
    total = Quantity()
    refused = serializers.CharField()
    reason = serializers.CharField()


def bed_plan_json(plan: BedPlan) -> dict[str, Any]:
    return {
        "plantings": [planting_json(p) for p in plan.plantings],
        "total": grams(sum(feed.due_mg for feed in plan.feeds)),
        "refused": plan.refused,
        "reason": plan.reason,
    }


def planting_json(plan: PlantingPlan) -> dict[str, Any]:
    return {
        "key": plan.key,
        "crop": plan.spec.crop.name if plan.spec.crop else "",
        "assumed": plan.assumed,
        "area": square_metres(plan.spec.area_mm2),
        "unit": figure(plan.unit / GRAM, "g/m2"),
        "interval": plan.interval,
        "feeds": [feed_json(feed) for feed in plan.feeds],
        "total": grams(sum(feed.due_mg for feed in plan.feeds)),
        "first": plan.first.isoformat() if plan.first else None,
        "stop": plan.stop.isoformat() if plan.stop else None,
        "not_fed": [_not_fed(row) for row in plan.not_fed],
        "refused": plan.refused,
        "reason": plan.reason,
        "notes": list(plan.notes),
        "working": plan.working.as_json(),
    }


def feed_json(feed: Feed) -> dict[str, Any]:
    scoops = feed.scoops
    return {
        "number": feed.number,
        "day": feed.day.isoformat(),
        "weeks": feed.weeks,
        "mass": grams(feed.blend_mg),
        "nitrogen": micrograms(feed.ug_n),
        "boron": micrograms(feed.ug_boron),
        "planned_nitrogen": micrograms(feed.planned_ug_n),
        "share": str(feed.share),
        "skipped": feed.skipped,
        "cut_by_soil": feed.cut_by_soil,
        "scoops": {"quarters": scoops.quarters, "words": str(scoops), "mass": grams(scoops.mg)}
        if scoops
        else None,
        "line": feed.line,
    }


def _not_fed(row: NotFed) -> dict[str, Any]:
    return {"code": row.code, "words": row.words, "nitrogen": micrograms(row.ug_n)}


def micrograms(ug: int) -> Any:
    """In grams."""
    return figure(Fraction(ug, GRAM), "g")
