"""Around each request: an id and one log line; and one place that turns a refusal into a kind page."""

from __future__ import annotations

import contextvars
import logging
import re
import time
import uuid
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from gardens.refusals import Refused

request_id: contextvars.ContextVar[str] = contextvars.ContextVar("request_id", default="")
log = logging.getLogger("request")
GetResponse = Callable[[HttpRequest], HttpResponse]


class RequestLog:
    """One line per request: method, route (never the address, which may name people), status, milliseconds."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-ID", "")
        token = request_id.set(given if re.fullmatch(r"[A-Za-z0-9-]{8,64}", given) else uuid.uuid4().hex)
        began = time.perf_counter()
        try:
            response = self.get_response(request)
            response["X-Request-ID"] = request_id.get()
            match = request.resolver_match
            log.info(
                "answered",
                extra={
                    "method": request.method,
                    "route": match.route if match else "",
                    "status": response.status_code,
                    "ms": round((time.perf_counter() - began) * 1000, 1),
                },
            )
            return response
        finally:
            request_id.reset(token)
            timezone.deactivate()  # the page's zone was its programme's; the next request may be another's


class Refusals:
    """A refusal that no form took up becomes a page that says why; the API maps its own."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, Refused):
            return None
        return render(request, "refused.html", {"refusal": exception}, status=exception.status)
