"""The desk: who is due what, handing out (asked or told), correcting, taking back, handing over, settling."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from blends.api.tickets import FlagJSON, PlaceJSON, TicketJSON, TicketView
from blends.models import Batch, Flag, MixingDay, Pail
from gardens.access import To
from gardens.api.problems import problem
from gardens.api.quantities import Mass, Quantity, grams
from gardens.api.schema import operation
from gardens.api.views import ProgrammeView, Ref
from gardens.models import Household, Person, Plot
from schedules.actions.desk import (
    TubQuestion,
    correct_collection,
    hand_out,
    hand_over,
    reverse_collection,
    settle,
    take_back,
)
from schedules.api.rounds import DeskRowJSON
from schedules.models import Collection, Portion
from schedules.queries.desk import PailChoice, PortionState, desk_list, is_reversed, portion_state
from schedules.queries.totals import to_settle_list

DESK = "Desk"


class DeskQuery(serializers.Serializer[Any]):
    q = serializers.CharField(
        max_length=100, required=False, default="", help_text="Part of a name or plot, whatever the accents."
    )


class DeskView(ProgrammeView):
    @operation(
        "desk_list",
        "Who is due what on this day: those still to come first; with q the best sixty that fit",
        tag=DESK,
        answer=DeskRowJSON,
        paged=True,
        parameters=[DeskQuery],
        errors=(400,),
    )
    def get(self, request: Request, programme: int, day: int) -> Response:
        self.sit(To.READ)
        row = self.find(MixingDay, day)
        text = self.asked(DeskQuery)["q"]
        found = desk_list(row, text)
        return self.page(DeskRowJSON, found.rows if text.strip() else found.all_rows)


class CollectionJSON(serializers.Serializer[Collection]):
    """Mass handed over, as typed; the booked mass is its ticket's."""

    id = serializers.IntegerField(source="pk")
    ticket = serializers.IntegerField(source="ticket_id")
    portion = serializers.IntegerField(source="portion_id")
    pail = serializers.IntegerField(source="pail_id")
    collected_by = serializers.IntegerField(source="collected_by_id")
    handed_out_by = serializers.IntegerField(source="ticket.by_id")
    reading = Mass(source="reading_mg")
    tare = Mass(source="tare_mg", help_text="Tub and what was in it, where the reading was with the tub.")
    net = Mass(source="net_mg")
    home = Mass(source="home_mg")
    told = serializers.BooleanField(source="ticket.told")
    happened_at = serializers.DateTimeField(source="ticket.happened_at")
    reason = serializers.CharField(source="question_reason")
    reversed = serializers.SerializerMethodField()

    def get_reversed(self, collection: Collection) -> bool:
        return is_reversed(collection)


class MemberJSON(serializers.Serializer[Person]):
    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()


class PailChoiceJSON(serializers.Serializer[PailChoice]):
    id = serializers.IntegerField(source="pail.pk")
    name = serializers.CharField(source="words")
    balance = Mass(source="balance_mg")


class PortionJSON(serializers.Serializer[PortionState]):
    """One portion at the desk; a pail that may be handed out of comes first in ``pails``."""

    id = serializers.IntegerField(source="portion.pk")
    round = serializers.IntegerField(source="portion.round_id")
    plot = serializers.IntegerField(source="portion.plot_id")
    household = serializers.IntegerField(source="portion.household_id")
    revision = serializers.IntegerField(source="portion.revision_id")
    demand = Mass(source="portion.demand_mg")
    due = Mass(source="portion.due_mg", help_text="The demand, rounded up to the desk's division.")
    had = Mass(source="had_mg")
    home = Mass(source="home_mg")
    left = serializers.SerializerMethodField()
    members = MemberJSON(many=True)
    pails = PailChoiceJSON(many=True)
    collections = CollectionJSON(source="history", many=True, help_text="Reversed ones too, last first.")
    tubs = PlaceJSON(many=True)

    @extend_schema_field(Quantity)
    def get_left(self, state: PortionState) -> Any:
        return grams(state.left_mg())


class CollectIn(serializers.Serializer[Any]):
    """Asked, the service may say no; ``told``, it has happened, and is kept and flagged whatever it is."""

    pail = Ref(Pail, ask=("batch__revision",))
    reading = Mass(positive=True, help_text="What the scale shows.")
    collected_by = Ref(Person)
    home = Mass(default=0, help_text="Of the same blend, still at home: topped up, not added.")
    with_tub = serializers.BooleanField(default=False, help_text="The reading is with the tub on the scale.")
    question_reason = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")
    consent = serializers.CharField(
        max_length=200,
        required=False,
        allow_blank=True,
        default="",
        help_text="Who agreed, where a neighbour collects.",
    )
    told = serializers.BooleanField(default=False, help_text="It was already handed over.")
    happened_at = serializers.DateTimeField(required=False, allow_null=True, default=None)
    device = serializers.CharField(max_length=80, required=False, allow_blank=True, default="")


class CorrectCollectionIn(serializers.Serializer[Any]):
    """What really happened; what is left out stays as it was."""

    reason = serializers.CharField(max_length=400)
    reading = Mass(positive=True)
    home = Mass(required=False)
    with_tub = serializers.BooleanField(default=False)
    pail = Ref(Pail, required=False, ask=("batch__revision",))
    collected_by = Ref(Person, required=False)
    device = serializers.CharField(max_length=80, required=False, allow_blank=True, default="")


class WhyIn(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=400)


class TakeBackIn(serializers.Serializer[Any]):
    mass = Mass(positive=True)
    reason = serializers.CharField(max_length=400)
    batch = Ref(
        Batch, required=False, allow_null=True, default=None, help_text="Of the tub; else the last one's."
    )
    happened_at = serializers.DateTimeField(required=False, allow_null=True, default=None)


class HandOverIn(serializers.Serializer[Any]):
    giver = Ref(Household)
    taker = Ref(Household)
    batch = Ref(Batch)
    mass = Mass(positive=True)
    reason = serializers.CharField(max_length=400, required=False, allow_blank=True, default="")
    happened_at = serializers.DateTimeField(required=False, allow_null=True, default=None)


def portions() -> Any:
    """With all that the desk asks of one."""
    return Portion.objects.select_related(
        "programme", "plot__garden", "household", "revision__blend", "round__mixing_day", "round__programme"
    )


def collections() -> Any:
    return Collection.objects.select_related(
        "programme", "ticket__by", "ticket__reversed_by", "portion", "pail__batch", "collected_by"
    )


class CollectionView(TicketView):
    def shown(self, collection: Collection) -> Response:
        return self.show(CollectionJSON, collections().get(pk=collection.pk))


class PortionView(ProgrammeView):
    @operation(
        "portion_show",
        "One portion: due, had, left, who may collect, from which pail",
        tag=DESK,
        answer=PortionJSON,
    )
    def get(self, request: Request, programme: int, portion: int) -> Response:
        self.sit(To.READ)
        return self.show(PortionJSON, portion_state(self.find(portions(), portion)))


class CollectionsView(CollectionView):
    @operation(
        "collect",
        "Hand out of a pail: asked, or told that it happened",
        description="A reading that looks like gross is a 422 with code “with_the_tub”, and what it would be "
        "without the tub: nothing was recorded. Send the same act with with_tub, or with a question_reason.",
        tag=DESK,
        request=CollectIn,
        answer=CollectionJSON,
        status=201,
        key=True,
    )
    def post(self, request: Request, programme: int, portion: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(portions(), portion)
        taken = self.take(CollectIn)
        taken["reading_mg"], taken["home_mg"] = taken.pop("reading"), taken.pop("home")
        try:
            return self.act_once(
                lambda key: hand_out(portion=row, by=seat.person, key=key, **taken), self.shown
            )
        except TubQuestion as asked:
            return tub_json(asked)


def tub_json(asked: TubQuestion) -> Response:
    question = asked.question
    errors = [{"field": "reading", "message": asked.message, "code": asked.code}]
    more = {"left": grams(question.left_mg)}
    if question.tub_explains:
        more |= {"net": grams(question.net_mg), "tub": grams(question.tub_mg)}
    return problem(asked.code, asked.message, asked.status, errors=errors, **more)


class CollectionDetail(CollectionView):
    @operation("collection_show", "One collection", tag=DESK, answer=CollectionJSON)
    def get(self, request: Request, programme: int, collection: int) -> Response:
        self.sit(To.READ)
        return self.show(CollectionJSON, self.find(collections(), collection))


class CorrectionView(CollectionView):
    @operation(
        "collection_correct",
        "Correct a collection: a reversal and what really happened, in one act",
        tag=DESK,
        request=CorrectCollectionIn,
        answer=CollectionJSON,
        status=201,
        key=True,
    )
    def post(self, request: Request, programme: int, collection: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(collections(), collection)
        taken = self.take(CorrectCollectionIn)
        taken["reading_mg"], taken["home_mg"] = taken.pop("reading"), taken.pop("home", None)
        return self.act_once(
            lambda key: correct_collection(collection=row, by=seat.person, key=key, **taken), self.shown
        )


class ReversalView(CollectionView):
    @operation(
        "collection_reverse",
        "Take a collection back: it did not happen, or not here",
        tag=DESK,
        request=WhyIn,
        answer=TicketJSON,
        status=201,
        key=True,
    )
    def post(self, request: Request, programme: int, collection: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(collections(), collection)
        reason = self.take(WhyIn)["reason"]
        return self.act_once(
            lambda key: reverse_collection(collection=row, by=seat.person, key=key, reason=reason),
            lambda ticket: self.show(TicketJSON, ticket),
        )


class TakenBackView(CollectionView):
    @operation(
        "take_back",
        "Opened blend comes back: it is never handed out again",
        tag=DESK,
        request=TakeBackIn,
        answer=TicketJSON,
        status=201,
        key=True,
    )
    def post(self, request: Request, programme: int, portion: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(portions(), portion)
        taken = self.take(TakeBackIn)
        taken["mass_mg"] = taken.pop("mass")
        return self.act_once(
            lambda key: take_back(portion=row, by=seat.person, key=key, **taken),
            lambda ticket: self.show(TicketJSON, ticket),
        )


class HandOverView(CollectionView):
    @operation(
        "hand_over",
        "A plot changes hands and the tub with it",
        tag=DESK,
        request=HandOverIn,
        answer=TicketJSON,
        status=201,
        key=True,
    )
    def post(self, request: Request, programme: int, plot: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(Plot.objects.select_related("programme"), plot)
        taken = self.take(HandOverIn)
        taken["mass_mg"] = taken.pop("mass")
        return self.act_once(
            lambda key: hand_over(plot=row, by=seat.person, key=key, **taken),
            lambda ticket: self.show(TicketJSON, ticket),
        )


# To settle --------------------------------------------------------------------------------------------------


class FlagQuery(serializers.Serializer[Any]):
    settled = serializers.BooleanField(required=False, default=False)


class FlagsView(ProgrammeView):
    @operation(
        "flag_list",
        "What stands to settle",
        tag=DESK,
        answer=FlagJSON,
        paged=True,
        parameters=[FlagQuery],
        errors=(400,),
    )
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.READ)
        return self.page(FlagJSON, to_settle_list(seat.programme, settled=self.asked(FlagQuery)["settled"]))


class SettleView(ProgrammeView):
    @operation(
        "flag_settle",
        "Give what stands to settle its reason; nothing moves",
        tag=DESK,
        request=WhyIn,
        answer=FlagJSON,
    )
    def post(self, request: Request, programme: int, flag: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Flag, flag)
        return self.show(FlagJSON, settle(flag=row, by=seat.person, reason=self.take(WhyIn)["reason"]))
