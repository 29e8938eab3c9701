"""What is answered where no view is: pages for people, problems for programs."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.views import defaults

from gardens.api import problems

API = "/api/"


def not_found(request: HttpRequest, exception: Exception, **kwargs: Any) -> HttpResponse:
    if request.path.startswith(API):
        return problems.outside(request, "not_found", "There is no such address.", 404)
    return defaults.page_not_found(request, exception)


def server_error(request: HttpRequest) -> HttpResponse:
    if request.path.startswith(API):
        return problems.outside(
            request, "server_error", "Something went wrong here. It was written down.", 500
        )
    return defaults.server_error(request)


def bad_request(request: HttpRequest, exception: Exception, **kwargs: Any) -> HttpResponse:
    if request.path.startswith(API):
        return problems.outside(request, "bad_request", "This request cannot be read.", 400)
    return defaults.bad_request(request, exception)
