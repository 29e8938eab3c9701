"""Digits that are no decimals, and numbers as long as a page: at a plot's label and in an address."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from gardens.models import Plot
from tests.play import play_day

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed_in(cast: Any, client: Client) -> Client:
    client.force_login(cast.organiser.user)
    return client


def test_a_plot_may_be_called_with_a_raised_two(cast: Any, signed_in: Client) -> None:
    Plot.objects.filter(pk=cast.plot.pk).update(label="3²")
    page = signed_in.get(reverse("week", args=[cast.programme.pk]))
    assert page.status_code == 200 and "3²" in page.content.decode()


@pytest.mark.parametrize("odd", ["²", "٣", "9" * 5000, "-1", "1.5"])
def test_a_number_that_is_none_in_an_address_is_passed_over(cast: Any, signed_in: Client, odd: str) -> None:
    day = play_day(cast)
    p = cast.programme.pk
    asked = [
        (reverse("round_batch", args=[p, day.round.pk]), {"mass": odd}),
        (reverse("slips", args=[p, day.round.pk]), {"plot": odd, "garden": odd}),
        (reverse("tub_labels", args=[p, day.day.pk]), {"each": odd}),
    ]
    assert [signed_in.get(url, query).status_code for url, query in asked] == [200, 200, 200]
    logged = signed_in.post(
        reverse("feed_log", args=[p, cast.plot.pk]), {"kind": "fed", "feed": f"b{odd}@2026-06-01"}
    )
    assert logged.status_code == 404
    pressed = [(reverse("scales", args=[p]), "retire"), (reverse("crew", args=[p, day.day.pk]), "drop")]
    assert [signed_in.post(url, {name: odd}).status_code for url, name in pressed] == [200, 200]


def test_a_span_that_ends_before_it_begins_is_told_to_programs_too(cast: Any, signed_in: Client) -> None:
    answer = signed_in.get(
        f"/api/v1/programmes/{cast.programme.pk}/totals/", {"first": "2026-07-02", "last": "2026-07-01"}
    )
    assert answer.status_code == 400 and answer.json()["errors"][0]["field"] == "last"
