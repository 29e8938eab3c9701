"""Who may open each page of people and land, and who may send to it."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from tests.house.routes_land import ROUTES

WHO = ("organiser", "steward", "holder", "auditor", "stranger", "nobody")
GET = {
    "anyone": (200, 200, 200, 200, 200, 200),
    "read": (200, 200, 403, 200, 404, 302),
    "report": (200, 403, 403, 200, 404, 302),
    "organise": (200, 403, 403, 403, 404, 302),
    "own_plot": (200, 200, 200, 200, 404, 302),
    "own_plot_change": (200, 403, 200, 403, 404, 302),
}
WALLED = [route for route in ROUTES if route.right != "anyone"]


@pytest.mark.parametrize("route", [r for r in ROUTES if "get" in r.methods], ids=lambda r: r.name)
def test_who_may_open(cast: Any, as_: Any, route: Any) -> None:
    url = reverse(route.name, kwargs=route.kwargs(cast))
    got = [as_(getattr(cast, who, None)).get(url).status_code for who in WHO]
    assert tuple(200 if code == 410 else code for code in got) == GET[route.right]


@pytest.mark.parametrize("route", [r for r in WALLED if "post" in r.methods], ids=lambda r: r.name)
def test_who_may_send(cast: Any, as_: Any, route: Any) -> None:
    url = reverse(route.name, kwargs=route.kwargs(cast))
    expected = GET[route.change or route.right]
    for who, code in reversed(list(zip(WHO, expected, strict=True))):
        got = as_(getattr(cast, who, None)).post(url, {}).status_code
        assert got == code if code != 200 else got in (200, 302, 422), who


@pytest.mark.parametrize("route", WALLED, ids=lambda r: r.name)
def test_nothing_of_this_programme_stands_under_another_one(cast: Any, as_: Any, route: Any) -> None:
    kwargs = route.kwargs(cast)
    if set(kwargs) == {"programme"}:
        return
    url = reverse(route.name, kwargs={**kwargs, "programme": cast.other.pk})
    for method in route.methods:
        assert getattr(as_(cast.stranger), method)(url).status_code == 404
        assert getattr(as_(cast.organiser), method)(url).status_code == 404
