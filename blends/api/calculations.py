"""Stateless calculators: what a recipe holds, how a batch falls into pails, how a mass is shared."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from blends import batching, catalogue, chemistry
from blends.api.analyses import AnalysisOut, analysis_json
from blends.batching import BatchingError, Part
from blends.chemistry import Analysis, BlendAnalysis, ChemistryError, Slow
from blends.sharing import SharingError, largest_remainder
from gardens.api.calculations import CALCULATIONS, WorkingJSON, examples_of, shown, step, taken
from gardens.api.problems import Readings
from gardens.api.quantities import (
    ExactQuantity,
    Mass,
    Percent,
    Quantity,
    figure,
    grams,
    percent,
    plain_number,
)
from gardens.api.schema import operation
from gardens.nutrients import Nutrient
from gardens.quantities import AmbiguousQuantity, QuantityError, parse_mass
from gardens.working import Figure, Step, Working

MOST_PARTS = 60

# Analysis ---------------------------------------------------------------------------------------------------


class PartIn(serializers.Serializer[Any]):
    """One component: how much of it, and what it is: by catalogue, by its label, or by formula and purity."""

    name = serializers.CharField(max_length=120, required=False, default="")
    mass = Mass()
    material = serializers.CharField(
        max_length=60, required=False, help_text="A code of the material catalogue."
    )
    label = serializers.DictField(  # type: ignore[assignment]
        child=Percent(),
        required=False,
        help_text="As on the bag: N, P2O5, K2O, MgO, B, “N urea” … in percent.",
    )
    slow = serializers.ChoiceField(
        [s.value for s in Slow],
        default=Slow.UNKNOWN.value,
        help_text="Is its nitrogen slow-release or coated?",
    )
    formula = serializers.CharField(max_length=80, required=False, help_text="Such as MgSO4·7H2O.")
    purity = Percent(required=False, help_text="Of the formula; by default 100 %.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if sum(key in attrs for key in ("material", "label", "formula")) != 1:
            raise serializers.ValidationError(
                "Say what it is: give one of material, label and formula.", "what"
            )
        return attrs


class RecipeIn(serializers.Serializer[Any]):
    components = serializers.ListField(child=PartIn(), min_length=1, max_length=MOST_PARTS)


class AnalysisAnswer(AnalysisOut):
    working = WorkingJSON()


class AnalysisCalculation(APIView):
    @operation(
        "calculate_analysis",
        "What is in a recipe: its fourteen nutrients, grade, boron of a season",
        tag=CALCULATIONS,
        request=RecipeIn,
        answer=AnalysisAnswer,
        examples=examples_of("analysis"),
    )
    def post(self, request: Request) -> Response:
        parts = taken(RecipeIn, request)["components"]
        known = [(_name(part, n), part["mass"], _analysis_of(part)) for n, part in enumerate(parts, 1)]
        whole = chemistry.blend([(mass, analysis) for _, mass, analysis in known])
        return Response(analysis_json(whole) | {"working": _analysis_working(known, whole).as_json()})


def _name(part: Mapping[str, Any], number: int) -> str:
    return part["name"] or part.get("material") or part.get("formula") or f"component {number}"


def _analysis_of(part: Mapping[str, Any]) -> Analysis:
    if "material" in part:
        try:
            return catalogue.material(part["material"]).analysis()
        except KeyError:
            raise ChemistryError(
                "not_in_catalogue", "The catalogue has no such material.", "material"
            ) from None
    if "formula" in part:
        return chemistry.from_formula(part["formula"], decimal_of(part.get("purity", Fraction(100))))
    values = {key: decimal_of(value) for key, value in part["label"].items()}
    return chemistry.from_label(values, slow=Slow(part["slow"]))


def decimal_of(value: Fraction) -> Decimal:
    return Decimal(value.numerator) / Decimal(value.denominator)


def _analysis_working(known: Sequence[tuple[str, int, Analysis]], whole: BlendAnalysis) -> Working:
    total = sum(mass for _, mass, _ in known)
    steps = []
    for number, nutrient in enumerate((n for n in Nutrient if n in whole.percent), 1):
        said = [
            (name, mass, a.percent[nutrient]) for name, mass, a in known if nutrient in a.percent and mass
        ]
        inputs = [
            pair
            for name, mass, share in said
            for pair in (shown(grams(mass), name), shown(percent(share), f"{nutrient} of {name}"))
        ]
        quiet = nutrient in whole.at_least
        steps.append(
            step(
                number,
                str(nutrient),
                nutrient.english.capitalize(),
                "sum of (mass × percent) ÷ mass of all",
                (*inputs, shown(grams(total), "mass of all")),
                shown(percent(whole.percent[nutrient]), str(nutrient)),
                "what is declared, by bag or formula",
                note="At least this: some component says nothing of it." if quiet else "",
            )
        )
    grade = "-".join(str(n) for n in chemistry.printed_grade(whole))
    return Working(f"{grade} = {len(known)} components, {grams(total)['value']} g in all", tuple(steps))


# Batch ------------------------------------------------------------------------------------------------------


class BatchPartIn(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=120)
    mass = Mass(positive=True, help_text="In the recipe; only proportions count.")
    division = Mass(positive=True, required=False, help_text="Of the scale it is weighed on; by default 1 g.")
    inert = serializers.BooleanField(
        default=False, help_text="A drying agent: it takes what rounding leaves."
    )
    trace = serializers.BooleanField(default=False, help_text="A trace concentrate or salt.")


class BatchCalculationIn(serializers.Serializer[Any]):
    components = serializers.ListField(child=BatchPartIn(), min_length=1, max_length=MOST_PARTS)
    mass = Mass(positive=True, help_text="Of the whole batch.")
    pail_litres = serializers.DecimalField(
        8, 3, required=False, min_value=Decimal("0.1"), help_text="House value: 20."
    )
    fill = Percent(required=False, help_text="How full a pail still tumbles; house value: 60 %.")
    density = serializers.DecimalField(
        6, 3, required=False, min_value=Decimal("0.05"), help_text="Of the blend, in g/mL; house value: 0.95."
    )
    lift = Mass(positive=True, required=False, help_text="The most one lifts; 23 kg.")


class CalculatedWeighOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    target = Quantity()
    tolerance = Quantity()


class CalculatedPail(serializers.Serializer[Any]):
    number = serializers.IntegerField()
    mass = Quantity()
    weigh_outs = CalculatedWeighOut(
        many=True, help_text="In the order of weighing; they sum to the pail exactly."
    )


class BatchCalculationOut(serializers.Serializer[Any]):
    pails = CalculatedPail(many=True)
    limit = Quantity(help_text="What one pail may hold.")
    limited_by = serializers.ChoiceField([limit.value for limit in batching.Limit])
    working = WorkingJSON()


class BatchCalculation(APIView):
    @operation(
        "calculate_batch",
        "A batch in equal pails, and what of each component goes into each",
        tag=CALCULATIONS,
        request=BatchCalculationIn,
        answer=BatchCalculationOut,
        examples=examples_of("batch"),
    )
    def post(self, request: Request) -> Response:
        return Response(_batch(taken(BatchCalculationIn, request)))


MOST_PAILS = 500


def _batch(asked: Mapping[str, Any]) -> dict[str, Any]:
    litres = asked.get("pail_litres", batching.PAIL_LITRES)
    fill = decimal_of(asked["fill"]) / 100 if "fill" in asked else batching.FILL
    density = asked.get("density", batching.DENSITY_G_ML)
    lift = asked.get("lift", batching.LIFT_MG)
    pails = batching.split(asked["mass"], pail_litres=litres, fill=fill, density_g_ml=density, lift_mg=lift)
    if pails.count > MOST_PAILS:
        raise BatchingError("many_pails", f"That is {pails.count} pails: mix it in several batches.", "mass")
    parts = [
        Part(str(n), c["name"], c["mass"], c.get("division", 1000), inert=c["inert"], trace=c["trace"])
        for n, c in enumerate(asked["components"])
    ]
    targets = {mass: batching.weigh_outs(parts, mass) for mass in set(pails.masses_mg)}
    volume = figure(Fraction(litres) * Fraction(fill), "L")
    inputs = (
        Figure("pail", f"{litres}", "L"),
        shown(percent(Fraction(fill) * 100), "full"),
        Figure("density", f"{density}", "g/mL"),
        shown(grams(lift), "lift"),
    )
    first = pails.masses_mg[0]
    steps = [
        step(
            1, "limit", "What one pail may hold", "the smaller of litres × full × density, and the lift",
            inputs, shown(grams(pails.limit_mg), "limit"), "NIOSH load constant; else house values",
            note=f"{volume['value']} L tumble well",
        ),
        step(
            2, "pails", "How many pails", "mass ÷ limit, rounded up; each gets the same",
            (shown(grams(asked["mass"]), "mass"), shown(grams(pails.limit_mg), "limit")),
            Figure("pails", str(pails.count)),
        ),
        *_weighing_steps(parts, first, targets[first]),
    ]  # fmt: skip
    line = f"{pails.count} {'pail' if pails.count == 1 else 'pails'} of {grams(first)['value']} g"
    return {
        "pails": [
            {
                "number": number,
                "mass": grams(mass),
                "weigh_outs": [
                    {
                        "name": t.part.name,
                        "target": grams(t.target_mg),
                        "tolerance": grams(t.tolerance_mg),
                    }
                    for t in targets[mass]
                ],
            }
            for number, mass in enumerate(pails.masses_mg, 1)
        ],
        "limit": grams(pails.limit_mg),
        "limited_by": pails.limited_by.value,
        "working": Working(f"{line} = {grams(asked['mass'])['value']} g", tuple(steps)).as_json(),
    }


def _weighing_steps(parts: Sequence[Part], pail_mg: int, targets: Sequence[batching.Target]) -> list[Step]:
    total = sum(part.mass_mg for part in parts)
    return [
        step(
            number, "weigh_out", f"{t.part.name} in the first pail",
            "recipe's mass × pail ÷ recipe, to the scale's division",
            (
                shown(grams(t.part.mass_mg), "in the recipe"), shown(grams(total), "recipe"),
                shown(grams(pail_mg), "pail"), shown(grams(t.part.division_mg), "division"),
            ),
            shown(grams(t.target_mg), "target"),
            note=_took(t, total, pail_mg),
        )
        for number, t in enumerate(targets, 3)
    ]  # fmt: skip


def _took(target: batching.Target, total: int, pail_mg: int) -> str:
    exact = Fraction(target.part.mass_mg * pail_mg, total)
    if abs(target.target_mg - exact) * 2 <= target.part.division_mg:
        return ""
    return "It takes what rounding the others leaves, so that the pail comes out exactly."


# Allocation -------------------------------------------------------------------------------------------------


@extend_schema_field(OpenApiTypes.STR)
class Weight(serializers.Field[Any, Any, Any, Any]):
    """A number, a fraction such as 1/3, or a mass such as 200 g: exact, and only proportions count."""

    def to_internal_value(self, data: Any) -> Fraction:
        if not isinstance(data, str) or len(data) > 60:
            raise serializers.ValidationError("A weight is a short text, such as 3, 1/3 or 200 g.", "weight")
        try:
            return plain_number(data)
        except serializers.ValidationError:
            pass
        try:
            return Fraction(parse_mass(data).milligrams, 1000)
        except AmbiguousQuantity as error:
            raise serializers.ValidationError(str(error), Readings(error.readings)) from None
        except QuantityError as error:
            raise serializers.ValidationError(
                f"“{data}” is neither a number nor a mass.", error.code
            ) from None


class ShareIn(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=120)
    weight = Weight(help_text="A number, a fraction, or a mass in grams: “200 g” weighs 200.")


class AllocationIn(serializers.Serializer[Any]):
    shares = serializers.ListField(child=ShareIn(), min_length=1, max_length=5000)
    total = Mass(help_text="What is shared.")
    division = Mass(positive=True, required=False, help_text="In steps of this; by default 1 g.")


class ShareJSON(serializers.Serializer[Any]):
    name = serializers.CharField()
    quota = ExactQuantity(help_text="The exact share, before rounding.")
    mass = Quantity()
    tied = serializers.BooleanField(
        help_text="Its remainder was equal to another's where the last step ran out."
    )


class AllocationOut(serializers.Serializer[Any]):
    shares = ShareJSON(many=True)
    left = Quantity(help_text="What is smaller than one division.")
    ties = serializers.ListField(
        child=serializers.CharField(),
        help_text="Who was equal at the edge, so that order alone decided; mostly empty.",
    )
    working = WorkingJSON()


class AllocationCalculation(APIView):
    @operation(
        "calculate_allocation",
        "Share a mass by largest remainder, in whole steps of a division",
        tag=CALCULATIONS,
        request=AllocationIn,
        answer=AllocationOut,
        examples=examples_of("allocation"),
    )
    def post(self, request: Request) -> Response:
        return Response(_allocation(taken(AllocationIn, request)))


def _allocation(asked: Mapping[str, Any]) -> dict[str, Any]:
    names = [share["name"] for share in asked["shares"]]
    weights = [share["weight"] for share in asked["shares"]]
    total, division = asked["total"], asked.get("division", 1000)
    got = largest_remainder(weights, total, division)
    whole = sum(weights, Fraction(0))
    if not whole:
        raise SharingError("all_zero", "Nobody has a share: every weight is zero.", "shares")
    steps_open = (total - got.left) // division
    quotas = [weight * (total - got.left) / whole for weight in weights]
    given = sum(int(quota // division) for quota in quotas)
    tied = [names[place] for place in got.ties]
    steps = (
        step(
            1, "steps", "Whole steps to share", "total ÷ division, rounded down",
            (shown(grams(total), "total"), shown(grams(division), "division")),
            Figure("steps", str(steps_open)),
        ),
        step(
            2, "quotas", "Each one's quota, in whole steps", "weight ÷ sum of weights × steps, rounded down",
            (shown(figure(whole, ""), "sum of weights"), Figure("steps", str(steps_open))),
            Figure("steps given", str(given)),
        ),
        step(
            3, "remainders", "The rest to the largest remainders",
            "one step each; where equal, the first in order",
            (Figure("steps left", str(steps_open - given)),), shown(grams(total - got.left), "shared"),
            "largest remainder (Hamilton)", "FOUND",
            note=f"Equal at the edge, order decided: {', '.join(tied)}." if tied else "",
        ),
    )  # fmt: skip
    line = (
        f"{grams(total - got.left)['value']} g = {len(names)} shares in steps of {grams(division)['value']} g"
    )
    return {
        "shares": [
            {"name": name, "quota": grams(quota), "mass": grams(mass), "tied": place in got.ties}
            for place, (name, quota, mass) in enumerate(zip(names, quotas, got.amounts, strict=True))
        ],
        "left": grams(got.left),
        "ties": tied,
        "working": Working(line, steps).as_json(),
    }
