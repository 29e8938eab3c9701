"""The programmes that a user belongs to, and beginning one; bringing in a sheet of plots."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from gardens.access import To, seat_for, seats_of
from gardens.api.account import ACCOUNT, SeatJSON
from gardens.api.land import LAND
from gardens.api.quantities import Mass
from gardens.api.schema import operation
from gardens.api.views import ProgrammeView
from gardens.models import Units
from gardens.sheet import EXAMPLE_HEAD, MOST_BYTES
from schedules.actions.bring_in import Brought, Season, bring_in
from schedules.actions.founding import found
from schedules.queries.bring_in import Preview, Verdict, preview


class ProgrammeIn(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=120)
    zone = serializers.CharField(max_length=64, help_text="Such as Europe/Lisbon.")
    currency = serializers.CharField(max_length=3)
    units = serializers.ChoiceField(Units.choices, default=Units.METRIC)
    planted_share = serializers.IntegerField(required=False, min_value=1, max_value=100)
    tub_mass = Mass(required=False, help_text="Of one empty tub.")
    desk_division = Mass(required=False, positive=True, help_text="The smallest step of the desk's scale.")
    emergency = serializers.CharField(max_length=120, required=False, allow_blank=True)
    poison_line = serializers.CharField(max_length=120, required=False, allow_blank=True)
    person_name = serializers.CharField(max_length=160, required=False, allow_blank=True, default="")


class ProgrammesView(APIView):
    @operation("programme_list", "The programmes you belong to", tag=ACCOUNT, answer=SeatJSON(many=True))
    def get(self, request: Request) -> Response:
        return Response(SeatJSON(seats_of(request.user), many=True).data)  # type: ignore[arg-type]

    @operation(
        "programme_found",
        "Begin a programme, with you as its organiser",
        tag=ACCOUNT,
        request=ProgrammeIn,
        answer=SeatJSON,
        status=201,
    )
    def post(self, request: Request) -> Response:
        sent = ProgrammeIn(data=request.data)
        sent.is_valid(raise_exception=True)
        values = dict(sent.validated_data)
        for name in ("tub_mass", "desk_division"):
            if name in values:
                values[f"{name}_mg"] = values.pop(name)
        programme = found(user=request.user, **values)  # type: ignore[arg-type]
        return Response(SeatJSON(seat_for(request.user, programme.pk, to=To.ENTER)).data, status=201)


# Bring in ---------------------------------------------------------------------------------------------------


class SeasonIn(serializers.Serializer[Any]):
    """The year of gardens that are new; feeding weeks by any day in them."""

    last_frost = serializers.DateField()
    first_frost = serializers.DateField()
    first_feed = serializers.DateField()
    last_feed = serializers.DateField()


class SheetIn(serializers.Serializer[Any]):
    sheet = serializers.CharField(
        max_length=MOST_BYTES, trim_whitespace=False, help_text=f"Its text, head first: {EXAMPLE_HEAD}."
    )
    answers = serializers.DictField(
        child=serializers.CharField(max_length=200),
        default=dict,
        help_text="Chosen values by the key of each question; leave_out: yes drops the rows with bad cells.",
    )


class BringIn(SheetIn):
    season = SeasonIn(required=False, allow_null=True, default=None)
    since = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="Holders hold their plots from this day on."
    )


class CellJSON(serializers.Serializer[Any]):
    column = serializers.CharField()
    text = serializers.CharField()
    verdict = serializers.ChoiceField([v.value for v in Verdict])
    words = serializers.CharField()


class RowJSON(serializers.Serializer[Any]):
    number = serializers.IntegerField(help_text="As a spreadsheet counts; the head is row 1.")
    cells = CellJSON(many=True)


class ChoiceJSON(serializers.Serializer[Any]):
    value = serializers.CharField()
    words = serializers.CharField()


class QuestionJSON(serializers.Serializer[Any]):
    key = serializers.CharField()
    words = serializers.CharField()
    choices = ChoiceJSON(many=True)
    answer = serializers.CharField(help_text="Empty while it is open.")


class CountsJSON(serializers.Serializer[Any]):
    rows = serializers.IntegerField()
    gardens = serializers.IntegerField()
    plots = serializers.IntegerField()
    persons = serializers.IntegerField()
    beds = serializers.IntegerField()
    plantings = serializers.IntegerField()
    other = serializers.IntegerField()


class PreviewJSON(serializers.Serializer[Preview]):
    """What a sheet would bring in: a verdict for every cell, a question for every doubt."""

    columns = serializers.ListField(child=serializers.CharField())
    unused = serializers.ListField(child=serializers.CharField())
    rows = RowJSON(many=True)
    questions = QuestionJSON(many=True)
    new_gardens = serializers.ListField(child=serializers.CharField())
    counts = CountsJSON()
    bad_rows = serializers.IntegerField()
    ready = serializers.BooleanField()


class BroughtJSON(serializers.Serializer[Brought]):
    counts = CountsJSON()
    changed = serializers.BooleanField(help_text="False where everything stood here already.")
    plots = serializers.SerializerMethodField()

    @extend_schema_field(serializers.ListField(child=serializers.IntegerField()))
    def get_plots(self, brought: Brought) -> list[int]:
        return [plot.pk for plot in brought.plots]


class SheetPreviewView(ProgrammeView):
    @operation(
        "sheet_preview", "What a sheet of plots would bring in", tag=LAND, request=SheetIn, answer=PreviewJSON
    )
    def post(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.ORGANISE)
        taken = self.take(SheetIn)
        return self.show(
            PreviewJSON, preview(programme=seat.programme, text=taken["sheet"], answers=taken["answers"])
        )


class SheetsView(ProgrammeView):
    @operation(
        "sheet_bring_in",
        "Bring a sheet of plots in: all of it or nothing; the same sheet twice changes nothing",
        tag=LAND,
        request=BringIn,
        answer=BroughtJSON,
        status=201,
    )
    def post(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.ORGANISE)
        taken = self.take(BringIn)
        brought = bring_in(
            programme=seat.programme,
            by=seat.person,
            text=taken["sheet"],
            answers=taken["answers"],
            season=Season(**taken["season"]) if taken["season"] else None,
            since=taken["since"],
        )
        return self.show(BroughtJSON, brought, 201)
