"""Supply totals of a span, and the tickets behind each figure."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch, Q
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from blends.actions.settling import reverse_ticket
from blends.api.materials import CountJSON
from blends.api.tickets import WITH_NAMES, FlagJSON, MovementJSON, TicketJSON, TicketView
from blends.models import Movement, Place, Ticket, TicketKind
from gardens.access import To
from gardens.api.quantities import Mass
from gardens.api.schema import operation
from gardens.api.views import ProgrammeView, Ref
from gardens.clock import today
from schedules.api.desk import WhyIn
from schedules.api.rounds import DeskRowJSON
from schedules.queries.totals import Totals, totals_of

TOTALS = "Totals"


class SpanQuery(serializers.Serializer[Any]):
    first = serializers.DateField(required=False, help_text="Left out: from the first ticket on.")
    last = serializers.DateField(required=False, help_text="Left out: until today.")

    def validate(self, asked: dict[str, Any]) -> dict[str, Any]:
        if "first" in asked and "last" in asked and asked["last"] < asked["first"]:
            raise serializers.ValidationError({"last": ["The last day comes before the first."]})
        return asked


class TicketQuery(SpanQuery):
    kind = serializers.ChoiceField(TicketKind.choices, required=False)
    place = Ref(Place, required=False, help_text="Only those that moved something there or from there.")


class IdentityJSON(serializers.Serializer[Any]):
    kind = serializers.CharField()
    name = serializers.CharField(source="words")
    opening = Mass(source="opening_mg")
    now = Mass(source="now_mg")
    change = Mass(source="change_mg")
    tickets = serializers.IntegerField()


class GardenTotalJSON(serializers.Serializer[Any]):
    garden = serializers.IntegerField(source="garden_id", allow_null=True)
    name = serializers.CharField()
    in_store = Mass(source="store_mg")
    in_pails = Mass(source="pails_mg")
    with_holders = Mass(source="holders_mg")


class PlotTotalJSON(serializers.Serializer[Any]):
    plot = serializers.IntegerField(source="plot_id")
    label = serializers.CharField(source="plot")  # type: ignore[assignment]
    garden = serializers.IntegerField(source="garden_id")
    opening = Mass(source="opening_mg")
    handed_out = Mass(source="handed_out_mg")
    handed_over = Mass(source="handed_over_mg")
    taken_back = Mass(source="taken_back_mg")
    other = Mass(source="other_mg")
    now = Mass(source="now_mg")


class PersonTotalJSON(serializers.Serializer[Any]):
    person = serializers.IntegerField(source="person_id")
    name = serializers.CharField()
    plots = serializers.ListField(child=serializers.CharField())
    collections = serializers.IntegerField()
    took = Mass(source="took_mg")


class CountedJSON(serializers.Serializer[Any]):
    difference = Mass(source="difference_mg", help_text="Counted less book.")
    band = Mass(source="band_mg", help_text="What weighing explains.")
    weighings = serializers.IntegerField()
    is_within = serializers.BooleanField()
    counts = CountJSON(many=True)


class TotalsJSON(serializers.Serializer[Totals]):
    """The identity, to the milligram: opening + received + found = the sum of ``rows`` + returned."""

    first = serializers.DateField(allow_null=True)
    last = serializers.DateField()
    opening = Mass(source="opening_mg")
    received = Mass(source="received_mg")
    found = Mass(source="found_mg", help_text="Net of difference; below zero: short.")
    came_in = Mass(source="came_in_mg", help_text="The left side.")
    rows = IdentityJSON(many=True)
    returned = Mass(source="returned_mg", help_text="To the supplier.")
    is_now = Mass(source="is_now_mg", help_text="The right side.")
    disagreement = Mass(source="disagreement_mg", help_text="Balances against movements: must be zero.")
    handed_out = Mass(source="handed_out_mg")
    owed = Mass(source="owed_mg")
    gardens = GardenTotalJSON(many=True)
    plots = PlotTotalJSON(many=True)
    persons = PersonTotalJSON(many=True)
    came = DeskRowJSON(many=True)
    not_came = DeskRowJSON(many=True)
    counted = CountedJSON()
    to_settle = FlagJSON(source="flags", many=True)
    tickets = serializers.IntegerField()


class TotalsView(ProgrammeView):
    @operation(
        "totals_show",
        "Supply totals of a span of days",
        tag=TOTALS,
        answer=TotalsJSON,
        parameters=[SpanQuery],
        errors=(400,),
    )
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.REPORT)
        asked = self.asked(SpanQuery)
        last = asked.get("last") or today(seat.programme)
        return self.show(TotalsJSON, totals_of(seat.programme, asked.get("first"), last))


class TicketDetailJSON(TicketJSON):
    lines = MovementJSON(many=True)


class TicketsView(ProgrammeView):
    @operation(
        "ticket_list",
        "Tickets, last first",
        tag=TOTALS,
        answer=TicketJSON,
        paged=True,
        parameters=[TicketQuery],
        errors=(400, 422),
    )
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.REPORT)
        asked = self.asked(TicketQuery)
        rows = Ticket.objects.filter(programme=seat.programme)
        if "first" in asked:
            rows = rows.filter(day__gte=asked["first"])
        if "last" in asked:
            rows = rows.filter(day__lte=asked["last"])
        if "kind" in asked:
            rows = rows.filter(kind=asked["kind"])
        if "place" in asked:
            moved = Movement.objects.filter(Q(source=asked["place"]) | Q(target=asked["place"]))
            rows = rows.filter(pk__in=moved.values("ticket"))
        return self.page(TicketJSON, rows)


class TicketDetail(TicketView):
    @operation("ticket_show", "One ticket and its lines", tag=TOTALS, answer=TicketDetailJSON)
    def get(self, request: Request, programme: int, ticket: int) -> Response:
        self.sit(To.REPORT)
        ends = [f"{end}__{name}" for end in ("source", "target") for name in WITH_NAMES]
        lines = Prefetch("lines", Movement.objects.select_related("source", "target", *ends))
        return self.show(TicketDetailJSON, self.find(Ticket.objects.prefetch_related(lines), ticket))


class TicketReversalView(TicketView):
    @operation(
        "ticket_reverse",
        "Take a plain ticket back, such as a loss entered by mistake",
        tag=TOTALS,
        request=WhyIn,
        answer=TicketJSON,
        status=201,
        key=True,
    )
    def post(self, request: Request, programme: int, ticket: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Ticket.objects.select_related("programme"), ticket)
        reason = self.take(WhyIn)["reason"]
        return self.act_once(
            lambda key: reverse_ticket(ticket=row, by=seat.person, key=key, reason=reason),
            lambda made: self.show(TicketJSON, made),
        )
