"""Errors of the API as problem details (RFC 9457).

`400` what was sent cannot be read (each field says why); `404` there is no such thing here; `409` the state
of things is in the way; `422` the rules do not allow it, or a figure cannot be computed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, JsonResponse
from rest_framework import exceptions, status
from rest_framework.response import Response
from rest_framework.views import exception_handler, set_rollback

from gardens.faults import Fault
from gardens.quantities import AmbiguousQuantity, QuantityError
from gardens.refusals import Refused

MEDIA_TYPE = "application/problem+json"
FaultJSON = dict[str, Any]


class Readings(str):
    """The code of a text with two readings; it carries them through a serializer's errors."""

    readings: tuple[str, ...]

    def __new__(cls, readings: Iterable[str]) -> Readings:
        code = super().__new__(cls, "ambiguous")
        code.readings = tuple(readings)
        return code


def body_of(code: str, title: str, http: int, errors: list[FaultJSON] | None, **more: Any) -> dict[str, Any]:
    """``type`` and ``code`` are stable for programs, ``title`` is for people, ``errors`` name fields."""
    body = {"type": f"/api/v1/problems/{code}", "title": title, "status": http, "code": code, **more}
    return body | ({"errors": errors} if errors else {})


def problem(
    code: str, title: str, http: int, *, errors: list[FaultJSON] | None = None, **more: Any
) -> Response:
    return Response(body_of(code, title, http, errors, **more), status=http, content_type=MEDIA_TYPE)


def handle(exception: Exception, context: dict[str, Any]) -> Response | None:
    """Every exception that has an answer; any other is a server error, told by ``gardens.views.errors``."""
    if isinstance(exception, Refused):
        set_rollback()
        return _refused(exception.code, exception.message, exception.status, exception.field)
    if isinstance(exception, Fault | QuantityError):
        set_rollback()
        return _of_pure(exception)
    if isinstance(exception, Http404):
        exception = exceptions.NotFound("There is no such thing here.")
    elif isinstance(exception, PermissionDenied):
        exception = exceptions.PermissionDenied("You are here, but this is not for your role.")
    response = exception_handler(exception, context)
    if response is None or not isinstance(exception, exceptions.APIException):
        return response
    if isinstance(exception, exceptions.ValidationError):
        flat = list(_flatten(exception.detail))
        made = problem("invalid", "Some of this cannot be taken; see the errors.", 400, errors=flat)
    else:
        codes = exception.get_codes()
        made = problem(
            codes if isinstance(codes, str) else "error", str(exception.detail), response.status_code
        )
    for name in ("WWW-Authenticate", "Retry-After", "Allow"):
        if name in response:
            made[name] = response[name]
    return made


def _of_pure(exception: Fault | QuantityError) -> Response:
    """What a pure module cannot take, in its own words."""
    field = exception.field if isinstance(exception, Fault) else ""
    readings = list(exception.readings) if isinstance(exception, AmbiguousQuantity) else None
    return _refused(exception.code, str(exception), status.HTTP_422_UNPROCESSABLE_ENTITY, field, readings)


def _refused(code: str, message: str, http: int, field: str, readings: list[str] | None = None) -> Response:
    fault: FaultJSON = {"field": field, "message": message, "code": code}
    if readings:
        fault["readings"] = readings
    return problem(code, message, http, errors=[fault] if field or readings else None)


def _flatten(detail: Any, at: str = "") -> Iterator[FaultJSON]:
    if isinstance(detail, dict):
        for name, inner in detail.items():
            yield from _flatten(inner, f"{at}.{name}" if at else str(name))
    elif isinstance(detail, list):
        for index, inner in enumerate(detail):
            yield from _flatten(inner, f"{at}[{index}]" if isinstance(inner, dict) else at)
    else:
        code = getattr(detail, "code", "invalid")
        fault: FaultJSON = {"field": at, "message": str(detail), "code": str(code)}
        yield fault | ({"readings": list(code.readings)} if isinstance(code, Readings) else {})


def outside(request: HttpRequest, code: str, title: str, http: int) -> JsonResponse:
    """A problem where no view of the API was reached, or where one broke."""
    return JsonResponse(body_of(code, title, http, None), status=http, content_type=MEDIA_TYPE)
