"""Who joins a household joins all its plots: that is asked, and nobody gets there unseen."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.urls import reverse

from gardens.actions import tenancies
from gardens.clock import today
from gardens.models import Member, Person, Plot, Tenancy
from gardens.refusals import Refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def second(cast: Any) -> Plot:
    """Plot 18, held by the household of plot 17 too."""
    plot = Plot.objects.create(programme=cast.programme, garden=cast.garden, label="18")
    Tenancy.objects.create(
        programme=cast.programme, plot=plot, household=cast.household, start=dt.date(2026, 3, 1)
    )
    return plot


def ada(cast: Any) -> Person:
    return Person.objects.create(programme=cast.programme, name="Ada")


def join(cast: Any, **how: Any) -> Member:
    return tenancies.join_household(household=cast.household, by=cast.organiser, person=ada(cast), **how)


def test_who_joins_a_household_of_two_plots_is_asked_about_the_other(cast: Any, second: Plot) -> None:
    with pytest.raises(Refused, match=r"Henna holds plots 17 and 18") as refused:
        join(cast)
    assert (refused.value.code, refused.value.field) == ("all_plots", "all_plots")
    assert not Member.objects.filter(person__name="Ada").exists()


def test_confirmed_they_share_all_its_plots(cast: Any, second: Plot) -> None:
    assert join(cast, all_plots=True).household == cast.household


def test_a_plot_that_was_given_up_is_not_asked_about(cast: Any, second: Plot) -> None:
    Tenancy.objects.filter(plot=second).update(until_day=today(cast.programme))
    assert join(cast).household == cast.household


def test_the_page_asks_once_it_matters_and_takes_the_answer(cast: Any, as_: Any, second: Plot) -> None:
    client, at = as_(cast.organiser), reverse("member_add", args=[cast.programme.pk, cast.plot.pk])
    assert "Also for plot 18" in client.get(at).content.decode()
    page = client.post(at, {"name": "Ada"}).content.decode()
    assert "Henna holds plots 17 and 18" in page and not Person.objects.filter(name="Ada").exists()
    client.post(at, {"name": "Ada", "all_plots": "on"})
    assert Member.objects.get(person__name="Ada").household == cast.household


def test_the_page_of_a_household_of_one_plot_asks_nothing(cast: Any, as_: Any) -> None:
    at = reverse("member_add", args=[cast.programme.pk, cast.plot.pk])
    assert "Also for" not in as_(cast.organiser).get(at).content.decode()
