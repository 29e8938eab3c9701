"""What is bought and where it stands: catalogue, materials, deliveries, stock, losses, counts."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from blends import catalogue
from blends.actions.stock import (
    adopt_material,
    count_place,
    declare_again,
    declare_material,
    move_lot,
    receive_lot,
    send_back,
    state_loss,
)
from blends.api.analyses import declared_json
from blends.api.calculations import decimal_of
from blends.api.tickets import WITH_NAMES, PlaceJSON, TicketJSON, TicketView
from blends.models import Count, Declaration, Kind, Lot, Material, Place, PlaceKind, Slow
from blends.queries.store import InStore, MaterialStock, lots, stock
from gardens.access import To
from gardens.api.quantities import Mass, Money, Percent, Quantity, QuantityJSON, money
from gardens.api.schema import operation
from gardens.api.views import ProgrammeView, Ref
from gardens.models import Garden

MATERIALS, STORE = "Materials", "Store"


class Declared(serializers.DictField):
    """Percent by nutrient, element basis: what is missing is not declared, and never zero."""

    child = Quantity()


class CatalogueJSON(serializers.Serializer[catalogue.CatalogueMaterial]):
    code = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.ChoiceField(Kind.choices)
    basis = serializers.ChoiceField(["label", "formula"])
    formula = serializers.CharField(allow_null=True)
    slow = serializers.ChoiceField(Slow.choices)
    declared = serializers.SerializerMethodField()
    sources = serializers.SerializerMethodField()
    cautions = serializers.SerializerMethodField()

    @extend_schema_field(Declared)
    def get_declared(self, entry: catalogue.CatalogueMaterial) -> dict[str, QuantityJSON]:
        return declared_json(entry.analysis())

    def get_sources(self, entry: catalogue.CatalogueMaterial) -> list[str]:
        figures = [*entry.values.values(), *([entry.purity] if entry.purity else [])]
        return list(dict.fromkeys(f"{f.source} ({f.confidence})" for f in figures))

    def get_cautions(self, entry: catalogue.CatalogueMaterial) -> list[str]:
        return [caution.text for caution in entry.cautions]


class LabelIn(serializers.Serializer[Any]):
    """By its bag's label, or by a formula and its purity. What is not given is not declared."""

    label = serializers.DictField(  # type: ignore[assignment]
        child=Percent(),
        required=False,
        help_text="As on the bag: N, P2O5, K2O, MgO, B, “N urea” … in percent.",
    )
    slow = serializers.ChoiceField(
        Slow.choices,
        default=Slow.UNKNOWN,
        help_text="Slow-release or coated? Yes or unknown: no weekly feeding.",
    )
    formula = serializers.CharField(max_length=80, required=False, allow_blank=True, default="")
    purity = Percent(required=False, positive=True)
    source = serializers.CharField(max_length=300, default="the bag")  # type: ignore[assignment]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        attrs["values"] = {key: decimal_of(value) for key, value in attrs.pop("label", {}).items()}
        attrs["purity"] = decimal_of(attrs["purity"]) if "purity" in attrs else Decimal(100)
        return attrs


class MaterialIn(LabelIn):
    name = serializers.CharField(max_length=120)
    kind = serializers.ChoiceField(Kind.choices)
    bulk_density = serializers.DecimalField(6, 3, required=False, allow_null=True, help_text="In g/mL.")


class AdoptIn(serializers.Serializer[Any]):
    code = serializers.CharField(max_length=60, help_text="Of the catalogue.")


class MaterialJSON(serializers.Serializer[Material]):
    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    kind = serializers.ChoiceField(Kind.choices)
    catalogue_code = serializers.CharField()
    trace = serializers.BooleanField(source="is_trace", help_text="Weighed only before a witness.")
    declared = serializers.SerializerMethodField()
    slow = serializers.SerializerMethodField()
    source = serializers.SerializerMethodField()  # type: ignore[assignment]

    @extend_schema_field(Declared)
    def get_declared(self, material: Material) -> dict[str, QuantityJSON]:
        return declared_json(_newest(material).analysis())

    def get_slow(self, material: Material) -> str:
        return _newest(material).slow

    def get_source(self, material: Material) -> str:
        return _newest(material).source


def _newest(material: Material) -> Declaration:
    """Of what was prefetched; the newest is first."""
    return material.declarations.all()[0]


class CatalogueView(ProgrammeView):
    @operation(
        "catalogue_list", "The catalogue of materials", tag=MATERIALS, answer=CatalogueJSON, paged=True
    )
    def get(self, request: Request, programme: int) -> Response:
        self.sit(To.READ)
        return self.page(CatalogueJSON, catalogue.materials())


class MaterialsView(ProgrammeView):
    @operation("material_list", "The programme's materials", tag=MATERIALS, answer=MaterialJSON, paged=True)
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.READ)
        rows = Material.objects.filter(programme=seat.programme).prefetch_related("declarations")
        return self.page(MaterialJSON, rows)

    @operation(
        "material_declare",
        "A material as its bag says",
        tag=MATERIALS,
        request=MaterialIn,
        answer=MaterialJSON,
        status=201,
    )
    def post(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.ORGANISE)
        made = declare_material(programme=seat.programme, by=seat.person, **self.take(MaterialIn))
        return self.show(MaterialJSON, made, 201)


class AdoptView(ProgrammeView):
    @operation(
        "material_adopt",
        "Adopt a material of the catalogue",
        tag=MATERIALS,
        request=AdoptIn,
        answer=MaterialJSON,
        status=201,
    )
    def post(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.ORGANISE)
        made = adopt_material(programme=seat.programme, by=seat.person, code=self.take(AdoptIn)["code"])
        return self.show(MaterialJSON, made, 201)


class DeclarationsView(ProgrammeView):
    @operation(
        "material_declare_again",
        "The next bag says something else; lots and revisions keep what they had",
        tag=MATERIALS,
        request=LabelIn,
        answer=MaterialJSON,
        status=201,
    )
    def post(self, request: Request, programme: int, material: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Material, material)
        declare_again(material=row, by=seat.person, **self.take(LabelIn))
        return self.show(MaterialJSON, row, 201)


# Deliveries -------------------------------------------------------------------------------------------------


class LotIn(serializers.Serializer[Any]):
    """One delivery: so many bags of a mass, for a total price."""

    material = Ref(Material)
    code = serializers.CharField(max_length=40, help_text="The mark on its bags.")
    bags = serializers.IntegerField(min_value=1, max_value=10_000)
    bag_mass = Mass(positive=True)
    price = Money(default=0, help_text="Of all bags together.")
    supplier = serializers.CharField(max_length=120, required=False, allow_blank=True, default="")
    day = serializers.DateField()
    garden = Ref(Garden)
    spot = serializers.CharField(max_length=80, help_text="Where it stands, such as north shed.")


class LotJSON(serializers.Serializer[Lot]):
    id = serializers.IntegerField(source="pk")
    material = serializers.IntegerField(source="material_id")
    code = serializers.CharField()
    bags = serializers.IntegerField()
    bag_mass = Mass(source="bag_mass_mg")
    mass = Mass(source="mass_mg")
    in_store = Mass(source="in_store_mg", help_text="By the book.")
    price = serializers.SerializerMethodField()
    supplier = serializers.CharField()
    day = serializers.DateField()
    garden = serializers.IntegerField(source="garden_id")
    spot = serializers.CharField()
    withdrawn = serializers.BooleanField(
        help_text="Entered wrong: its ticket was reversed, and its price does not count."
    )

    @extend_schema_field(Quantity(allow_null=True, help_text="For those who report; else null."))
    def get_price(self, lot: Lot) -> QuantityJSON | None:
        seat = self.context["seat"]
        return money(lot.price_minor, seat.programme.currency) if seat.reports else None


class LotsView(TicketView):
    @operation("lot_list", "Deliveries, newest first", tag=STORE, answer=LotJSON, paged=True)
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.READ)
        return self.page(LotJSON, lots(seat.programme))

    @operation(
        "lot_receive", "Receive a delivery", tag=STORE, request=LotIn, answer=LotJSON, status=201, key=True
    )
    def post(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.ORGANISE)
        taken = self.take(LotIn)
        taken["bag_mass_mg"], taken["price_minor"] = taken.pop("bag_mass"), taken.pop("price")
        return self.act_once(
            lambda key: receive_lot(programme=seat.programme, by=seat.person, key=key, **taken),
            lambda lot: self.show(LotJSON, lots(seat.programme).get(pk=lot.pk)),
        )


class InStoreJSON(serializers.Serializer[InStore]):
    place = serializers.IntegerField(source="place.pk", help_text="To be counted, moved, or lost from.")
    lot = serializers.IntegerField(source="lot.pk")
    code = serializers.CharField(source="lot.code")
    garden = serializers.IntegerField(source="place.garden_id")
    spot = serializers.CharField(source="place.spot")
    balance = Mass(source="balance_mg")
    opened = serializers.BooleanField()


class StockJSON(serializers.Serializer[MaterialStock]):
    material = serializers.IntegerField(source="material.pk")
    name = serializers.CharField(source="material.name")
    total = Mass(source="total_mg")
    places = InStoreJSON(many=True)


class StockView(ProgrammeView):
    @operation(
        "stock_list", "What is in store, lot by lot, spot by spot", tag=STORE, answer=StockJSON, paged=True
    )
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.READ)
        return self.page(StockJSON, stock(seat.programme))


# What happens at a place ------------------------------------------------------------------------------------


class LossIn(serializers.Serializer[Any]):
    mass = Mass(positive=True)
    reason = serializers.CharField(max_length=400)
    to = serializers.ChoiceField(
        ["lost", "waste"], default="lost", help_text="Lost, or thrown away on purpose."
    )


class SendBackIn(serializers.Serializer[Any]):
    mass = Mass(positive=True)
    reason = serializers.CharField(max_length=400)


class MoveIn(serializers.Serializer[Any]):
    mass = Mass(positive=True)
    garden = Ref(Garden)
    spot = serializers.CharField(max_length=80)
    reason = serializers.CharField(max_length=400, required=False, allow_blank=True, default="")


class CountIn(serializers.Serializer[Any]):
    counted = Mass()
    reason = serializers.CharField(
        max_length=400, required=False, allow_blank=True, default="", help_text="Wanted outside the band."
    )


class CountJSON(serializers.Serializer[Count]):
    """What stood there beside the book, and what weighing explains."""

    id = serializers.IntegerField(source="pk")
    place = serializers.IntegerField(source="place_id")
    counted = Mass(source="counted_mg")
    book = Mass(source="book_mg")
    difference = Mass(source="difference_mg", help_text="Counted less book.")
    band = Mass(source="band_mg")
    within = serializers.BooleanField()
    weighings = serializers.IntegerField()
    reason = serializers.CharField()
    ticket = serializers.IntegerField(source="ticket_id", allow_null=True)


class PlaceView(TicketView):
    @operation("place_show", "One place and what it holds by the book", tag=STORE, answer=PlaceJSON)
    def get(self, request: Request, programme: int, place: int) -> Response:
        self.sit(To.READ)
        return self.show(PlaceJSON, self.find(Place.objects.select_related(*WITH_NAMES), place))


class LossView(TicketView):
    @operation(
        "loss_state",
        "State a loss: told, since it has happened",
        tag=STORE,
        request=LossIn,
        answer=TicketJSON,
        status=201,
        key=True,
    )
    def post(self, request: Request, programme: int, place: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(Place.objects.filter(kind__in=[PlaceKind.LOT, PlaceKind.PAIL]), place)
        taken = self.take(LossIn)
        return self.act_once(
            lambda key: state_loss(
                place=row,
                by=seat.person,
                mass_mg=taken["mass"],
                reason=taken["reason"],
                to=taken["to"],
                key=key,
            ),
            lambda ticket: self.show(TicketJSON, ticket),
        )


class MoveView(TicketView):
    @operation(
        "lot_move",
        "Some of a lot was carried to another spot",
        tag=STORE,
        request=MoveIn,
        answer=PlaceJSON,
        status=201,
        key=True,
    )
    def post(self, request: Request, programme: int, place: int) -> Response:
        seat = self.sit(To.MIX)
        row = self.find(Place.objects.filter(kind=PlaceKind.LOT).select_related("lot"), place)
        taken = self.take(MoveIn)
        taken["mass_mg"] = taken.pop("mass")
        return self.act_once(
            lambda key: move_lot(place=row, by=seat.person, key=key, **taken),
            lambda there: self.show(PlaceJSON, Place.objects.select_related(*WITH_NAMES).get(pk=there.pk)),
        )


class SendBackView(TicketView):
    @operation(
        "lot_send_back",
        "Some of a lot went back to its supplier",
        tag=STORE,
        request=SendBackIn,
        answer=TicketJSON,
        status=201,
        key=True,
    )
    def post(self, request: Request, programme: int, place: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Place.objects.filter(kind=PlaceKind.LOT).select_related("lot"), place)
        taken = self.take(SendBackIn)
        return self.act_once(
            lambda key: send_back(
                place=row, by=seat.person, mass_mg=taken["mass"], reason=taken["reason"], key=key
            ),
            lambda ticket: self.show(TicketJSON, ticket),
        )


class CountsView(TicketView):
    @operation(
        "count_make",
        "Count a lot or a pail",
        tag=STORE,
        request=CountIn,
        answer=CountJSON,
        status=201,
        key=True,
    )
    def post(self, request: Request, programme: int, place: int) -> Response:
        seat = self.sit(To.MIX)
        countable = Place.objects.filter(kind__in=[PlaceKind.LOT, PlaceKind.PAIL])
        row = self.find(countable.select_related("pail__batch__day"), place)
        taken = self.take(CountIn)
        day = row.pail.batch.day if row.pail else None
        return self.act_once(
            lambda key: count_place(
                place=row,
                by=seat.person,
                counted_mg=taken["counted"],
                reason=taken["reason"],
                day=day,
                key=key,
            ),
            lambda count: self.show(CountJSON, count),
        )
