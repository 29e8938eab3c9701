"""Addresses of the front pages, rounds, plots' weeks, own rates and slips."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.utils import timezone

from gardens.models import Planting
from schedules.models import FeedLog, Round, RoundGarden
from tests.house.routes import Route
from tests.play import make_revision


def a_round(cast: Any) -> Round:
    """The cast's open round, made once."""
    found = Round.objects.filter(programme=cast.programme).first()
    if found is not None:
        return found
    revision = make_revision(cast.programme, cast.organiser, "Route blend")
    made = Round.objects.create(
        programme=cast.programme, number=1, first_day=dt.date(2026, 6, 1), weeks=4, revision=revision,
        made_by=cast.organiser,
    )  # fmt: skip
    RoundGarden.objects.create(programme=cast.programme, round=made, garden=cast.garden)
    return made


def a_planting(cast: Any) -> Planting:
    found = Planting.objects.filter(bed=cast.bed).first()
    return found or Planting.objects.create(
        programme=cast.programme,
        bed=cast.bed,
        crop_code="tomato",
        crop_name="Tomatoes",
        day=dt.date(2026, 5, 11),
    )


def a_log(cast: Any) -> FeedLog:
    return FeedLog.objects.create(
        programme=cast.programme, plot=cast.plot, bed=cast.bed, kind="fed", day=timezone.now().date(),
        by=cast.holder, at=timezone.now(),
    )  # fmt: skip


def of_round(cast: Any) -> dict[str, Any]:
    return {"programme": cast.programme.pk, "round": a_round(cast).pk}


def of_plot(cast: Any) -> dict[str, Any]:
    return {"programme": cast.programme.pk, "plot": cast.plot.pk}


def of_planting(cast: Any) -> dict[str, Any]:
    return {"programme": cast.programme.pk, "planting": a_planting(cast).pk}


ROUTES = [
    Route("home", "anyone", lambda cast: {}),
    Route("programme", "enter"),
    Route("rounds", "read"),
    Route("round_add", "organise", methods=("get", "post")),
    Route("round", "read", of_round),
    Route("round_change", "organise", of_round, methods=("get", "post")),
    Route("freeze", "organise", of_round, methods=("get", "post")),
    Route("round_batch", "read", of_round, methods=("get", "post"), change="organise"),
    Route("round_blend", "organise", of_round, methods=("get", "post")),
    Route("round_close", "organise", of_round, methods=("post",)),
    Route("slips", "read", of_round),
    Route("week", "read"),
    Route("plot", "own_plot", of_plot),
    Route("feed_log", "own_plot", of_plot, methods=("post",), change="own_plot"),
    Route(
        "feed_undo",
        "own_plot",
        lambda cast: {"programme": cast.programme.pk, "log": a_log(cast).pk},
        methods=("post",),
        change="own_plot",
    ),
    Route("own_rate", "organise", of_planting, methods=("get", "post")),
    Route("cap_lift", "organise", of_planting, methods=("get", "post")),
    Route(
        "garden_lift",
        "organise",
        lambda cast: {"programme": cast.programme.pk, "garden": cast.garden.pk},
        methods=("get", "post"),
    ),
]
