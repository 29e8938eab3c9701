"""Addresses of the shed, the recipes and the mixing day."""

from __future__ import annotations

from typing import Any

from blends.models import WeighOut
from tests.blends.shed import Weighing, start_weighing
from tests.house.routes import Route


def a_day(cast: Any) -> Weighing:
    """The cast's mixing day with two readings in pail 1, made once."""
    if not hasattr(cast, "weighing"):
        cast.weighing = start_weighing(cast)
        cast.weighing.weigh("compound")
        cast.weighing.weigh("trace", witness=None, alone=True)
    return cast.weighing  # type: ignore[no-any-return]


def of(cast: Any, **more: Any) -> dict[str, Any]:
    return {"programme": cast.programme.pk, **more}


def of_day(cast: Any) -> dict[str, Any]:
    return of(cast, day=a_day(cast).day.pk)


def of_pail(cast: Any) -> dict[str, Any]:
    return of(cast, pail=a_day(cast).pail.pk)


def of_weighing(cast: Any) -> dict[str, Any]:
    return of_pail(cast) | {"component": a_day(cast).target("magnesium").component_id}


def of_lot_place(cast: Any) -> dict[str, Any]:
    return of(cast, place=a_day(cast).shed.lots[0].places.get().pk)


def of_reading(cast: Any) -> dict[str, Any]:
    a_day(cast)
    return of(cast, weigh_out=WeighOut.objects.filter(programme=cast.programme, alone=True).get().pk)


BOTH = ("get", "post")
ROUTES = [
    Route("materials", "read", methods=BOTH, change="organise"),
    Route("material_add", "organise", methods=BOTH),
    Route("material", "read", lambda c: of(c, material=a_day(c).shed.materials[0].pk), BOTH, "organise"),
    Route("lots", "read"),
    Route("lot_add", "organise", methods=BOTH),
    Route("lot", "organise", lambda c: of(c, lot=a_day(c).shed.lots[0].pk), BOTH),
    Route("stock", "read"),
    Route("count", "mix", of_lot_place, BOTH),
    Route("loss", "mix", of_lot_place, BOTH),
    Route("lot_move", "mix", of_lot_place, BOTH),
    Route("lot_send_back", "organise", of_lot_place, BOTH),
    Route("blends", "read", methods=BOTH, change="organise"),
    Route("blend", "read", lambda c: of(c, blend=a_day(c).shed.revision.blend_id)),
    Route("blend_draft", "organise", lambda c: of(c, blend=a_day(c).shed.revision.blend_id), BOTH),
    Route("revision", "read", lambda c: of(c, revision=a_day(c).shed.revision.pk)),
    Route("scales", "read", methods=BOTH, change="mix"),
    Route("days", "read"),
    Route("day_add", "organise", methods=BOTH),
    Route("day", "read", of_day),
    Route("safety", "read", of_day, BOTH, "mix"),
    Route("crew", "read", of_day, BOTH, "organise"),
    Route("batch_add", "organise", of_day, BOTH),
    Route("close_day", "read", of_day, BOTH, "mix"),
    Route("run_sheet", "read", of_day),
    Route("tub_labels", "read", of_day),
    Route("scoops", "mix", lambda c: of(c, batch=a_day(c).batch.pk), BOTH),
    Route("pail", "read", of_pail),
    Route("pail_decide", "mix", of_pail, ("post",)),
    Route("weigh", "mix", of_weighing, BOTH),
    Route("weigh_net", "mix", of_weighing),
    Route("weigh_correct", "mix", of_reading, BOTH),
    Route("look", "mix", of_reading, ("post",)),
]
