"""Whose plot a page is: their own, today, and nobody's who held it before."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from gardens.access import To, own_plots, seat_for
from gardens.actions.tenancies import pass_on
from gardens.clock import today
from gardens.models import RoleName
from tests.cast import make_person

pytestmark = pytest.mark.django_db


def test_who_held_a_plot_before_sees_it_no_more(cast: Any, client: Client) -> None:
    nadia = make_person(cast.programme, "Nadia", RoleName.HOLDER)
    day = today(cast.programme) - dt.timedelta(days=10)
    pass_on(plot=cast.plot, by=cast.organiser, persons=[nadia], day=day)
    client.force_login(cast.holder.user)
    page = client.get(reverse("plot", args=[cast.programme.pk, cast.plot.pk]))
    logged = client.post(reverse("feed_log", args=[cast.programme.pk, cast.plot.pk]), {"kind": "skipped"})
    assert (page.status_code, logged.status_code) == (404, 404)
    assert own_plots(seat_for(nadia.user, cast.programme.pk, to=To.ENTER)) == {cast.plot.pk}


def test_who_takes_it_over_tomorrow_sees_it_tomorrow(cast: Any) -> None:
    nadia = make_person(cast.programme, "Nadia", RoleName.HOLDER)
    day = today(cast.programme) + dt.timedelta(days=1)
    pass_on(plot=cast.plot, by=cast.organiser, persons=[nadia], day=day)
    seat = seat_for(nadia.user, cast.programme.pk, to=To.ENTER)
    assert own_plots(seat) == set()
    assert own_plots(seat, day) == {cast.plot.pk}
