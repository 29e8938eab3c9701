"""Rounds: their weeks and gardens, what they need, the freeze, the batch, what each plot is due."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from blends.api.days import BatchJSON, state_of_batch
from blends.models import MixingDay, Revision, Scale
from gardens.access import To
from gardens.api.quantities import Mass
from gardens.api.schema import operation
from gardens.api.views import ProgrammeView, Ref, Refs
from gardens.models import Garden
from schedules.actions.rounds import (
    change_round,
    close_round,
    exchange_revision,
    freeze_round,
    mix_round,
    open_round,
)
from schedules.models import Round, RoundState
from schedules.queries.desk import DeskRow, round_rows
from schedules.queries.plans import Demand, live_demand
from schedules.queries.round_page import RoundPage, round_page

ROUNDS = "Rounds"


class RoundIn(serializers.Serializer[Any]):
    gardens = Refs(Garden, allow_empty=False)
    first_day = serializers.DateField()
    weeks = serializers.IntegerField(default=4, min_value=1, max_value=12)
    revision = Ref(Revision)
    mixing_day = Ref(MixingDay, required=False, allow_null=True, default=None)
    freeze_at = serializers.DateTimeField(required=False, allow_null=True, default=None)
    reserve_percent = serializers.IntegerField(default=5, min_value=0, max_value=100)


class RoundChange(serializers.Serializer[Any]):
    """What is left out stays. A frozen round takes a mixing day, until it is mixed, and nothing else."""

    gardens = Refs(Garden, required=False, allow_empty=False)
    first_day = serializers.DateField(required=False)
    weeks = serializers.IntegerField(required=False, min_value=1, max_value=12)
    revision = Ref(Revision, required=False)
    mixing_day = Ref(MixingDay, required=False)
    freeze_at = serializers.DateTimeField(required=False)
    reserve_percent = serializers.IntegerField(required=False, min_value=0, max_value=100)


class RoundLine(serializers.Serializer[Round]):
    id = serializers.IntegerField(source="pk")
    number = serializers.IntegerField()
    first_day = serializers.DateField()
    last_day = serializers.DateField()
    weeks = serializers.IntegerField()
    revision = serializers.IntegerField(source="revision_id")
    mixing_day = serializers.IntegerField(source="mixing_day_id", allow_null=True)
    batch = serializers.IntegerField(source="batch_id", allow_null=True)
    state = serializers.ChoiceField(RoundState.choices)
    freeze_at = serializers.DateTimeField(allow_null=True)
    reserve_percent = serializers.IntegerField()


class SizingJSON(serializers.Serializer[Any]):
    """From need to batch."""

    need = Mass(source="need_mg", help_text="Before rounding.")
    rounding = Mass(source="rounding_mg", help_text="What rounding each portion up adds.")
    portions = serializers.IntegerField()
    portions_mass = Mass(source="portions_mg")
    reserve = Mass(source="reserve_mg")
    released = Mass(source="released_mg", help_text="In released, unopened pails that are there.")
    batch = Mass(source="batch_mg")


class RoundJSON(serializers.Serializer[RoundPage]):
    round = RoundLine()
    need = Mass(
        source="demand.mg", help_text="As frozen where it is frozen, else by the rows as they are now."
    )
    assumed = Mass(source="demand.assumed_mg", help_text="The part of default plantings.")
    need_now = Mass(source="live.mg")
    frozen_at = serializers.DateTimeField(allow_null=True)
    sizing = SizingJSON()
    can_freeze_again = serializers.BooleanField()


class PlotDemandJSON(serializers.Serializer[Any]):
    plot = serializers.IntegerField(source="plot.pk")
    label = serializers.CharField(source="plot.label")  # type: ignore[assignment]
    mass = Mass(source="mg")
    assumed = Mass(source="assumed_mg")
    note = serializers.CharField(help_text="Why it needs nothing.")


class GardenDemandJSON(serializers.Serializer[Any]):
    garden = serializers.IntegerField(source="garden.pk")
    name = serializers.CharField(source="garden.name")
    mass = Mass(source="mg")
    assumed = Mass(source="assumed_mg")
    plots = PlotDemandJSON(many=True)


class DemandJSON(serializers.Serializer[Demand]):
    """The sum of doses over the round, by plot, garden and programme: exact, and the same at each level."""

    first = serializers.DateField()
    last = serializers.DateField()
    mass = Mass(source="mg")
    assumed = Mass(source="assumed_mg")
    known = Mass(source="known_mg")
    gardens = GardenDemandJSON(many=True)
    unheld = serializers.SerializerMethodField()
    unsized = serializers.SerializerMethodField()
    problems = serializers.SerializerMethodField()

    def get_unheld(self, demand: Demand) -> list[int]:
        """Plots that nobody holds in these weeks."""
        return [plot.pk for plot in demand.unheld]

    def get_unsized(self, demand: Demand) -> list[int]:
        """Plots with neither a bed nor a size."""
        return [plot.pk for plot in demand.unsized]

    def get_problems(self, demand: Demand) -> list[str]:
        """Beds that cannot be dosed, and why."""
        return [f"plot {surface.plot.label}, {surface.name}: {why}" for surface, why in demand.problems]


class DeskRowJSON(serializers.Serializer[DeskRow]):
    """One portion, or a plot of the round without any."""

    portion = serializers.IntegerField(source="portion_id", allow_null=True)
    plot = serializers.IntegerField(source="plot_id")
    label = serializers.CharField(source="plot")  # type: ignore[assignment]
    garden = serializers.CharField()
    names = serializers.ListField(child=serializers.CharField())
    due = Mass(source="due_mg")
    had = Mass(source="had_mg")
    home = Mass(source="home_mg", help_text="Still at home, as it was answered.")
    left = Mass(source="left_mg")
    state = serializers.ChoiceField(["to_come", "part", "collected", "none"])
    cause = serializers.CharField()
    why_none = serializers.CharField()
    came_at = serializers.DateTimeField(allow_null=True)


def rounds() -> Any:
    """With all that a round's page asks."""
    return Round.objects.select_related(
        "programme", "revision__blend", "batch__revision__blend", "mixing_day__garden"
    )


class RoundView(ProgrammeView):
    def shown(self, pk: int, status: int = 200) -> Response:
        return self.show(RoundJSON, round_page(rounds().get(pk=pk)), status)


class RoundsView(RoundView):
    @operation("round_list", "Rounds, newest first", tag=ROUNDS, answer=RoundLine, paged=True)
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.READ)
        return self.page(RoundLine, Round.objects.filter(programme=seat.programme))

    @operation("round_open", "Open a round", tag=ROUNDS, request=RoundIn, answer=RoundJSON, status=201)
    def post(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.ORGANISE)
        made = open_round(programme=seat.programme, by=seat.person, **self.take(RoundIn))
        return self.shown(made.pk, 201)


class RoundDetail(RoundView):
    @operation("round_show", "One round, from need to batch", tag=ROUNDS, answer=RoundJSON)
    def get(self, request: Request, programme: int, round: int) -> Response:
        self.sit(To.READ)
        return self.show(RoundJSON, round_page(self.find(rounds(), round)))

    @operation("round_change", "Change a round", tag=ROUNDS, request=RoundChange, answer=RoundJSON)
    def patch(self, request: Request, programme: int, round: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Round, round)
        change_round(round=row, by=seat.person, **self.take(RoundChange))
        return self.shown(row.pk)


class DemandView(RoundView):
    @operation(
        "round_demand",
        "What a round needs now, by plot and garden, with the assumed part",
        tag=ROUNDS,
        answer=DemandJSON,
    )
    def get(self, request: Request, programme: int, round: int) -> Response:
        self.sit(To.READ)
        return self.show(DemandJSON, live_demand(self.find(rounds(), round)))


class FreezeView(RoundView):
    @operation(
        "round_freeze",
        "Freeze the demand: portions are made. Again until the first weigh-out",
        tag=ROUNDS,
        answer=RoundJSON,
        errors=(409, 422),
    )
    def post(self, request: Request, programme: int, round: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Round, round)
        freeze_round(round=row, by=seat.person, now=timezone.now())
        return self.shown(row.pk)


class ExchangeIn(serializers.Serializer[Any]):
    revision = Ref(Revision)


class ExchangeView(RoundView):
    @operation(
        "round_exchange",
        "Another bag: exchange the revision. Nitrogen may fall, never rise",
        tag=ROUNDS,
        request=ExchangeIn,
        answer=RoundJSON,
    )
    def post(self, request: Request, programme: int, round: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Round, round)
        exchange_revision(round=row, by=seat.person, revision=self.take(ExchangeIn)["revision"])
        return self.shown(row.pk)


class MixIn(serializers.Serializer[Any]):
    scales = Refs(Scale, required=False, allow_null=True, default=None, help_text="Left out: all in use.")


class MixView(RoundView):
    @operation(
        "round_mix",
        "The round's batch, in equal pails, on its mixing day",
        tag=ROUNDS,
        request=MixIn,
        answer=BatchJSON,
        status=201,
    )
    def post(self, request: Request, programme: int, round: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Round, round)
        batch = mix_round(round=row, by=seat.person, scales=self.take(MixIn)["scales"])
        return self.show(BatchJSON, state_of_batch(batch), 201)


class CloseRoundView(RoundView):
    @operation(
        "round_close",
        "Close a round: nothing more is due from it",
        tag=ROUNDS,
        answer=RoundJSON,
        errors=(409,),
    )
    def post(self, request: Request, programme: int, round: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Round, round)
        close_round(round=row, by=seat.person)
        return self.shown(row.pk)


class PortionsView(RoundView):
    @operation(
        "portion_list", "What each plot is due, had, has left", tag=ROUNDS, answer=DeskRowJSON, paged=True
    )
    def get(self, request: Request, programme: int, round: int) -> Response:
        self.sit(To.READ)
        return self.page(DeskRowJSON, round_rows(self.find(Round, round)))
