"""Gardens, plots, beds, persons and who holds what."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch, QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gardens.access import Seat, To
from gardens.actions.land import add_bed, add_garden, add_plot, set_feeding
from gardens.actions.people import add_person
from gardens.actions.tenancies import pass_on
from gardens.api.quantities import Area, MeasureText
from gardens.api.schema import operation
from gardens.api.views import ProgrammeView, Ref, Refs
from gardens.clock import today
from gardens.models import Bed, Feeding, Garden, Person, Plot, RoleName, Tenancy

LAND = "Land"


class GardenIn(serializers.Serializer[Any]):
    """A site with its year; feeding weeks by any day in them."""

    name = serializers.CharField(max_length=120)
    last_frost = serializers.DateField()
    first_frost = serializers.DateField()
    first_feed = serializers.DateField()
    last_feed = serializers.DateField()


class GardenJSON(GardenIn):
    id = serializers.IntegerField(source="pk")


class PersonIn(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=160)
    contact = serializers.CharField(max_length=254, required=False, allow_blank=True, default="")
    another = serializers.BooleanField(
        default=False,
        help_text="Whether this is somebody else than the one of that name who is here already.",
    )


class PersonJSON(serializers.Serializer[Person]):
    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    contact = serializers.CharField()
    roles = serializers.SerializerMethodField()

    def get_roles(self, person: Person) -> list[str]:
        return sorted(role.name for role in person.roles.all())


class BedIn(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=70, required=False, allow_blank=True, default="")
    size = MeasureText(help_text="As people write it; “2 × 4 x 8 ft” are two beds.")
    drains = serializers.BooleanField(default=True, help_text="Whether water drains out below.")


class FeedingIn(serializers.Serializer[Any]):
    feeding = serializers.ChoiceField(Feeding.choices)
    reason = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class BedJSON(serializers.Serializer[Bed]):
    id = serializers.IntegerField(source="pk")
    plot = serializers.IntegerField(source="plot_id")
    name = serializers.CharField()
    size = serializers.CharField(source="size_text")
    shape = serializers.CharField()
    count = serializers.IntegerField()
    area = Area(source="area_mm2")
    drains = serializers.BooleanField()
    feeding = serializers.ChoiceField(Feeding.choices)
    feeding_reason = serializers.CharField()
    until_day = serializers.DateField(allow_null=True)


class PlotIn(serializers.Serializer[Any]):
    garden = Ref(Garden)
    label = serializers.CharField(max_length=40)  # type: ignore[assignment]
    size = MeasureText(required=False, default="", help_text="Where no bed is known: the plot's own size.")


class PlotJSON(serializers.Serializer[Plot]):
    id = serializers.IntegerField(source="pk")
    garden = serializers.IntegerField(source="garden_id")
    label = serializers.CharField()  # type: ignore[assignment]
    size = serializers.CharField(source="size_text")
    area = Area(source="area_mm2", allow_null=True)
    feeding = serializers.ChoiceField(Feeding.choices)
    feeding_reason = serializers.CharField()
    until_day = serializers.DateField(allow_null=True)
    household = serializers.SerializerMethodField()
    beds = BedJSON(many=True)

    def get_household(self, plot: Plot) -> str:
        """Who holds it today, in words; empty when nobody does."""
        return next((t.household.name for t in vars(plot).get("now", ())), "")


class HoldPlotIn(serializers.Serializer[Any]):
    persons = Refs(Person, allow_empty=False)
    day = serializers.DateField(help_text="The first day on which they hold it.")


class TenancyJSON(serializers.Serializer[Tenancy]):
    id = serializers.IntegerField(source="pk")
    plot = serializers.IntegerField(source="plot_id")
    household = serializers.IntegerField(source="household_id")
    name = serializers.CharField(source="household.name")
    start = serializers.DateField()
    until_day = serializers.DateField(allow_null=True, help_text="The first day without them.")


class GardensView(ProgrammeView):
    @operation("garden_list", "Gardens", tag=LAND, answer=GardenJSON, paged=True)
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.READ)
        return self.page(GardenJSON, Garden.objects.filter(programme=seat.programme))

    @operation("garden_add", "Add a garden", tag=LAND, request=GardenIn, answer=GardenJSON, status=201)
    def post(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.ORGANISE)
        garden = add_garden(programme=seat.programme, by=seat.person, **self.take(GardenIn))
        return self.show(GardenJSON, garden, 201)


class PersonsView(ProgrammeView):
    @operation("person_list", "Persons, with their contacts", tag=LAND, answer=PersonJSON, paged=True)
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.REPORT)
        persons = Person.objects.filter(programme=seat.programme, erased_at=None).prefetch_related("roles")
        return self.page(PersonJSON, persons)

    @operation("person_add", "Add a person", tag=LAND, request=PersonIn, answer=PersonJSON, status=201)
    def post(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.ORGANISE)
        person = add_person(programme=seat.programme, by=seat.person, **self.take(PersonIn))
        return self.show(PersonJSON, person, 201)


class HandJSON(serializers.Serializer[Person]):
    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()


class HandsView(ProgrammeView):
    @operation(
        "hand_list",
        "Organisers and stewards by name: who may weigh and witness",
        tag=LAND,
        answer=HandJSON,
        paged=True,
    )
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.READ)
        mixes = Person.objects.filter(
            programme=seat.programme, erased_at=None, roles__name__in=[RoleName.ORGANISER, RoleName.STEWARD]
        )
        return self.page(HandJSON, mixes.distinct())


class PlotsView(ProgrammeView):
    @operation("plot_list", "Plots with their beds", tag=LAND, answer=PlotJSON, paged=True)
    def get(self, request: Request, programme: int) -> Response:
        self.sit(To.READ)
        return self.page(PlotJSON, plots_of(self.seat))

    @operation("plot_add", "Add a plot", tag=LAND, request=PlotIn, answer=PlotJSON, status=201)
    def post(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.ORGANISE)
        taken = self.take(PlotIn)
        made = add_plot(
            programme=seat.programme,
            by=seat.person,
            garden=taken["garden"],
            label=taken["label"],
            size_text=taken["size"],
        )
        return self.show(PlotJSON, plots_of(seat).get(pk=made.pk), 201)


class PlotDetail(ProgrammeView):
    @operation("plot_show", "One plot with its beds", tag=LAND, answer=PlotJSON)
    def get(self, request: Request, programme: int, plot: int) -> Response:
        seat = self.sit(To.READ)
        return self.show(PlotJSON, self.find(plots_of(seat), plot))


def plots_of(seat: Seat) -> QuerySet[Plot]:
    """With their beds and who holds them today: three queries, whatever the number of rows."""
    now = Tenancy.objects.on(today(seat.programme)).select_related("household")
    return Plot.objects.filter(programme=seat.programme).prefetch_related(
        "beds", Prefetch("tenancies", now, to_attr="now")
    )


class BedsView(ProgrammeView):
    @operation(
        "bed_add",
        "Add a bed, or several equal ones",
        tag=LAND,
        request=BedIn,
        answer=BedJSON(many=True),
        status=201,
    )
    def post(self, request: Request, programme: int, plot: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Plot, plot)
        taken = self.take(BedIn)
        beds = add_bed(
            plot=row, by=seat.person, name=taken["name"], size_text=taken["size"], drains=taken["drains"]
        )
        return Response([BedJSON(bed).data for bed in beds], status=201)


class PlotFeedingView(ProgrammeView):
    @operation(
        "plot_feeding",
        "Say what a plot gets: the blend, none, or nothing grows",
        tag=LAND,
        request=FeedingIn,
        answer=None,
        status=204,
    )
    def put(self, request: Request, programme: int, plot: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Plot, plot)
        set_feeding(target=row, by=seat.person, **self.take(FeedingIn))
        return Response(status=204)


class BedFeedingView(ProgrammeView):
    @operation(
        "bed_feeding",
        "Say what a bed gets: the blend, none, or nothing grows",
        tag=LAND,
        request=FeedingIn,
        answer=None,
        status=204,
    )
    def put(self, request: Request, programme: int, bed: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Bed, bed)
        set_feeding(target=row, by=seat.person, **self.take(FeedingIn))
        return Response(status=204)


class TenanciesView(ProgrammeView):
    @operation("tenancy_list", "Who held and holds a plot", tag=LAND, answer=TenancyJSON, paged=True)
    def get(self, request: Request, programme: int, plot: int) -> Response:
        self.sit(To.REPORT)
        row = self.find(Plot, plot)
        return self.page(TenancyJSON, row.tenancies.select_related("household"))

    @operation(
        "tenancy_change",
        "A plot changes hands: these persons hold it from a day on",
        tag=LAND,
        request=HoldPlotIn,
        answer=TenancyJSON,
        status=201,
    )
    def post(self, request: Request, programme: int, plot: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Plot, plot)
        return self.show(TenancyJSON, pass_on(plot=row, by=seat.person, **self.take(HoldPlotIn)), 201)
