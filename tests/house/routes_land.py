"""Doors of people and land. "own_plot_change": who may change a plot, its holders and the organiser."""

from __future__ import annotations

import datetime as dt
from typing import Any

from gardens.models import Member, Planting
from tests.house.routes import Route


def _plot(cast: Any) -> dict[str, Any]:
    return {"programme": cast.programme.pk, "plot": cast.plot.pk}


def _bed(cast: Any) -> dict[str, Any]:
    return {"programme": cast.programme.pk, "bed": cast.bed.pk}


def _garden(cast: Any) -> dict[str, Any]:
    return {"programme": cast.programme.pk, "garden": cast.garden.pk}


def _person(cast: Any) -> dict[str, Any]:
    """Somebody who does not sign in, so that every act on them is open."""
    from gardens.models import Person

    person, _ = Person.objects.get_or_create(programme=cast.programme, name="Nobody Special")
    return {"programme": cast.programme.pk, "person": person.pk}


def _member(cast: Any) -> dict[str, Any]:
    return {"programme": cast.programme.pk, "member": Member.objects.get(household=cast.household).pk}


def _planting(cast: Any) -> dict[str, Any]:
    planting, _ = Planting.objects.get_or_create(
        programme=cast.programme,
        bed=cast.bed,
        crop_code="tomato",
        crop_name="tomato",
        day=dt.date(2026, 5, 11),
    )
    return {"programme": cast.programme.pk, "planting": planting.pk}


def _secret(cast: Any) -> dict[str, Any]:
    from gardens.actions.people import invite
    from gardens.models import Person

    person = Person.objects.get(pk=_person(cast)["person"])
    _, secret = invite(
        programme=cast.programme,
        by=cast.organiser,
        person=person,
        email="new@ostermere.example",
        role="steward",
    )
    return {"secret": secret}


def _nothing(cast: Any) -> dict[str, Any]:
    return {}


BOTH = ("get", "post")
ROUTES = [
    Route("login", "anyone", _nothing, BOTH),
    Route("logout", "anyone", _nothing, ("post",)),
    Route("password_reset", "anyone", _nothing, BOTH),
    Route("password_reset_done", "anyone", _nothing),
    Route("password_reset_confirm", "anyone", lambda cast: {"uidb64": "MQ", "token": "x-y"}),
    Route("password_reset_complete", "anyone", _nothing),
    Route("invitation", "anyone", _secret, BOTH),
    Route("start", "anyone", _nothing, BOTH),
    Route("echo", "anyone", _nothing),
    Route("programme_settings", "report", methods=BOTH, change="organise"),
    Route("people", "report"),
    Route("person_add", "organise", methods=BOTH),
    Route("person", "report", _person, BOTH, change="organise"),
    Route("invite", "organise", _person, BOTH),
    Route("person_erase", "organise", _person, ("post",)),
    Route("land", "read"),
    Route("garden_add", "organise", methods=BOTH),
    Route("garden", "read", _garden),
    Route("garden_change", "organise", _garden, BOTH),
    Route("plot_add", "organise", _garden, BOTH),
    Route("plot_land", "own_plot", _plot),
    Route("plot_change", "organise", _plot, BOTH),
    Route("plot_feeding", "own_plot_change", _plot, BOTH),
    Route("tenancy_change", "organise", _plot, BOTH),
    Route("tenancy_end", "organise", _plot, BOTH),
    Route("member_add", "organise", _plot, BOTH),
    Route("member_leave", "organise", _member, BOTH),
    Route("bed_add", "own_plot_change", _plot, BOTH),
    Route("bed", "own_plot_change", _bed, BOTH),
    Route("bed_feeding", "own_plot_change", _bed, BOTH),
    Route("bed_end", "own_plot_change", _bed, BOTH),
    Route("bring_in", "organise", methods=BOTH),
    Route("planting_add", "own_plot_change", _bed, BOTH),
    Route("planting", "own_plot", _planting, BOTH, change="own_plot_change"),
    Route("planting_end", "own_plot_change", _planting, BOTH),
]
