"""Addresses of the API: who may, by which right, and a body that names every foreign key it can."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

from django.urls import get_resolver
from django.utils import timezone

from blends.ledger import single
from blends.models import (
    Batch,
    Blend,
    Component,
    Flag,
    FlagCode,
    Material,
    Place,
    PlaceKind,
    TicketKind,
    WeighOut,
)
from gardens.models import Person, Plot, Tenancy
from schedules.models import Collection, FeedLog
from tests.house.routes import Route
from tests.house.routes_rounds import a_planting
from tests.play import move, play_day

World = Mapping[str, int]
Body = Callable[[World], Any]


@dataclass(frozen=True)
class Act:
    """What one method of an address asks for; ``body`` is one that could be taken."""

    right: str
    body: Body | None = None


def make_world(cast: Any, person: Person, garden: Any, plot: Plot) -> dict[str, int]:
    """A played day with one row of everything that an address or a body can name: ids by name."""
    household = Tenancy.objects.get(plot=plot).household
    stand_in = SimpleNamespace(
        programme=garden.programme, organiser=person, steward=person, second_steward=person, garden=garden,
        plot=plot, household=household, bed=plot.beds.get(),
    )  # fmt: skip
    played = play_day(stand_in, [(plot, household, 200_000)])  # type: ignore[arg-type]
    pail = played.pails[0]
    programme, portion = garden.programme, played.portions[plot.label]
    tub = Place.objects.create(
        programme=programme, kind=PlaceKind.TUB, plot=plot, household=household, batch=played.batch
    )
    ticket = move(programme, person, TicketKind.HAND_OUT, played.pail_place(), tub, 50_000)
    collection = Collection.objects.create(
        programme=programme, ticket=ticket, portion=portion, pail=pail, collected_by=person, reading_mg=50_000
    )
    lost = move(
        programme, person, TicketKind.LOSS, Place.objects.filter(lot=played.lots[0]).get(),
        single(programme, PlaceKind.LOST), 1_000, reason="spilt",
    )  # fmt: skip
    flag = Flag.objects.create(
        programme=programme, ticket=lost, code=FlagCode.LACKED, place=played.pail_place(), mass_mg=1_000
    )
    log = FeedLog.objects.create(
        programme=programme, plot=plot, bed=stand_in.bed, kind="fed", day=timezone.now().date(), by=person,
        at=timezone.now(),
    )  # fmt: skip
    component = Component.objects.filter(revision=played.revision).order_by("position")[0]
    return {
        "programme": programme.pk, "garden": garden.pk, "plot": plot.pk, "bed": stand_in.bed.pk,
        "planting": a_planting(stand_in).pk, "person": person.pk, "household": household.pk,
        "material": Material.objects.filter(programme=programme).order_by("pk")[0].pk, "lot": played.lots[0].pk,
        "place": Place.objects.get(lot=played.lots[0]).pk, "blend": Blend.objects.get(programme=programme).pk,
        "revision": played.revision.pk, "component": component.pk, "scale": played.scale.pk, "day": played.day.pk,
        "batch": Batch.objects.get(pk=played.batch.pk).pk, "pail": pail.pk,
        "weigh_out": WeighOut.objects.filter(pail=pail).order_by("pk")[0].pk, "round": played.round.pk,
        "portion": portion.pk, "collection": collection.pk, "flag": flag.pk, "ticket": lost.pk, "log": log.pk,
    }  # fmt: skip


DAY = f"{timezone.now().date()}"
LATER = f"{timezone.now().date() + dt.timedelta(days=90)}"
WHY = {"reason": "a slip of the pen"}
LABEL = {"label": {"N": "16"}, "slow": "no"}
SEASON = {
    "last_frost": "2026-04-20",
    "first_frost": "2026-10-20",
    "first_feed": "2026-05-04",
    "last_feed": "2026-09-14",
}
SHEET = {"sheet": "garden,plot\nLock Lane,99"}


def says(**body: Any) -> Body:
    """A body without foreign keys."""
    return lambda w: body


TABLE: dict[str, dict[str, Act]] = {
    "api_programme": {"get": Act("enter")},
    "api_jobs": {"get": Act("organise")},
    "api_gardens": {"get": Act("read"), "post": Act("organise", says(name="Chapel Steps", **SEASON))},
    "api_persons": {"get": Act("report"), "post": Act("organise", says(name="Ines Vidal"))},
    "api_hands": {"get": Act("read")},
    "api_plots": {
        "get": Act("read"),
        "post": Act("organise", lambda w: {"garden": w["garden"], "label": "40", "size": "3 x 6 m"}),
    },
    "api_plot": {"get": Act("read")},
    "api_beds": {"post": Act("organise", says(size="2 × 4 x 8 ft"))},
    "api_plot_feeding": {"put": Act("organise", says(feeding="nothing"))},
    "api_bed_feeding": {"put": Act("organise", says(feeding="none", reason="organic only"))},
    "api_tenancies": {
        "get": Act("report"),
        "post": Act("organise", lambda w: {"persons": [w["person"]], "day": DAY}),
    },
    "api_catalogue": {"get": Act("read")},
    "api_materials": {
        "get": Act("read"),
        "post": Act("organise", says(name="Urea 46", kind="straight", **LABEL)),
    },
    "api_material_adopt": {"post": Act("organise", says(code="urea"))},
    "api_declarations": {"post": Act("organise", says(**LABEL))},
    "api_lots": {
        "get": Act("read"),
        "post": Act(
            "organise",
            lambda w: {
                "material": w["material"], "garden": w["garden"], "code": "C-77", "bags": 1, "bag_mass": "25 kg",
                "price": "29.00", "day": DAY, "spot": "north shed",
            },
        ),
    },
    "api_stock": {"get": Act("read")},
    "api_place": {"get": Act("read")},
    "api_losses": {"post": Act("mix", says(mass="10 g", **WHY))},
    "api_moves": {"post": Act("mix", lambda w: {"mass": "1 kg", "garden": w["garden"], "spot": "south shed"})},
    "api_send_back": {"post": Act("organise", says(mass="1 kg", **WHY))},
    "api_counts": {"post": Act("mix", says(counted="3 kg", **WHY))},
    "api_blends": {"get": Act("read"), "post": Act("organise", says(name="Another"))},
    "api_draft": {
        "put": Act("organise", lambda w: {"lines": [{"material": w["material"], "amount": "10 kg"}]})
    },
    "api_revisions": {
        "get": Act("read"),
        "post": Act("organise", lambda w: {"lines": [{"material": w["material"], "mass": "10 kg"}]}),
    },
    "api_revision": {"get": Act("read")},
    "api_plan": {"post": Act("read", says(mass="12 kg"))},
    "api_scales": {
        "get": Act("read"),
        "post": Act("organise", says(name="Floor scale", division="5 g", maximum="30 kg")),
    },
    "api_days": {
        "get": Act("read"),
        "post": Act("organise", lambda w: {"garden": w["garden"], "day": LATER, "crew": [w["person"]]}),
    },
    "api_day": {"get": Act("read")},
    "api_crew": {"post": Act("organise", lambda w: {"person": w["person"]})},
    "api_safety": {"post": Act("mix", says(point="water"))},
    "api_safety_point": {"delete": Act("mix")},
    "api_batches": {
        "post": Act(
            "organise", lambda w: {"revision": w["revision"], "mass": "12 kg", "scales": [w["scale"]]}
        )
    },
    "api_close_day": {"post": Act("mix")},
    "api_batch": {"get": Act("read")},
    "api_scoops": {"put": Act("mix", says(ten_scoops="142 g"))},
    "api_pail": {"get": Act("read")},
    "api_weigh_outs": {
        "post": Act(
            "mix",
            lambda w: {
                "component": w["component"], "lot": w["lot"], "scale": w["scale"], "gross": "5 kg",
                "witness": w["person"],
            },
        )
    },
    "api_release": {"post": Act("mix", says())},
    "api_hold": {"post": Act("mix", says())},
    "api_weigh_out_correct": {
        "post": Act(
            "mix",
            lambda w: {
                **WHY, "component": w["component"], "lot": w["lot"], "scale": w["scale"], "gross": "5.21 kg",
                "witness": w["person"], "question_reason": "read twice",
            },
        )
    },
    "api_weigh_out_reverse": {"post": Act("mix", says(**WHY))},
    "api_look": {"post": Act("mix")},
    "api_sheets": {"post": Act("organise", says(**SHEET))},
    "api_sheet_preview": {"post": Act("organise", says(**SHEET))},
    "api_week": {"get": Act("read")},
    "api_plot_week": {"get": Act("own_plot")},
    "api_logs": {
        "post": Act(
            "own_plot_change", lambda w: {"kind": "skipped", "day": DAY, "bed": w["bed"], "planting": w["planting"]}
        )
    },
    "api_log": {"delete": Act("own_plot_change")},
    "api_plantings": {
        "get": Act("own_plot"),
        "post": Act("own_plot_change", lambda w: {"bed": w["bed"], "crop": "peas", "day": DAY, "share": 5}),
    },
    "api_planting_end": {"post": Act("own_plot_change", says(day=LATER))},
    "api_hand_over": {
        "post": Act(
            "mix",
            lambda w: {"giver": w["household"], "taker": w["household"], "batch": w["batch"], "mass": "20 g"},
        )
    },
    "api_rounds": {
        "get": Act("read"),
        "post": Act(
            "organise",
            lambda w: {
                "gardens": [w["garden"]], "first_day": LATER, "weeks": 4, "revision": w["revision"],
                "mixing_day": w["day"],
            },
        ),
    },
    "api_round": {
        "get": Act("read"),
        "patch": Act(
            "organise",
            lambda w: {"gardens": [w["garden"]], "revision": w["revision"], "mixing_day": w["day"]},
        ),
    },
    "api_demand": {"get": Act("read")},
    "api_freeze": {"post": Act("organise")},
    "api_exchange": {"post": Act("organise", lambda w: {"revision": w["revision"]})},
    "api_mix": {"post": Act("organise", lambda w: {"scales": [w["scale"]]})},
    "api_close_round": {"post": Act("organise")},
    "api_portions": {"get": Act("read")},
    "api_desk": {"get": Act("read")},
    "api_portion": {"get": Act("read")},
    "api_collections": {
        "post": Act("mix", lambda w: {"pail": w["pail"], "collected_by": w["person"], "reading": "100 g"})
    },
    "api_taken_back": {"post": Act("mix", lambda w: {"mass": "10 g", "batch": w["batch"], **WHY})},
    "api_collection": {"get": Act("read")},
    "api_collection_correct": {
        "post": Act(
            "mix", lambda w: {"reading": "60 g", "pail": w["pail"], "collected_by": w["person"], **WHY}
        )
    },
    "api_collection_reverse": {"post": Act("mix", says(**WHY))},
    "api_flags": {"get": Act("read")},
    "api_settle": {"post": Act("organise", says(**WHY))},
    "api_totals": {"get": Act("report")},
    "api_tickets": {"get": Act("report")},
    "api_ticket": {"get": Act("report")},
    "api_ticket_reverse": {"post": Act("organise", says(**WHY))},
}  # fmt: skip

#: For nobody in particular: no programme in the address.
OUTSIDE = {
    "api_schema": "anyone", "api_docs": "anyone", "api_token": "anyone", "api_programmes": "signed_in",
    "api_area": "signed_in", "api_analysis": "signed_in", "api_batch_calculation": "signed_in",
    "api_allocation": "signed_in", "api_dose": "signed_in",
}  # fmt: skip


def arguments(name: str, world: World) -> dict[str, Any]:
    """What the address takes, out of a world."""
    ((_, params),) = [found[0][0] for found in get_resolver().reverse_dict.getlist(name)]
    return {param: world.get(param, "water") for param in params}


@dataclass
class Named(dict[str, int]):
    """A world that remembers which of its rows a body named."""

    world: World = field(default_factory=dict)
    named: set[str] = field(default_factory=set)

    def __getitem__(self, key: str) -> int:
        self.named.add(key)
        return self.world[key]


def keys_in(body: Body | None, world: World) -> list[str]:
    """The foreign keys that a body names."""
    watched = Named(world=world)
    if body is not None:
        body(watched)
    return sorted(watched.named)


def _of(name: str) -> Callable[[Any], dict[str, Any]]:
    def kwargs(cast: Any) -> dict[str, Any]:
        world = vars(cast).setdefault("api_world", None) or make_world(
            cast, cast.organiser, cast.garden, cast.plot
        )
        vars(cast)["api_world"] = world
        return arguments(name, world)

    return kwargs


def _route(name: str, acts: dict[str, Act]) -> Route:
    rights = {method: act.right.removesuffix("_change") for method, act in acts.items()}
    read = rights.get("get", next(iter(rights.values())))
    change = next((right for method, right in rights.items() if method != "get" and right != read), "")
    return Route(name, read, _of(name), methods=tuple(acts), change=change)


ROUTES = [
    *(Route(name, right, lambda cast: {}) for name, right in OUTSIDE.items()),
    *(_route(name, acts) for name, acts in TABLE.items()),
]
