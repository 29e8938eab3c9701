"""The pages of rounds, plots' weeks and slips: what they show, to whom, in how many queries."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.urls import reverse

from gardens.models import Plot
from schedules.actions.rounds import freeze_round, open_round
from schedules.models import FeedLog, Round
from tests.cast import make_person, make_plot
from tests.house.routes_rounds import ROUTES
from tests.play import make_revision

FIRST = dt.date(2026, 6, 1)
TODAY = dt.datetime(2026, 6, 3, 9, 0, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def june(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is Wednesday 3 June 2026."""
    from django.utils import timezone

    monkeypatch.setattr(timezone, "now", lambda: TODAY)


@pytest.fixture
def round(cast: Any) -> Round:
    revision = make_revision(cast.programme, cast.organiser)
    return open_round(
        programme=cast.programme, by=cast.organiser, gardens=[cast.garden], first_day=FIRST, weeks=4,
        revision=revision,
    )  # fmt: skip


def page(client: Any, name: str, **kwargs: Any) -> str:
    response = client.get(reverse(name, kwargs=kwargs))
    assert response.status_code == 200, response.status_code
    return str(response.content.decode())


@pytest.mark.parametrize("route", [r for r in ROUTES if "get" in r.methods], ids=lambda r: r.name)
def test_every_page_opens_for_the_organiser(cast: Any, as_: Any, route: Any) -> None:
    kwargs = route.kwargs(cast)
    response = as_(cast.organiser).get(reverse(route.name, kwargs=kwargs))
    assert response.status_code in (200, 302)


def test_the_round_page_says_what_to_mix_and_freezes(cast: Any, as_: Any, round: Round) -> None:
    at = {"programme": cast.programme.pk, "round": round.pk}
    text = page(as_(cast.organiser), "round", **at)
    assert "Mix 58\u00a0g" in text and "Freeze at 54\u00a0g" in text and "Lock Lane" in text
    as_(cast.organiser).post(reverse("freeze", kwargs=at))
    round.refresh_from_db()
    assert round.state == "frozen" and round.portions.get().due_mg == 55_000
    assert "Choose the mixing day" in page(as_(cast.organiser), "round", **at)
