"""Doses in JSON: feeds of a season with their working, a plot's week, everybody's week, what holders log."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from django.http import Http404
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gardens.access import To, plot_for
from gardens.actions.land import end_planting
from gardens.api.calculations import WorkingJSON
from gardens.api.quantities import ExactQuantity, Mass, Quantity, QuantityJSON, figure, grams, square_metres
from gardens.api.schema import operation
from gardens.api.views import ProgrammeView, Ref
from gardens.clock import today
from gardens.models import Bed, Garden, Planting, Plot
from gardens.refusals import Refused
from schedules.actions.feeding import log_feed, undo_log
from schedules.actions.plantings import register_planting
from schedules.models import FeedLog, LogKind
from schedules.plans import BedPlan, Feed, NotFed, PlantingPlan
from schedules.queries.my_plot import Dose, PlotWeek, plot_week
from schedules.queries.week import PlotRow, week_of_all
from schedules.rules import GRAM

DOSES = "Doses"


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
    boron = Quantity(allow_null=True, help_text="Null where nobody declared it: not known, never none.")
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
        "boron": None if feed.ug_boron is None else micrograms(feed.ug_boron),
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


def micrograms(ug: int) -> QuantityJSON:
    """In grams."""
    return figure(Fraction(ug, GRAM), "g")


# A plot's week, everybody's week ----------------------------------------------------------------------------


class WeekQuery(serializers.Serializer[Any]):
    day = serializers.DateField(required=False, help_text="Any day of the week; by default today.")


class AllWeekQuery(WeekQuery):
    garden = Ref(Garden, required=False)


class LogJSON(serializers.Serializer[FeedLog]):
    """What a holder said happened."""

    id = serializers.IntegerField(source="pk")
    bed = serializers.IntegerField(source="bed_id", allow_null=True)
    planting = serializers.IntegerField(source="planting_id", allow_null=True)
    kind = serializers.ChoiceField(LogKind.choices)
    day = serializers.DateField()
    mass = Mass(source="mass_mg")
    at = serializers.DateTimeField()
    undone_at = serializers.DateTimeField(allow_null=True)


class DoseJSON(serializers.Serializer[Dose]):
    """One planting, or a default planting, in one week."""

    bed = serializers.SerializerMethodField()
    planting = serializers.SerializerMethodField()
    title = serializers.CharField()
    assumed = serializers.BooleanField(source="plan.assumed")
    due = Mass(source="due_mg")
    feed = serializers.SerializerMethodField()
    rest = serializers.CharField(help_text="Why there is nothing, and when the next feed is.")
    said = LogJSON(allow_null=True)
    plan = serializers.SerializerMethodField()

    def get_bed(self, dose: Dose) -> int | None:
        return dose.surface.bed.pk if dose.surface.bed else None

    def get_planting(self, dose: Dose) -> int | None:
        return dose.planting.pk if dose.planting else None

    @extend_schema_field(FeedOut(allow_null=True))
    def get_feed(self, dose: Dose) -> dict[str, Any] | None:
        return feed_json(dose.feed) if dose.feed else None

    @extend_schema_field(PlantingPlanOut)
    def get_plan(self, dose: Dose) -> dict[str, Any]:
        return planting_json(dose.plan)


class PlotWeekJSON(serializers.Serializer[PlotWeek]):
    """This week, bed by bed, and why that much: the season's plan with its working."""

    plot = serializers.IntegerField(source="plot.pk")
    first = serializers.DateField()
    last = serializers.DateField()
    sentence = serializers.CharField()
    total = Mass(source="total_mg")
    assumed = serializers.BooleanField()
    scoop = Mass(source="scoop_mg", help_text="What one struck scoop of the tub holds.")
    doses = DoseJSON(many=True)
    logs = LogJSON(many=True)


class PlotView(ProgrammeView):
    def plot(self, request: Request, programme: int, pk: int, *, to_change: bool = False) -> Plot:
        """A plot for its own holders, and for who reads all (or, to change, organises)."""
        self.seat, plot = plot_for(request, pk, to_change=to_change)
        if plot.programme_id != programme:
            raise Http404
        return plot


class PlotWeekView(PlotView):
    @operation(
        "plot_week",
        "A plot's week, with the working of each dose",
        tag=DOSES,
        answer=PlotWeekJSON,
        parameters=[WeekQuery],
        errors=(400,),
    )
    def get(self, request: Request, programme: int, plot: int) -> Response:
        row = self.plot(request, programme, plot)
        return self.show(PlotWeekJSON, plot_week(row, self.asked(WeekQuery).get("day")))


class WeekPlotJSON(serializers.Serializer[PlotRow]):
    plot = serializers.IntegerField(source="plot.pk")
    label = serializers.CharField(source="plot.label")  # type: ignore[assignment]
    garden = serializers.IntegerField(source="plot.garden_id")
    holders = serializers.CharField()
    due = Mass(source="mg")
    assumed = serializers.BooleanField()
    note = serializers.CharField()


class WeekView(ProgrammeView):
    @operation(
        "week_list",
        "Everybody's week, plot by plot",
        tag=DOSES,
        answer=WeekPlotJSON,
        paged=True,
        parameters=[AllWeekQuery],
        errors=(400,),
    )
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.READ)
        asked = self.asked(AllWeekQuery)
        gardens = [asked["garden"].pk] if "garden" in asked else None
        week = week_of_all(seat.programme, asked.get("day") or today(seat.programme), gardens=gardens)
        return self.page(WeekPlotJSON, week.rows)


class LogIn(serializers.Serializer[Any]):
    """The default planting is named by its bed, or by neither where no bed is known."""

    kind = serializers.ChoiceField(LogKind.choices)
    day = serializers.DateField(help_text="The feed's day; of an extra, the day it was put on.")
    bed = Ref(Bed, required=False, allow_null=True, default=None)
    planting = Ref(Planting, required=False, allow_null=True, default=None, ask=("bed",))
    mass = Mass(default=0, help_text="Of an extra.")


class LogsView(PlotView):
    @operation(
        "feed_log",
        "Log a feed: fed, skipped, or an extra",
        tag=DOSES,
        request=LogIn,
        answer=LogJSON,
        status=201,
    )
    def post(self, request: Request, programme: int, plot: int) -> Response:
        row = self.plot(request, programme, plot, to_change=True)
        taken = self.take(LogIn)
        taken["mass_mg"] = taken.pop("mass")
        return self.show(LogJSON, log_feed(plot=row, by=self.seat.person, **taken), 201)


class LogView(PlotView):
    @operation(
        "feed_undo", "Undo a log entry; it stays listed, undone", tag=DOSES, answer=LogJSON, errors=(409,)
    )
    def delete(self, request: Request, programme: int, plot: int, log: int) -> Response:
        row = self.plot(request, programme, plot, to_change=True)
        entry = self.find(FeedLog.objects.filter(plot=row), log)
        return self.show(LogJSON, undo_log(log=entry, by=self.seat.person))


# Plantings --------------------------------------------------------------------------------------------------


class PlantingIn(serializers.Serializer[Any]):
    """A crop that the catalogue lacks is kept by its name, and fed as medium, assumed."""

    bed = Ref(Bed, ask=("plot__garden",))
    crop = serializers.CharField(max_length=80)
    day = serializers.DateField(help_text="Sown or transplanted.")
    sown = serializers.BooleanField(default=False)
    ends_on = serializers.DateField(required=False, allow_null=True, default=None)
    share = serializers.IntegerField(default=100, min_value=1, max_value=100)
    feed_on_request = serializers.BooleanField(default=False)


class PlantingJSON(serializers.Serializer[Planting]):
    id = serializers.IntegerField(source="pk")
    bed = serializers.IntegerField(source="bed_id")
    crop_code = serializers.CharField(help_text="Of the catalogue; empty where it lacks the crop.")
    crop = serializers.CharField(source="crop_name")
    day = serializers.DateField()
    sown = serializers.BooleanField()
    ends_on = serializers.DateField(allow_null=True)
    share = serializers.IntegerField()
    feed_on_request = serializers.BooleanField()
    until_day = serializers.DateField(allow_null=True)


class EndIn(serializers.Serializer[Any]):
    day = serializers.DateField(help_text="Nothing grows there from this day on.")


class PlantingsView(PlotView):
    @operation("planting_list", "What grows on a plot", tag=DOSES, answer=PlantingJSON, paged=True)
    def get(self, request: Request, programme: int, plot: int) -> Response:
        row = self.plot(request, programme, plot)
        return self.page(PlantingJSON, Planting.objects.filter(bed__plot=row))

    @operation(
        "planting_register",
        "Register a crop on a bed of this plot",
        tag=DOSES,
        request=PlantingIn,
        answer=PlantingJSON,
        status=201,
    )
    def post(self, request: Request, programme: int, plot: int) -> Response:
        row = self.plot(request, programme, plot, to_change=True)
        taken = self.take(PlantingIn)
        if taken["bed"].plot_id != row.pk:
            raise Refused("other_plot", "That bed is on another plot.", "bed")
        taken["crop_text"] = taken.pop("crop")
        return self.show(PlantingJSON, register_planting(by=self.seat.person, **taken), 201)


class PlantingEndView(PlotView):
    @operation("planting_end", "A planting is over", tag=DOSES, request=EndIn, answer=PlantingJSON)
    def post(self, request: Request, programme: int, plot: int, planting: int) -> Response:
        row = self.plot(request, programme, plot, to_change=True)
        entry = self.find(Planting.objects.filter(bed__plot=row), planting)
        day = self.take(EndIn)["day"]
        return self.show(PlantingJSON, end_planting(planting=entry, by=self.seat.person, day=day))
