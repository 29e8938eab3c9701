"""The stateless calculators, for anybody signed in: texts as people write them in, full precision out."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any

from django.conf import settings
from drf_spectacular.utils import OpenApiExample
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from gardens import quantities as q
from gardens.api.quantities import ExactQuantity, Quantity, QuantityJSON, figure, square_metres
from gardens.api.schema import operation
from gardens.quantity_grammar import Sides, measure, read, unit_called
from gardens.units import PI
from gardens.working import Figure, Step, Working

CALCULATIONS = "Calculations"
EXAMPLES = settings.BASE_DIR / "fixtures" / "calculations"


class FigureJSON(serializers.Serializer[Any]):
    name = serializers.CharField()
    value = serializers.CharField()
    unit = serializers.CharField()


class StepJSON(serializers.Serializer[Any]):
    """One step: its formula in words, what went in, what came out, and who says so."""

    number = serializers.IntegerField()
    code = serializers.CharField()
    name = serializers.CharField()
    formula = serializers.CharField()
    inputs = FigureJSON(many=True)
    result = FigureJSON()
    source = serializers.CharField()  # type: ignore[assignment]
    confidence = serializers.CharField()
    note = serializers.CharField()


class WorkingJSON(serializers.Serializer[Any]):
    """Why that much: one line, then the steps, which can be repeated by hand."""

    line = serializers.CharField()
    steps = StepJSON(many=True)


def examples_of(name: str) -> list[OpenApiExample]:
    """What stands in fixtures/calculations: each is posted by a test, which compares the whole answer."""
    import json

    told = json.loads((EXAMPLES / f"{name}.json").read_text(encoding="utf-8"))
    return [
        OpenApiExample(example["name"], value=example[side], request_only=asked, response_only=not asked)
        for example in told
        for side, asked in (("request", True), ("response", False))
    ]


def taken(form: type[serializers.Serializer[Any]], request: Request) -> dict[str, Any]:
    sent = form(data=request.data)
    sent.is_valid(raise_exception=True)
    values: dict[str, Any] = sent.validated_data
    return values


def shown(quantity: QuantityJSON, name: str) -> Figure:
    """A quantity as a working prints it."""
    return Figure(name, quantity["value"], quantity["unit"])


def step(
    number: int,
    code: str,
    name: str,
    formula: str,
    inputs: tuple[Figure, ...],
    result: Figure,
    source: str = "arithmetic",
    confidence: str = "DERIVED",
    note: str = "",
) -> Step:
    return Step(number, code, name, formula, inputs, result, source, confidence, note)


# Area -------------------------------------------------------------------------------------------------------


class AreaIn(serializers.Serializer[Any]):
    size = serializers.CharField(max_length=200, help_text="Such as “2 × 4 x 8 ft” or “6 ft circle”.")
    unit = serializers.ChoiceField(
        ["m", "cm", "ft", "in"], required=False, help_text="What a number without any unit is in."
    )


class AreaOut(serializers.Serializer[Any]):
    """``each`` and ``total`` are exact; ``kept`` is what a bed keeps, whole mm2, half up, and doses go by."""

    shape = serializers.ChoiceField(["rectangle", "circle", "row", "pot", "area"])
    count = serializers.IntegerField()
    sides = Quantity(many=True)
    each = ExactQuantity()
    total = ExactQuantity()
    kept = Quantity()
    echo = serializers.CharField(help_text="What was understood, in both families of units.")
    working = WorkingJSON()


class AreaCalculation(APIView):
    @operation(
        "calculate_area",
        "Area of a bed, row, circle or pots, from its measures",
        tag=CALCULATIONS,
        request=AreaIn,
        answer=AreaOut,
        examples=examples_of("area"),
    )
    def post(self, request: Request) -> Response:
        asked = taken(AreaIn, request)
        return Response(area(asked["size"], asked.get("unit")))


_FORMULAS: dict[str, tuple[str, str, Callable[[Fraction, Fraction], Fraction]]] = {
    "rectangle": ("length × width", "geometry", lambda a, b: a * b),
    "row": ("length × width of the row", "geometry", lambda a, b: a * b),
    "circle": ("π × diameter² ÷ 4", "geometry", lambda a, _: _disc(a)),
    "pot": ("π × diameter² ÷ 4", "geometry", lambda a, _: _disc(a)),
    "area": ("as given", "what was written", lambda a, _: a),
}


def _disc(diameter_mm: Fraction) -> Fraction:
    """mm2, to 18 decimals: its digits have no end."""
    return round(PI * diameter_mm**2 / 4, 18)


def area(text: str, unit: str | None) -> dict[str, Any]:
    """The answer to one text. Raises QuantityError where it has no area."""
    kept = q.parse_measure(text, default_unit=unit)
    default = unit_called(unit) if unit else None
    exact: Sides = read(text, ("4 x 8 ft", "1.2 × 3 m"), lambda reader: measure(reader, default))
    formula, source, each_of = _FORMULAS[exact.shape]
    each = each_of(exact.sides[0], exact.sides[-1])
    in_metres = exact.shape != "area"
    sides = [figure(s / 1000, "m") for s in exact.sides] if in_metres else []
    inputs = tuple(shown(s, f"side {n}") for n, s in enumerate(sides, 1)) or (
        Figure("as written", " ".join(text.split())),
    )
    one, total = square_metres(each), square_metres(each * exact.count)
    steps = [
        step(1, "each", "Area of one", formula, inputs, shown(one, "area of one"), source),
        step(
            2,
            "total",
            "All together",
            "how many × area of one",
            (Figure("how many", str(exact.count)), shown(one, "area of one")),
            shown(total, "total"),
        ),
    ]
    line = f"{total['value']} m2 = {formula}{f', {exact.count} times' if exact.count > 1 else ''}"
    working = Working(line, tuple(steps))
    return {
        "shape": exact.shape,
        "count": exact.count,
        "sides": sides,
        "each": one,
        "total": total,
        "kept": square_metres(kept.total_mm2),
        "echo": q.echo_measure(kept),
        "working": working.as_json(),
    }
