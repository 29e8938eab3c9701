"""How operations are told in the schema: ``operation`` says it once, for every view alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from typing import Any, TypeVar

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers

from gardens.api.problems import MEDIA_TYPE

V = TypeVar("V", bound=Callable[..., Any])
KEY = "Idempotency-Key"
REPLAYED = "Idempotency-Replayed"


class FieldError(serializers.Serializer[Any]):
    """What is wrong with one field; ``readings`` where a text has two, each of which may be sent instead."""

    field = serializers.CharField(help_text="Its path in what was sent; empty for the whole.")
    message = serializers.CharField()
    code = serializers.CharField()
    readings = serializers.ListField(child=serializers.CharField(), required=False)


class Problem(serializers.Serializer[Any]):
    """Problem details (RFC 9457). ``code`` is stable for programs, ``title`` is a sentence for people."""

    type = serializers.CharField(help_text="The problem's own name: /api/v1/problems/ and its code.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    code = serializers.CharField()
    errors = FieldError(many=True, required=False)  # type: ignore[assignment]


MEANINGS = {
    400: "What was sent cannot be read; ``errors`` says why, field by field.",
    401: "Nobody is signed in.",
    403: "Signed in, but this is not for that role.",
    404: "There is no such thing here, or it is another programme's.",
    409: "The state of things is in the way: somebody was first, a pail is held, a key was used before.",
    422: "The rules do not allow it, or it cannot be computed; ``code`` names the rule.",
    429: "Too often; see Retry-After.",
}


def operation(
    name: str,
    summary: str,
    *,
    tag: str,
    answer: Any = None,
    request: Any = None,
    status: int = 200,
    description: str = "",
    errors: Sequence[int] = (),
    key: bool = False,
    paged: bool = False,
    parameters: Sequence[OpenApiParameter | type[serializers.Serializer[Any]]] = (),
    examples: Sequence[OpenApiExample] = (),
    public: bool = False,
) -> Callable[[V], V]:
    """One operation: its id, one line, what it takes and answers.

    ``key``: it makes a ticket, so it takes ``Idempotency-Key`` and answers 200 where the key was known.
    ``paged``: a list that takes ``limit`` and ``offset``.
    """
    wrong = {*errors, *(() if public else (401, 403, 404))}
    if request is not None or key:
        wrong |= {400} if public else {400, 409, 422}
    responses: dict[Any, Any] = {
        status: OpenApiResponse(listed(answer) if paged else answer, description=_ANSWERS[status])
    }
    if key:
        responses[200] = OpenApiResponse(
            answer, description=f"The key was known: the first answer. {REPLAYED}: true."
        )
    for code in sorted(wrong):
        responses[code, MEDIA_TYPE] = OpenApiResponse(Problem, description=MEANINGS[code])
    taken = [*parameters, *([_KEY] if key else []), *(_PAGE if paged else [])]
    return extend_schema(
        operation_id=name,
        summary=summary,
        description=description or summary,
        tags=[tag],
        request=request,
        responses=responses,
        parameters=taken,
        examples=list(examples),
        auth=[] if public else None,
    )


_ANSWERS = {200: "As asked.", 201: "Made.", 204: "Done; there is nothing to say."}
_KEY = OpenApiParameter(
    KEY,
    OpenApiTypes.UUID,
    OpenApiParameter.HEADER,
    required=True,
    description="Your own name for this act. The same key with the same body is the same act, however often "
    f"it is sent: the first answer comes again with 200 and {REPLAYED}: true. With another body it is "
    "refused (409).",
)
_PAGE = [
    OpenApiParameter(
        "limit", int, OpenApiParameter.QUERY, description="How many rows: 1 to 500, by default 100."
    ),
    OpenApiParameter("offset", int, OpenApiParameter.QUERY, description="How many rows to leave out first."),
]
_LISTS: dict[type[Any], type[Any]] = {}


@cache
def listed(item: type[serializers.Serializer[Any]]) -> type[serializers.Serializer[Any]]:
    """A page of such rows."""
    fields = {
        "count": serializers.IntegerField(help_text="How many there are in all."),
        "next": serializers.URLField(allow_null=True, help_text="The address of the next page."),
        "previous": serializers.URLField(allow_null=True),
        "results": item(many=True),
        "__doc__": f"A page of rows: {plain_name(item.__name__)}.",
    }
    return type(f"{plain_name(item.__name__)}Page", (serializers.Serializer,), fields)


class Schema(AutoSchema):
    """Components go by what they are: ``GardenJSON`` is told as Garden, ``GardenIn`` as GardenRequest."""

    def get_serializer_name(self, serializer: Any, direction: Any) -> str:
        return plain_name(serializer.__class__.__name__)


def plain_name(name: str) -> str:
    return next((name.removesuffix(end) for end in ("JSON", "Out", "In") if name.endswith(end)), name)


class QuantitySchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    """In: text as people write it, or value and unit. Out: value and unit."""

    target_class = "gardens.api.quantities.QuantityField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: AutoSchema, direction: Any) -> dict[str, Any]:
        reference: dict[str, Any] = auto_schema.resolve_serializer(self.target.shape, "response").ref
        if direction != "request":
            return reference
        texts = list(self.target.texts)
        written = {
            "type": "string",
            "maxLength": 200,
            "description": "As people write it.",
            "examples": texts,
        }
        return {"oneOf": [reference, written]}
