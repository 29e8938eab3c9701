"""Blends: a draft that may change, revisions that may not, and what a revision comes to at a mass."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from blends.actions.recipes import freeze_revision, save_draft, start_blend
from blends.api.analyses import AnalysisOut, analysis_json
from blends.models import Blend, Component, Material, Revision
from blends.queries.plans import BatchPlan, Buy, batch_plan
from blends.queries.recipes import components
from blends.queries.store import cost_of_revision
from gardens.access import To
from gardens.api.quantities import ExactQuantity, Mass, Quantity, QuantityJSON, grams, money
from gardens.api.schema import operation
from gardens.api.views import ProgrammeView, Ref
from gardens.quantities import Mass as Milligrams
from gardens.quantities import print_mass

BLENDS = "Blends"
MOST_LINES = 30


class BlendIn(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=80)


class DraftLine(serializers.Serializer[Any]):
    material = Ref(Material)
    amount = serializers.CharField(
        max_length=80, allow_blank=True, help_text="As it is written, such as “10 kg”."
    )


class DraftIn(serializers.Serializer[Any]):
    lines = serializers.ListField(child=DraftLine(), max_length=MOST_LINES)


class DraftLineJSON(serializers.Serializer[Any]):
    material = serializers.IntegerField(allow_null=True)
    amount = serializers.CharField()


class BlendJSON(serializers.Serializer[Blend]):
    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    is_default = serializers.BooleanField()
    draft = DraftLineJSON(many=True)


class WrittenMass(Mass):
    """Milligrams, and the text as it was typed."""

    def to_internal_value(self, data: Any) -> tuple[int, str]:
        mg = super().to_internal_value(data)
        return mg, data.strip() if isinstance(data, str) else print_mass(Milligrams(mg))


class LineIn(serializers.Serializer[Any]):
    material = Ref(Material)
    mass = WrittenMass(positive=True)


class RevisionIn(serializers.Serializer[Any]):
    """One more revision, immutable from birth."""

    lines = serializers.ListField(child=LineIn(), min_length=1, max_length=MOST_LINES)
    boron_reason = serializers.CharField(
        max_length=400,
        required=False,
        allow_blank=True,
        default="",
        help_text="Wanted above 1.1 kg B/ha a season.",
    )
    bulk_density = serializers.DecimalField(
        6, 3, required=False, allow_null=True, default=None, help_text="As measured, in g/mL."
    )


class ComponentJSON(serializers.Serializer[Component]):
    id = serializers.IntegerField(source="pk")
    material = serializers.IntegerField(source="material_id")
    name = serializers.CharField(source="material.name")
    mass = Mass(source="mass_mg")
    written = serializers.CharField()
    trace = serializers.BooleanField(source="material.is_trace")


class RevisionJSON(serializers.Serializer[Revision]):
    id = serializers.IntegerField(source="pk")
    blend = serializers.IntegerField(source="blend_id")
    number = serializers.IntegerField()
    mass = Mass(source="mass_mg")
    components = ComponentJSON(many=True)
    boron_reason = serializers.CharField()
    analysis = serializers.SerializerMethodField()
    cost_per_kg = serializers.SerializerMethodField()

    @extend_schema_field(AnalysisOut)
    def get_analysis(self, revision: Revision) -> dict[str, Any]:
        return analysis_json(revision.analysis())

    @extend_schema_field(ExactQuantity(allow_null=True))
    def get_cost_per_kg(self, revision: Revision) -> QuantityJSON | None:
        """At the last deliveries, for those who report; null where one has no price yet."""
        seat = self.context["seat"]
        if not seat.reports or not self.context.get("priced"):
            return None
        per_kg = cost_of_revision(revision).minor_per_kg
        return None if per_kg is None else money(per_kg, seat.programme.currency)


def revisions_of(view: ProgrammeView) -> QuerySet[Revision]:
    return (
        Revision.objects.filter(programme=view.seat.programme)
        .select_related("blend")
        .prefetch_related(components())
    )


class BlendsView(ProgrammeView):
    @operation("blend_list", "Blends and their drafts", tag=BLENDS, answer=BlendJSON, paged=True)
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.READ)
        return self.page(BlendJSON, Blend.objects.filter(programme=seat.programme))

    @operation("blend_start", "Start a blend", tag=BLENDS, request=BlendIn, answer=BlendJSON, status=201)
    def post(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.ORGANISE)
        made = start_blend(programme=seat.programme, by=seat.person, name=self.take(BlendIn)["name"])
        return self.show(BlendJSON, made, 201)


class DraftView(ProgrammeView):
    @operation("blend_draft", "Keep what is being written", tag=BLENDS, request=DraftIn, answer=BlendJSON)
    def put(self, request: Request, programme: int, blend: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Blend, blend)
        lines = [
            {"material": line["material"].pk, "amount": line["amount"]}
            for line in self.take(DraftIn)["lines"]
        ]
        return self.show(BlendJSON, save_draft(blend=row, by=seat.person, lines=lines))


class RevisionsView(ProgrammeView):
    @operation(
        "revision_list", "A blend's revisions, newest first", tag=BLENDS, answer=RevisionJSON, paged=True
    )
    def get(self, request: Request, programme: int, blend: int) -> Response:
        self.sit(To.READ)
        row = self.find(Blend, blend)
        return self.page(RevisionJSON, revisions_of(self).filter(blend=row))

    @operation(
        "revision_freeze",
        "Freeze a recipe as a revision",
        tag=BLENDS,
        request=RevisionIn,
        answer=RevisionJSON,
        status=201,
    )
    def post(self, request: Request, programme: int, blend: int) -> Response:
        seat = self.sit(To.ORGANISE)
        row = self.find(Blend, blend)
        taken = self.take(RevisionIn)
        taken["lines"] = [(line["material"], *line["mass"]) for line in taken["lines"]]
        made = freeze_revision(blend=row, by=seat.person, **taken)
        return _shown(self, made.pk, 201)


class RevisionView(ProgrammeView):
    @operation("revision_show", "One revision: recipe, analysis, cost", tag=BLENDS, answer=RevisionJSON)
    def get(self, request: Request, programme: int, revision: int) -> Response:
        self.sit(To.READ)
        return _shown(self, self.find(Revision, revision).pk)


def _shown(view: ProgrammeView, pk: int, status: int = 200) -> Response:
    row = revisions_of(view).get(pk=pk)
    return Response(RevisionJSON(row, context={"seat": view.seat, "priced": True}).data, status=status)


# At a mass --------------------------------------------------------------------------------------------------


class PlanIn(serializers.Serializer[Any]):
    mass = Mass(positive=True)


class WantedOut(serializers.Serializer[Any]):
    component = serializers.IntegerField()
    name = serializers.CharField()
    target = Quantity()
    tolerance = Quantity()
    scale = serializers.CharField()
    fit = serializers.CharField(help_text="fine, too_coarse, below_minimum or over_maximum.")


class BuyOut(serializers.Serializer[Any]):
    material = serializers.IntegerField()
    name = serializers.CharField()
    need = Quantity()
    stock = Quantity()
    bags = serializers.IntegerField(help_text="Whole bags to buy.")
    cost = ExactQuantity(required=False, help_text="For those who report.")


class BatchPlanOut(serializers.Serializer[Any]):
    mass = Quantity()
    pails = Quantity(many=True)
    limited_by = serializers.CharField()
    scales_assumed = serializers.BooleanField()
    weigh_outs = WantedOut(many=True, help_text="Of the first pail; the others have the same.")
    buys = BuyOut(many=True)
    cost = ExactQuantity(required=False, help_text="Of the material in it, for those who report.")


class PlanView(ProgrammeView):
    @operation(
        "revision_plan",
        "A revision at a mass: pails, weigh-outs, whole bags to buy, cost. Nothing is kept",
        tag=BLENDS,
        request=PlanIn,
        answer=BatchPlanOut,
    )
    def post(self, request: Request, programme: int, revision: int) -> Response:
        seat = self.sit(To.READ)
        row = self.find(Revision.objects.select_related("programme", "blend"), revision)
        plan = batch_plan(row, self.take(PlanIn)["mass"])
        return Response(plan_json(plan, seat.programme.currency if seat.reports else ""))


def plan_json(plan: BatchPlan, currency: str) -> dict[str, Any]:
    """Without a currency no prices are told."""
    priced = {"cost": money(plan.cost_minor, currency)} if currency and plan.cost_minor is not None else {}
    return {
        "mass": grams(plan.mass_mg),
        "pails": [grams(mass) for mass in plan.pails_mg],
        "limited_by": str(plan.planned.limited_by),
        "scales_assumed": plan.scales_assumed,
        "weigh_outs": [
            {
                "component": wanted.component.pk,
                "name": wanted.target.part.name,
                "target": grams(wanted.target.target_mg),
                "tolerance": grams(wanted.target.tolerance_mg),
                "scale": wanted.scale.name,
                "fit": str(wanted.fit),
            }
            for wanted in plan.weigh_outs
        ],
        "buys": [_buy(buy, currency) for buy in plan.buys],
        **priced,
    }


def _buy(buy: Buy, currency: str) -> dict[str, Any]:
    told = {
        "material": buy.material.pk,
        "name": buy.material.name,
        "need": grams(buy.need_mg),
        "stock": grams(buy.stock_mg),
        "bags": buy.bags,
    }
    return told | (
        {"cost": money(buy.cost_minor, currency)} if currency and buy.cost_minor is not None else {}
    )
