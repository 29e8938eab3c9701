"""The mixing day: crew, safety list, scales, batches in pails, weigh-outs, what is decided about pails."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from blends.actions.days import (
    add_crew,
    close_day,
    correct_weigh_out,
    hold_pail,
    look_at,
    open_day,
    pails_to_count,
    release_pail,
    reverse_weigh_out,
    start_batch,
    tick,
    untick,
    weigh_out,
    weigh_scoops,
)
from blends.actions.scales import add_scale
from blends.api.analyses import AnalysisOut, analysis_json
from blends.api.tickets import TicketView
from blends.batching import Held, Never
from blends.models import Batch, Component, Lot, MixingDay, Pail, Revision, Scale, WeighOut
from blends.models import DayState as DayStates
from blends.planning import as_wanted
from blends.queries.days import BatchState, DayState, day_state
from blends.queries.pails import ComponentState, PailState, full_pails, pail_state
from blends.queries.store import lots_of_day
from blends.readings import ReadingAsked
from blends.safety import POINTS
from gardens.access import To
from gardens.api.problems import problem
from gardens.api.quantities import Mass, Quantity, QuantityJSON, grams
from gardens.api.schema import operation
from gardens.api.views import ProgrammeView, Ref, Refs
from gardens.models import Garden, Person

DAY = "Mixing day"

# Scales -----------------------------------------------------------------------------------------------------


class ScaleIn(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=60)
    division = Mass(positive=True, help_text="Its smallest step.")
    minimum = Mass(default=0, help_text="Its smallest load.")
    maximum = Mass(positive=True)


class ScaleJSON(serializers.Serializer[Scale]):
    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    division = Mass(source="division_mg")
    minimum = Mass(source="min_mg")
    maximum = Mass(source="max_mg")
    retired = serializers.BooleanField()


class ScalesView(ProgrammeView):
    @operation("scale_list", "Scales", tag=DAY, answer=ScaleJSON, paged=True)
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.READ)
        return self.page(ScaleJSON, Scale.objects.filter(programme=seat.programme))

    @operation("scale_add", "Add a scale", tag=DAY, request=ScaleIn, answer=ScaleJSON, status=201)
    def post(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.ORGANISE)
        taken = self.take(ScaleIn)
        made = add_scale(
            programme=seat.programme,
            by=seat.person,
            name=taken["name"],
            division_mg=taken["division"],
            min_mg=taken["minimum"],
            max_mg=taken["maximum"],
        )
        return self.show(ScaleJSON, made, 201)


# Days -------------------------------------------------------------------------------------------------------


class DayIn(serializers.Serializer[Any]):
    garden = Ref(Garden)
    day = serializers.DateField()
    starts_at = serializers.TimeField(required=False, allow_null=True, default=None)
    crew = Refs(Person, required=False, default=list)


class CrewIn(serializers.Serializer[Any]):
    person = Ref(Person)


class TickIn(serializers.Serializer[Any]):
    point = serializers.ChoiceField(list(POINTS.items()))


class PointOut(serializers.Serializer[Any]):
    """One point of the safety list, and who saw to it."""

    point = serializers.CharField()
    text = serializers.CharField()
    ticked_by = serializers.IntegerField(allow_null=True)


class DayLine(serializers.Serializer[MixingDay]):
    id = serializers.IntegerField(source="pk")
    garden = serializers.IntegerField(source="garden_id")
    day = serializers.DateField()
    starts_at = serializers.TimeField(allow_null=True)
    state = serializers.ChoiceField(DayStates.choices)


class DayJSON(serializers.Serializer[DayState]):
    """A day, how far it is, and what stands before its end."""

    id = serializers.IntegerField(source="day.pk")
    garden = serializers.IntegerField(source="day.garden_id")
    day = serializers.DateField(source="day.day")
    starts_at = serializers.TimeField(source="day.starts_at", allow_null=True)
    state = serializers.ChoiceField(DayStates.choices, source="day.state")
    crew = serializers.SerializerMethodField()
    safe = serializers.BooleanField(help_text="Whether the whole safety list is ticked.")
    safety = serializers.SerializerMethodField()
    batches = serializers.SerializerMethodField()
    lots = serializers.SerializerMethodField()
    uncounted = serializers.SerializerMethodField()

    def get_crew(self, state: DayState) -> list[int]:
        return [crew.person_id for crew in state.crew]

    @extend_schema_field(PointOut(many=True))
    def get_safety(self, state: DayState) -> list[dict[str, Any]]:
        return [
            {
                "point": point,
                "text": text,
                "ticked_by": state.ticks[point].by_id if point in state.ticks else None,
            }
            for point, text in POINTS.items()
        ]

    def get_batches(self, state: DayState) -> list[int]:
        return [batch.batch.pk for batch in state.batches]

    def get_lots(self, state: DayState) -> list[int]:
        """All lots whose bags may be open today."""
        return [lot.pk for lot in lots_of_day(state.day)]

    def get_uncounted(self, state: DayState) -> list[int]:
        """Places of pails that changed since they were last counted."""
        return [pail.place.pk for pail in pails_to_count(state.day)]


class DaysView(ProgrammeView):
    @operation("day_list", "Mixing days, newest first", tag=DAY, answer=DayLine, paged=True)
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.READ)
        return self.page(DayLine, MixingDay.objects.filter(programme=seat.programme))

    @operation("day_open", "Open a mixing day", tag=DAY, request=DayIn, answer=DayJSON, status=201)
    def post(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.ORGANISE)
        made = open_day(programme=seat.programme, by=seat.person, **self.take(DayIn))
        return self.show(DayJSON, day_state(made), 201)


class DayView(ProgrammeView):
    @operation("day_show", "One mixing day and how far it is", tag=DAY, answer=DayJSON)
    def get(self, request: Request, programme: int, day: int) -> Response:
        self.sit(To.READ)
        return self.show(DayJSON, day_state(self.find(MixingDay, day)))


class CrewView(ProgrammeView):
    @operation("crew_add", "One more steward of the day", tag=DAY, request=CrewIn, answer=DayJSON, status=201)
    def post(self, request: Request, programme: int, day: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(MixingDay, day)
        add_crew(day=row, by=seat.person, person=self.take(CrewIn)["person"])
        return self.show(DayJSON, day_state(row), 201)


class SafetyView(ProgrammeView):
    @operation(
        "safety_tick",
        "A point of the safety list is seen to",
        tag=DAY,
        request=TickIn,
        answer=DayJSON,
        status=201,
    )
    def post(self, request: Request, programme: int, day: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(MixingDay, day)
        tick(day=row, by=seat.person, point=self.take(TickIn)["point"])
        return self.show(DayJSON, day_state(row), 201)


class SafetyPointView(ProgrammeView):
    @operation("safety_untick", "Ticked too soon", tag=DAY, status=204, errors=(409,))
    def delete(self, request: Request, programme: int, day: int, point: str) -> Response:
        seat = self.sit(To.MIX)
        untick(day=self.find(MixingDay, day), by=seat.person, point=point)
        return Response(status=204)


class CloseView(ProgrammeView):
    @operation(
        "day_close",
        "Close the day: every pail that changed is counted",
        tag=DAY,
        answer=DayJSON,
        errors=(409,),
    )
    def post(self, request: Request, programme: int, day: int) -> Response:
        seat = self.sit(To.MIX)
        closed = close_day(day=self.find(MixingDay, day), by=seat.person)
        return self.show(DayJSON, day_state(closed))


# Batches ----------------------------------------------------------------------------------------------------


class BatchIn(serializers.Serializer[Any]):
    revision = Ref(Revision)
    mass = Mass(positive=True)
    scales = Refs(Scale, required=False, allow_null=True, default=None, help_text="Left out: all in use.")


class ScoopsIn(serializers.Serializer[Any]):
    ten_scoops = Mass(positive=True, help_text="What ten struck scoops weigh together.")


class PailLine(serializers.Serializer[PailState]):
    id = serializers.IntegerField(source="pail.pk")
    number = serializers.IntegerField(source="pail.number")
    place = serializers.IntegerField(source="pail.place.pk", help_text="To be counted, or lost from.")
    target = Mass(source="pail.target_mg")
    balance = Mass(source="pail.place.balance_mg")
    gate = serializers.ChoiceField(["filling", "held", "released"], source="pail.place.gate")
    complete = serializers.BooleanField()


class BatchJSON(serializers.Serializer[BatchState]):
    id = serializers.IntegerField(source="batch.pk")
    day = serializers.IntegerField(source="batch.day_id")
    number = serializers.IntegerField(source="batch.number")
    revision = serializers.IntegerField(source="batch.revision_id")
    mass = Mass(source="batch.mass_mg")
    ten_scoops = Mass(source="batch.ten_scoops_mg", allow_null=True)
    pails = PailLine(many=True)


def state_of_batch(batch: Batch) -> BatchState:
    """A constant count of queries."""
    pails = full_pails(Pail.objects.filter(batch=batch).order_by("number"))
    return BatchState(batch, tuple(pail_state(pail) for pail in pails))


class BatchesView(ProgrammeView):
    @operation(
        "batch_start",
        "Start a batch of a stated mass, in equal pails",
        tag=DAY,
        request=BatchIn,
        answer=BatchJSON,
        status=201,
    )
    def post(self, request: Request, programme: int, day: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(MixingDay, day)
        taken = self.take(BatchIn)
        taken["mass_mg"] = taken.pop("mass")
        return self.show(BatchJSON, state_of_batch(start_batch(day=row, by=seat.person, **taken)), 201)


class BatchView(ProgrammeView):
    @operation("batch_show", "One batch and its pails", tag=DAY, answer=BatchJSON)
    def get(self, request: Request, programme: int, batch: int) -> Response:
        self.sit(To.READ)
        return self.show(BatchJSON, state_of_batch(self.find(Batch, batch)))


class ScoopsView(ProgrammeView):
    @operation("scoops_weigh", "What ten struck scoops weigh", tag=DAY, request=ScoopsIn, answer=BatchJSON)
    def put(self, request: Request, programme: int, batch: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(Batch, batch)
        weigh_scoops(batch=row, by=seat.person, ten_scoops_mg=self.take(ScoopsIn)["ten_scoops"])
        return self.show(BatchJSON, state_of_batch(row))


# Pails and weigh-outs ---------------------------------------------------------------------------------------


class ReadingIn(serializers.Serializer[Any]):
    """One weighing. A trace component needs a ``witness``, another person; who is ``alone`` says so."""

    gross = Mass(positive=True, help_text="What the scale shows, vessel included.")
    tare = Mass(default=0, help_text="What the vessel weighs.")
    witness = Ref(Person, required=False, allow_null=True, default=None)
    alone = serializers.BooleanField(default=False)
    question_reason = serializers.CharField(
        max_length=400,
        required=False,
        allow_blank=True,
        default="",
        help_text="Why a doubtful reading is kept.",
    )
    device = serializers.CharField(max_length=80, required=False, allow_blank=True, default="")


class WeighIn(ReadingIn):
    component = Ref(Component, ask=("material",))
    lot = Ref(Lot, ask=("material",))
    scale = Ref(Scale)
    part = serializers.BooleanField(default=False, help_text="The rest comes from another bag.")
    happened_at = serializers.DateTimeField(required=False, allow_null=True, default=None)


class CorrectIn(ReadingIn):
    """What was really read. What is left out stays as it was."""

    reason = serializers.CharField(max_length=400)
    gross = Mass(positive=True, required=False)
    tare = Mass(required=False)
    component = Ref(Component, required=False, ask=("material",))
    lot = Ref(Lot, required=False, ask=("material",))
    scale = Ref(Scale, required=False)


class ReasonIn(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=400)


class WeighOutJSON(serializers.Serializer[WeighOut]):
    """As read; its ticket holds what was booked."""

    id = serializers.IntegerField(source="pk")
    ticket = serializers.IntegerField(source="ticket_id")
    pail = serializers.IntegerField(source="pail_id")
    component = serializers.IntegerField(source="component_id")
    lot = serializers.IntegerField(source="lot_id")
    scale = serializers.IntegerField(source="scale_id")
    target = Mass(source="target_mg")
    gross = Mass(source="gross_mg")
    tare = Mass(source="tare_mg")
    net = Mass(source="net_mg")
    witness = serializers.IntegerField(source="witness_id", allow_null=True)
    alone = serializers.BooleanField()
    question = serializers.CharField(help_text="Codes of what was asked about it; empty when nothing was.")
    question_reason = serializers.CharField()


class ComponentStateJSON(serializers.Serializer[ComponentState]):
    component = serializers.IntegerField(source="target.component_id")
    name = serializers.CharField(source="target.component.material.name")
    trace = serializers.BooleanField(source="target.component.material.is_trace")
    scale = serializers.IntegerField(source="target.scale_id")
    target = Mass(source="target.target_mg")
    tolerance = serializers.SerializerMethodField()
    weighed = Mass(source="weighed_mg")
    complete = serializers.BooleanField()
    weigh_outs = WeighOutJSON(many=True)

    @extend_schema_field(Quantity)
    def get_tolerance(self, state: ComponentState) -> QuantityJSON:
        return grams(as_wanted(state.target).target.tolerance_mg)


class ReasonOut(serializers.Serializer[Any]):
    code = serializers.CharField()
    text = serializers.CharField()


class PailJSON(PailLine):
    """A pail: what is wanted, what went in, whether it may be handed out, and why not."""

    batch = serializers.IntegerField(source="pail.batch_id")
    components = ComponentStateJSON(many=True, help_text="In the order of weighing.")
    ready = serializers.BooleanField(help_text="Nothing stands between it and its release.")
    against = serializers.SerializerMethodField()
    to_look_at = serializers.SerializerMethodField()
    made = serializers.SerializerMethodField()

    @extend_schema_field(ReasonOut(many=True))
    def get_against(self, state: PailState) -> list[dict[str, str]]:
        """What stands against handing it out."""
        reasons = state.verdict.reasons if isinstance(state.verdict, Held | Never) else ()
        return [{"code": reason.code, "text": reason.text} for reason in reasons]

    def get_to_look_at(self, state: PailState) -> list[int]:
        """Weigh-outs that a second person still has to look at."""
        return [weigh_out.pk for weigh_out in state.to_look_at]

    @extend_schema_field(AnalysisOut(allow_null=True))
    def get_made(self, state: PailState) -> dict[str, Any] | None:
        """Its analysis from what really went in."""
        return analysis_json(state.made) if state.made else None


def asked_json(asked: ReadingAsked) -> Response:
    """The question as a problem: nothing was recorded; the same act with a reason is."""
    errors = [{"field": asked.field, "message": asked.message, "code": asked.code}]
    return problem(asked.code, asked.message, asked.status, errors=errors, doubts=list(asked.asked.codes))


class PailView(ProgrammeView):
    @operation("pail_show", "One pail: what is wanted, what went in, may it go out", tag=DAY, answer=PailJSON)
    def get(self, request: Request, programme: int, pail: int) -> Response:
        self.sit(To.READ)
        return self.show(PailJSON, pail_state(self.find(Pail, pail)))


class WeighOutsView(TicketView):
    @operation(
        "weigh_out",
        "Weigh a component into a pail",
        description="A doubtful reading, bag or scale is a 422 with code “question” and its doubts: nothing "
        "was recorded. The same act with a question_reason is; what was asked about reading or bag holds the "
        "pail.",
        tag=DAY,
        request=WeighIn,
        answer=WeighOutJSON,
        status=201,
        key=True,
    )
    def post(self, request: Request, programme: int, pail: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(Pail.objects.select_related("programme"), pail)
        taken = self.take(WeighIn)
        taken["gross_mg"], taken["tare_mg"] = taken.pop("gross"), taken.pop("tare")
        try:
            return self.act_once(
                lambda key: weigh_out(pail=row, by=seat.person, key=key, **taken),
                lambda made: self.show(WeighOutJSON, made),
            )
        except ReadingAsked as asked:
            return asked_json(asked)


class CorrectView(TicketView):
    @operation(
        "weigh_out_correct",
        "Correct a weigh-out: a reversal and what was really read, in one act",
        tag=DAY,
        request=CorrectIn,
        answer=WeighOutJSON,
        status=201,
        key=True,
    )
    def post(self, request: Request, programme: int, weigh_out: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(weigh_outs(), weigh_out)
        taken = self.take(CorrectIn)
        taken["gross_mg"], taken["tare_mg"] = taken.pop("gross", None), taken.pop("tare", None)
        try:
            return self.act_once(
                lambda key: correct_weigh_out(weigh_out=row, by=seat.person, key=key, **taken),
                lambda made: self.show(WeighOutJSON, made),
            )
        except ReadingAsked as asked:
            return asked_json(asked)


def weigh_outs() -> Any:
    """With all that correcting one asks."""
    return WeighOut.objects.select_related(
        "ticket", "pail", "component__material", "lot__material", "scale", "witness"
    )


class ReverseView(TicketView):
    @operation(
        "weigh_out_reverse",
        "It did not go into this pail: take the reading back",
        tag=DAY,
        request=ReasonIn,
        answer=PailJSON,
        status=201,
        key=True,
    )
    def post(self, request: Request, programme: int, weigh_out: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(weigh_outs(), weigh_out)
        reason = self.take(ReasonIn)["reason"]
        return self.act_once(
            lambda key: reverse_weigh_out(weigh_out=row, by=seat.person, key=key, reason=reason),
            lambda pail: self.show(PailJSON, pail_state(Pail.objects.get(pk=pail.pk))),
        )


class LooksView(ProgrammeView):
    @operation(
        "weigh_out_look",
        "A second person has looked at bag, scale and reading of what was weighed alone",
        tag=DAY,
        answer=PailJSON,
        status=201,
        errors=(409, 422),
    )
    def post(self, request: Request, programme: int, weigh_out: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(weigh_outs(), weigh_out)
        look_at(weigh_out=row, by=seat.person)
        return self.show(PailJSON, pail_state(Pail.objects.get(pk=row.pail_id)), 201)


class ReleaseIn(serializers.Serializer[Any]):
    accept = serializers.BooleanField(
        default=False, help_text="An organiser accepts what lies outside 5 and 10 %, with a reason."
    )
    reason = serializers.CharField(max_length=400, required=False, allow_blank=True, default="")


class HoldPailIn(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=400, required=False, allow_blank=True, default="")


class ReleaseView(ProgrammeView):
    @operation(
        "pail_release",
        "Release a pail: it may be handed out",
        tag=DAY,
        request=ReleaseIn,
        answer=PailJSON,
        errors=(409,),
    )
    def post(self, request: Request, programme: int, pail: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(Pail, pail)
        release_pail(pail=row, by=seat.person, **self.take(ReleaseIn))
        return self.show(PailJSON, pail_state(Pail.objects.get(pk=row.pk)))


class HoldView(ProgrammeView):
    @operation("pail_hold", "Hold a pail, at once", tag=DAY, request=HoldPailIn, answer=PailJSON)
    def post(self, request: Request, programme: int, pail: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(Pail, pail)
        hold_pail(pail=row, by=seat.person, **self.take(HoldPailIn))
        return self.show(PailJSON, pail_state(Pail.objects.get(pk=row.pk)))
