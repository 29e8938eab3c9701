"""An analysis in JSON: element and label basis, what it feeds, what is not declared, its boron."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from blends import chemistry
from blends.boron import BoronVerdict, heavy_season
from blends.chemistry import Analysis, BlendAnalysis
from gardens.api.quantities import ExactQuantity, Quantity, QuantityJSON, figure, percent
from gardens.nutrients import ESSENTIAL, Nutrient


class NutrientOut(serializers.Serializer[Any]):
    """One nutrient; ``not_declared`` has no figures, and is never zero."""

    symbol = serializers.CharField()
    name = serializers.CharField()
    state = serializers.ChoiceField(["declared", "at_least", "none", "not_declared"])
    element = Quantity(required=False)
    label = Quantity(required=False, help_text="P as P2O5, K as K2O; the others as the element.")  # type: ignore[assignment]


class BoronOut(serializers.Serializer[Any]):
    verdict = serializers.ChoiceField([v.value for v in BoronVerdict])
    sentence = serializers.CharField()
    season = ExactQuantity(required=False, help_text="What a heavy season brings, in kg/ha.")


class AnalysisOut(serializers.Serializer[Any]):
    """What a blend carries, as far as its components declare it."""

    nutrients = NutrientOut(many=True)
    soluble_nitrogen = Quantity(required=False, help_text="What weekly feeding may count on.")
    grade = serializers.CharField(help_text="N-P2O5-K2O, rounded down. Calculated, not guaranteed.")
    ratio = serializers.ListField(child=serializers.CharField(), help_text="N : P2O5 : K2O, by the first.")
    sentence = serializers.CharField()
    weekly = serializers.BooleanField(help_text="Whether it may be fed weekly.")
    printable = serializers.ListField(child=serializers.CharField())
    too_little_to_print = serializers.ListField(child=serializers.CharField())
    boron = BoronOut()
    calculated = serializers.CharField()


NOT_GUARANTEED = "calculated, not guaranteed"


def analysis_json(analysis: BlendAnalysis) -> dict[str, Any]:
    boron = heavy_season(analysis)
    told: dict[str, Any] = {"verdict": boron.verdict.value, "sentence": boron.sentence}
    if boron.kg_per_ha is not None:
        told["season"] = figure(boron.kg_per_ha, "kg/ha")
    soluble = {} if analysis.soluble_n is None else {"soluble_nitrogen": percent(analysis.soluble_n)}
    return {
        "nutrients": [_nutrient(n, analysis) for n in ESSENTIAL],
        **soluble,
        "grade": "-".join(str(n) for n in chemistry.printed_grade(analysis)),
        "ratio": [figure(value, "")["value"] for value in analysis.ratio],
        "sentence": chemistry.feeds_sentence(analysis),
        "weekly": analysis.weekly,
        "printable": [str(n) for n in chemistry.printable(analysis)],
        "too_little_to_print": [str(n) for n in chemistry.too_little(analysis)],
        "boron": told,
        "calculated": NOT_GUARANTEED,
    }


def _nutrient(n: Nutrient, analysis: BlendAnalysis) -> dict[str, Any]:
    row: dict[str, Any] = {"symbol": str(n), "name": n.english}
    if n not in analysis.percent:
        return row | {"state": "not_declared"}
    share = analysis.percent[n]
    state = "at_least" if n in analysis.at_least else "declared" if share else "none"
    return row | {"state": state, "element": percent(share), "label": percent(chemistry.to_label(n, share))}


def declared_json(analysis: Analysis) -> dict[str, QuantityJSON]:
    """What one material declares, element basis."""
    return {str(n): percent(share) for n, share in analysis.percent.items()}
