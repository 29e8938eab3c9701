"""Who may open each page of the desk and the books, and who may send to it."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from tests.house.routes_desk import ROUTES

WHO = ("organiser", "steward", "holder", "auditor", "stranger", "nobody")
GET = {
    "read": (200, 200, 403, 200, 404, 302),
    "mix": (200, 200, 403, 403, 404, 302),
    "report": (200, 403, 403, 200, 404, 302),
    "organise": (200, 403, 403, 403, 404, 302),
}


@pytest.mark.parametrize("route", ROUTES, ids=lambda r: r.name)
def test_who_may_open_and_send(cast: Any, as_: Any, route: Any) -> None:
    url = reverse(route.name, kwargs=route.kwargs(cast))
    for method in route.methods:
        got = tuple(getattr(as_(getattr(cast, who, None)), method)(url).status_code for who in WHO)
        assert got == GET[route.right], method


@pytest.mark.parametrize("route", ROUTES, ids=lambda r: r.name)
def test_nothing_of_this_programme_stands_under_another_one(cast: Any, as_: Any, route: Any) -> None:
    kwargs = route.kwargs(cast)
    if set(kwargs) == {"programme"}:
        return
    url = reverse(route.name, kwargs={**kwargs, "programme": cast.other.pk})
    for method in route.methods:
        assert getattr(as_(cast.stranger), method)(url).status_code == 404
        assert getattr(as_(cast.organiser), method)(url).status_code == 404


@pytest.mark.parametrize("name", ["totals", "totals_csv", "tickets", "to_settle", "desk", "collection"])
def test_what_is_only_read_takes_no_post(cast: Any, as_: Any, name: str) -> None:
    route = next(r for r in ROUTES if r.name == name)
    assert as_(cast.organiser).post(reverse(name, kwargs=route.kwargs(cast))).status_code == 405
