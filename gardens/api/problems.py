"""Errors of the API as problem details (RFC 9457)."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from rest_framework import exceptions, status
from rest_framework.response import Response
from rest_framework.views import exception_handler, set_rollback

from gardens.refusals import Refused

MEDIA_TYPE = "application/problem+json"


def problem(code: str, title: str, http: int, *, errors: list[dict[str, str]] | None = None) -> Response:
    """One problem: ``type`` is stable for programs, ``title`` a sentence for people, ``errors`` per field."""
    body: dict[str, Any] = {"type": f"/api/v1/problems/{code}", "title": title, "status": http, "code": code}
    if errors:
        body["errors"] = errors
    return Response(body, status=http, content_type=MEDIA_TYPE)


def handle(exception: Exception, context: dict[str, Any]) -> Response | None:
    if isinstance(exception, Refused):
        set_rollback()
        errors = [{"field": exception.field, "message": exception.message}] if exception.field else None
        return problem(exception.code, exception.message, exception.status, errors=errors)
    if isinstance(exception, Http404):
        exception = exceptions.NotFound()
    elif isinstance(exception, PermissionDenied):
        exception = exceptions.PermissionDenied()
    response = exception_handler(exception, context)
    if response is None or not isinstance(exception, exceptions.APIException):
        return response
    if isinstance(exception, exceptions.ValidationError):
        flat = list(_flatten(exception.detail))
        made = problem("invalid", "Some of this cannot be taken; see the errors.", 400, errors=flat)
    else:
        codes = exception.get_codes()
        code = codes if isinstance(codes, str) else "error"
        made = problem(code, str(exception.detail), response.status_code)
    for name in ("WWW-Authenticate", "Retry-After"):
        if name in response:
            made[name] = response[name]
    return made


def _flatten(detail: Any, at: str = "") -> Any:
    if isinstance(detail, dict):
        for name, inner in detail.items():
            yield from _flatten(inner, f"{at}.{name}" if at else str(name))
    elif isinstance(detail, list):
        for index, inner in enumerate(detail):
            yield from _flatten(inner, f"{at}[{index}]" if isinstance(inner, dict) else at)
    else:
        yield {"field": at, "message": str(detail)}


def server_error(request: Any) -> Response:
    return problem("server_error", "Something went wrong here. It was written down.", status.HTTP_500_INTERNAL_SERVER_ERROR)
