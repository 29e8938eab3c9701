"""Doors of the desk and of the books behind it."""

from __future__ import annotations

from typing import Any

from blends.models import Flag
from schedules.actions import desk
from schedules.models import Collection, Portion
from tests.house.routes import Route
from tests.play import Day, key, play_day


def _played(cast: Any) -> Day:
    """One day per cast, played when it is first asked for: plot 17 was told 200 g twice."""
    if not hasattr(cast, "played"):
        cast.played = play_day(cast)
        for _ in range(2):
            desk.hand_out(
                portion=cast.played.portions["17"], by=cast.steward, pail=cast.played.pails[0], reading_mg=200_000,
                collected_by=cast.holder, key=key(), told=True,
            )  # fmt: skip
    played: Day = cast.played
    return played


def _day(cast: Any) -> dict[str, Any]:
    return {"programme": cast.programme.pk, "day": _played(cast).day.pk}


def _portion(cast: Any) -> dict[str, Any]:
    _played(cast)
    return {"programme": cast.programme.pk, "portion": Portion.objects.get(programme=cast.programme).pk}


def _collection(cast: Any) -> dict[str, Any]:
    _played(cast)
    return {"programme": cast.programme.pk, "pk": Collection.objects.filter(programme=cast.programme)[0].pk}


def _ticket(cast: Any) -> dict[str, Any]:
    _played(cast)
    return {
        "programme": cast.programme.pk,
        "pk": Collection.objects.filter(programme=cast.programme)[0].ticket_id,
    }


def _place(cast: Any) -> dict[str, Any]:
    return {"programme": cast.programme.pk, "pk": _played(cast).pail_place().pk}


def _flag(cast: Any) -> dict[str, Any]:
    _played(cast)
    return {"programme": cast.programme.pk, "pk": Flag.objects.get(programme=cast.programme).pk}


BOTH = ("get", "post")
ROUTES = [
    Route("desk", "read", _day),
    Route("sign_out_list", "read", _day),
    Route("desk_plot", "mix", _portion, BOTH),
    Route("take_back", "mix", _portion, BOTH),
    Route("hand_over", "mix", _portion, BOTH),
    Route("collection", "read", _collection),
    Route("collection_correct", "mix", _collection, BOTH),
    Route("totals", "report"),
    Route("totals_csv", "report"),
    Route("tickets", "report"),
    Route("ticket", "report", _ticket),
    Route("ticket_reverse", "organise", _ticket, BOTH),
    Route("place", "report", _place),
    Route("to_settle", "report"),
    Route("settle", "organise", _flag, BOTH),
]
