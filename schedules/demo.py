"""The demo programme: an invented town, played through the same actions as people's clicks.

Its people and land stand in ``fixtures/demo.toml``; days are offsets from the first start. One round lies behind it,
mixed, handed out, counted and closed; one is ready for today: frozen, its first pail released, the second to weigh.
"""

from __future__ import annotations

import datetime as dt
import secrets
import tomllib
import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth.hashers import make_password
from django.db import transaction
from django.utils import timezone

from blends.actions.days import close_day, open_day, tick, weigh_scoops
from blends.actions.recipes import freeze_revision, start_blend
from blends.actions.release import release_pail
from blends.actions.scales import add_scale
from blends.actions.stock import adopt_material, count_place, receive_lot, state_loss
from blends.actions.weighing import weigh_out
from blends.models import Batch, Lot, Material, MixingDay, Pail, PailTarget, Place, Revision, Scale
from blends.safety import POINTS
from gardens.actions.land import add_bed, add_garden, add_plot, set_feeding
from gardens.actions.people import add_person, change_programme, give_role
from gardens.actions.tenancies import hold_plot, pass_on
from gardens.clock import standing_at
from gardens.models import Feeding, Garden, Person, Plot, Programme, RoleName, User
from gardens.quantities import parse_mass
from schedules.actions.desk import hand_out, hand_over
from schedules.actions.feeding import log_feed
from schedules.actions.founding import found_with_account
from schedules.actions.plantings import register_planting
from schedules.actions.rounds import close_round, freeze_round, mix_round, open_round
from schedules.models import Portion, Round

DATA = Path(__file__).resolve().parent.parent / "fixtures" / "demo.toml"
PASSWORD = "mixing-day-at-ostermere"
WEEKS = 4
KG = 1_000_000
#: Who signs in, by role, and which person of the data file that is (None: somebody of the programme only).
SIGN_INS: tuple[tuple[str, str, str, int | None], ...] = (
    (RoleName.ORGANISER, "organiser@ostermere.example", "Ilse Marchwood", None),
    (RoleName.STEWARD, "steward@ostermere.example", "Tamsin Rosewarne", None),
    (RoleName.STEWARD, "second.steward@ostermere.example", "Håkon Quarrington", None),
    (RoleName.AUDITOR, "auditor@ostermere.example", "Petra Wetherfell", None),
    (RoleName.HOLDER, "holder@ostermere.example", "", 0),
)


@dataclass
class Stage:
    """What the builder has set up so far."""

    programme: Programme
    organiser: Person
    today: dt.date
    zone: ZoneInfo
    stewards: list[Person] = field(default_factory=list)
    persons: list[Person] = field(default_factory=list)
    gardens: dict[str, Garden] = field(default_factory=dict)
    plots: list[tuple[Plot, dict[str, Any]]] = field(default_factory=list)
    lots: dict[int, Lot] = field(default_factory=dict)  # by material
    scales: list[Scale] = field(default_factory=list)

    def at(self, day: dt.date, hour: int, minute: int = 0) -> dt.datetime:
        return dt.datetime.combine(day, dt.time(hour, minute), self.zone)


def build(now: dt.datetime | None = None) -> Programme:
    """Everything, in one transaction; returns the programme."""
    data = tomllib.loads(DATA.read_text(encoding="utf-8"))
    with transaction.atomic():
        stage = _set_up(data, now or timezone.now())
        _land(stage, data)
        revision = _shed(stage)
        past = stage.today - dt.timedelta(weeks=WEEKS)
        _past_round(stage, revision, past)
        _change_hands(stage)
        _ready_round(stage, revision)
        return stage.programme


# People and land -----------------------------------------------------------------------------------------------------


def _set_up(data: dict[str, Any], now: dt.datetime) -> Stage:
    about = data["programme"]
    zone = ZoneInfo(about["zone"])
    today = now.astimezone(zone).date()
    with standing_at(dt.datetime.combine(today - dt.timedelta(days=120), dt.time(19), zone)):
        user, programme = found_with_account(
            email=SIGN_INS[0][1],
            password=PASSWORD,
            name=about["name"],
            zone=about["zone"],
            currency=about["currency"],
            units=about["units"],
            person_name=SIGN_INS[0][2],
        )
        organiser = Person.objects.get(programme=programme, user=user)
        programme = change_programme(
            programme=programme,
            by=organiser,
            planted_share=about["planted_share"],
            tub_mass_mg=parse_mass(about["tub"]).milligrams,
            emergency=about["emergency"],
            poison_line=about["poison_line"],
            authority_asked_by=about["asked_by"],
            authority_asked_on=today - dt.timedelta(days=90),
            authority_answer=about["answer"],
        )
        stage = Stage(programme, organiser, today, zone)
        for role, email, name, _ in SIGN_INS[1:4]:
            person = add_person(programme=programme, by=organiser, name=name, contact=email)
            _let_sign_in(person, email, role, organiser)
            if role == RoleName.STEWARD:
                stage.stewards.append(person)
    return stage


def _let_sign_in(person: Person, email: str, role: str, by: Person, *, password: str = PASSWORD) -> None:
    """An account as an invitation that was accepted leaves it; the default password is the one told."""
    user = User.objects.create(email=email, password=_hashed(password))
    Person.objects.filter(pk=person.pk).update(user=user)
    give_role(person=person, by=by, role=role)


@cache
def _hashed(password: str) -> str:
    """Hashing is slow on purpose; the invented persons whose password nobody knows share one hash."""
    return make_password(password)


def _land(stage: Stage, data: dict[str, Any]) -> None:
    unknown = secrets.token_urlsafe(20)
    begun = stage.today - dt.timedelta(days=110)
    with standing_at(stage.at(begun, 20)):
        for row in data["gardens"]:
            days = {
                name: stage.today + dt.timedelta(days=row[name])
                for name in ("last_frost", "first_frost", "first_feed", "last_feed")
            }
            stage.gardens[row["name"]] = add_garden(
                programme=stage.programme, by=stage.organiser, name=row["name"], **days
            )
        for number, row in enumerate(data["persons"]):
            person = add_person(
                programme=stage.programme,
                by=stage.organiser,
                name=row["name"],
                contact=row.get("contact", ""),
            )
            if number == SIGN_INS[4][3]:
                _let_sign_in(person, SIGN_INS[4][1], RoleName.HOLDER, stage.organiser)
            elif row["signs_in"]:
                email = f"person{number}@ostermere.example"
                _let_sign_in(person, email, RoleName.HOLDER, stage.organiser, password=unknown)
            stage.persons.append(person)
        for row in data["plots"]:
            stage.plots.append((_plot(stage, row, begun), row))
    for plot, row in stage.plots:
        for planting in row.get("plantings", []):
            day = stage.today + dt.timedelta(days=planting["day"])
            with standing_at(stage.at(day, 21)):
                register_planting(
                    bed=plot.beds.order_by("pk")[planting["bed"]],
                    by=stage.organiser,
                    crop_text=planting["crop"],
                    sown=planting["sown"],
                    day=day,
                    feed_on_request=planting.get("feed_on_request", False),
                )


def _plot(stage: Stage, row: dict[str, Any], begun: dt.date) -> Plot:
    by = stage.organiser
    plot = add_plot(
        programme=stage.programme,
        by=by,
        garden=stage.gardens[row["garden"]],
        label=row["label"],
        size_text=row.get("size", ""),
    )
    for size in row.get("beds", []):
        add_bed(plot=plot, by=by, name="", size_text=size, drains=size not in row.get("no_drain", []))
    if holders := [stage.persons[n] for n in row.get("holders", [])]:
        hold_plot(plot=plot, by=by, persons=holders, start=begun)
    if "feeding" in row:
        set_feeding(target=plot, by=by, feeding=row["feeding"], reason=row.get("reason", ""))
    if "nothing" in row:
        bed = plot.beds.order_by("pk")[row["nothing"]]
        set_feeding(target=bed, by=by, feeding=Feeding.NOTHING, reason="")
    return plot


# Shed and blend ------------------------------------------------------------------------------------------------------

RECIPE = (
    ("compound-16-16-16", 10_000_000, "10 kg"),
    ("magnesium-sulfate-heptahydrate", 1_500_000, "1.5 kg"),
    ("trace-concentrate", 150_000, "150 g"),
    ("perlite", 350_000, "350 g"),
)
LOTS = (
    ("C-01", 2, 25 * KG, 5_800, "Harbour Farm Store"),
    ("M-01", 1, 10 * KG, 1_250, "Harbour Farm Store"),
    ("T-01", 1, 1 * KG, 1_800, "Fen Street Supplies"),
    ("D-01", 1, 2 * KG, 600, "Fen Street Supplies"),
)


def _shed(stage: Stage) -> Revision:
    programme, by = stage.programme, stage.organiser
    day = stage.today - dt.timedelta(weeks=WEEKS, days=8)
    garden = stage.gardens["Lock Lane"]
    materials: list[Material] = []
    with standing_at(stage.at(day, 18)):
        for (code, _, _), (lot, bags, mass, price, supplier) in zip(RECIPE, LOTS, strict=True):
            material = adopt_material(programme=programme, by=by, code=code)
            stage.lots[material.pk] = receive_lot(
                programme=programme,
                by=by,
                material=material,
                code=lot,
                bags=bags,
                bag_mass_mg=mass,
                price_minor=price,
                supplier=supplier,
                day=day,
                garden=garden,
                spot="north shed",
                key=_key(stage, f"lot {lot}"),
            )
            materials.append(material)
        stage.scales = [
            add_scale(
                programme=programme, by=by, name="Scale A", division_mg=1_000, min_mg=20_000, max_mg=15 * KG
            ),
            add_scale(
                programme=programme, by=by, name="Scale B", division_mg=100, min_mg=2_000, max_mg=500_000
            ),
        ]
        blend = start_blend(programme=programme, by=by, name="All-round blend")
        lines = [(m, mass, text) for m, (_, mass, text) in zip(materials, RECIPE, strict=True)]
        return freeze_revision(blend=blend, by=by, lines=lines)


# A round that lies behind --------------------------------------------------------------------------------------------


def _past_round(stage: Stage, revision: Revision, day: dt.date) -> None:
    with standing_at(stage.at(day - dt.timedelta(days=5), 19)):
        mixing_day = _open_day(stage, day)
        past = _open_round(stage, revision, mixing_day, day + dt.timedelta(days=1))
        freeze_round(round=past, by=stage.organiser, now=timezone.now())
        batch = mix_round(round=past, by=stage.organiser, scales=stage.scales)
    moments = _minutes(stage.at(day, 9))
    _weigh(stage, mixing_day, batch, moments)
    _desk(stage, past, list(batch.pails.order_by("number")), moments)
    _count_and_close(stage, past, mixing_day, batch, moments)


def _open_day(stage: Stage, day: dt.date) -> MixingDay:
    return open_day(
        programme=stage.programme,
        by=stage.organiser,
        garden=stage.gardens["Lock Lane"],
        day=day,
        starts_at=dt.time(10),
        crew=stage.stewards,
    )


def _open_round(stage: Stage, revision: Revision, mixing_day: MixingDay, first_day: dt.date) -> Round:
    return open_round(
        programme=stage.programme,
        by=stage.organiser,
        gardens=list(stage.gardens.values()),
        first_day=first_day,
        weeks=WEEKS,
        revision=revision,
        mixing_day=mixing_day,
    )


def _minutes(begin: dt.datetime, step: int = 2) -> Iterator[dt.datetime]:
    """The moments at which things happen on a day, one after another."""
    moment = begin
    while True:
        yield moment
        moment += dt.timedelta(minutes=step)


def _tick_all(stage: Stage, day: MixingDay) -> None:
    for point in POINTS:
        tick(day=day, by=stage.stewards[0], point=point)


def _weigh(
    stage: Stage, day: MixingDay, batch: Batch, moments: Iterator[dt.datetime], *, pails: int | None = None
) -> None:
    """Weigh and release the first ``pails`` (None: all), each reading a step or so off its target."""
    with standing_at(next(moments)):
        _tick_all(stage, day)
    weigher, witness = stage.stewards
    for pail in batch.pails.order_by("number")[:pails]:
        for target in pail.targets.select_related("component__material", "scale").order_by("position"):
            with standing_at(next(moments)):
                _reading(stage, pail, target, weigher, witness)
        with standing_at(next(moments)):
            release_pail(pail=pail, by=witness)
    with standing_at(next(moments)):
        weigh_scoops(batch=batch, by=weigher, ten_scoops_mg=140_500)


def _reading(stage: Stage, pail: Pail, target: PailTarget, weigher: Person, witness: Person) -> None:
    component, scale = target.component, target.scale
    division = scale.division_mg
    off = (-1, 0, 1, 0)[(pail.number + target.position) % 4] * division
    shown = (2 * target.target_mg + division) // (2 * division) * division + off
    cup = 12_400 if scale.division_mg == 100 else 310_000
    weigh_out(
        pail=pail,
        component=component,
        by=weigher,
        lot=stage.lots[component.material_id],
        scale=scale,
        gross_mg=shown + cup,
        tare_mg=cup,
        key=_key(stage, f"weigh {pail.batch.number}/{pail.number}/{target.position}"),
        witness=witness if component.material.is_trace else None,
    )


def _desk(stage: Stage, past: Round, pails: list[Pail], moments: Iterator[dt.datetime]) -> None:
    """Most come; one plot's tub is served twice on two phones, one holder is told a little short, some never come."""
    portions = list(
        Portion.objects.filter(round=past)
        .select_related("plot__garden", "household", "round", "programme")
        .order_by("plot__garden__name", "pk")
    )
    twice = len(portions) // 2
    for number, portion in enumerate(portions):
        if number % 9 == 5:  # never came
            continue
        collector = portion.household.members.order_by("pk")[0].person
        by = stage.stewards[number % 2]
        pail = _pail_with(pails, portion.due_mg)
        with standing_at(next(moments)):
            first = hand_out(
                portion=portion,
                by=by,
                pail=pail,
                reading_mg=portion.due_mg,
                collected_by=collector,
                key=_key(stage, f"portion {portion.pk}"),
            )
        if number == twice:
            with standing_at(next(moments)):
                hand_out(
                    portion=portion,
                    by=stage.stewards[(number + 1) % 2],
                    pail=pail,
                    reading_mg=first.reading_mg,
                    collected_by=collector,
                    key=_key(stage, "the same portion, on the other phone"),
                    told=True,
                    happened_at=timezone.now(),
                    device="second phone",
                )
    with standing_at(next(moments)):
        state_loss(
            place=_pail_with(pails, 95_000).place,
            by=stage.stewards[0],
            mass_mg=95_000,
            reason="spilt beside the pail, swept up",
            key=_key(stage, "spilt"),
        )


def _pail_with(pails: list[Pail], mass_mg: int) -> Pail:
    """The first pail that holds as much."""
    for pail in pails:
        pail.place.refresh_from_db()
        if pail.place.balance_mg >= mass_mg:
            return pail
    return pails[-1]


def _count_and_close(
    stage: Stage, past: Round, mixing_day: MixingDay, batch: Batch, moments: Iterator[dt.datetime]
) -> None:
    for pail in batch.pails.order_by("number"):
        with standing_at(next(moments)):
            off = -3_000 if pail.number == 1 else 2_000
            pail.place.refresh_from_db()
            counted = max(0, pail.place.balance_mg + off)
            count_place(
                place=pail.place,
                by=stage.stewards[1],
                counted_mg=counted,
                key=_key(stage, f"count {batch.number}/{pail.number}"),
                day=mixing_day,
            )
    with standing_at(next(moments)):
        close_day(day=mixing_day, by=stage.organiser)
    with standing_at(stage.at(stage.today - dt.timedelta(days=2), 18)):
        close_round(round=past, by=stage.organiser)


# In between, and today -----------------------------------------------------------------------------------------------


def _change_hands(stage: Stage) -> None:
    """One plot changes hands in mid-season and its tub with it; a holder skips a feed."""
    plot, _ = stage.plots[20]
    day = stage.today - dt.timedelta(days=10)
    with standing_at(stage.at(day, 12)):
        old = plot.tenancies.select_related("household").get(until_day=None)
        new = pass_on(plot=plot, by=stage.organiser, persons=[stage.persons[-1]], day=day)
        batch = Batch.objects.get(programme=stage.programme, number=1)
        _hand_tub_over(stage, plot, old.household, new.household, batch)
    fed = next(p for p, row in stage.plots if row.get("plantings") and p.beds.exists())
    with standing_at(stage.at(stage.today - dt.timedelta(days=7), 18)):
        planting = fed.beds.order_by("pk")[0].plantings.first()
        log_feed(
            plot=fed,
            by=stage.persons[0],
            kind="skipped",
            day=stage.today - dt.timedelta(days=7),
            bed=fed.beds.order_by("pk")[0],
            planting=planting,
        )


def _hand_tub_over(stage: Stage, plot: Plot, old: Any, new: Any, batch: Batch) -> None:
    tub = Place.objects.filter(plot=plot, household=old, batch=batch).first()
    if tub is not None and tub.balance_mg:
        hand_over(
            plot=plot,
            giver=old,
            taker=new,
            batch=batch,
            by=stage.organiser,
            mass_mg=tub.balance_mg // 2000 * 1000,
            key=_key(stage, "tub to tub"),
            reason="the plot changed hands",
        )


def _ready_round(stage: Stage, revision: Revision) -> None:
    day = stage.today
    with standing_at(stage.at(day - dt.timedelta(days=3), 19)):
        mixing_day = _open_day(stage, day)
        ready = _open_round(stage, revision, mixing_day, day + dt.timedelta(days=1))
        freeze_round(round=ready, by=stage.organiser, now=timezone.now())
        batch = mix_round(round=ready, by=stage.organiser, scales=stage.scales)
    _weigh(stage, mixing_day, batch, _minutes(timezone.now() - dt.timedelta(minutes=40)), pails=1)


def _key(stage: Stage, what: str) -> uuid.UUID:
    return uuid.uuid5(uuid.NAMESPACE_URL, f"demo/{stage.programme.pk}/{what}")
