"""A programme with at least one row in every table, for tests that go through all of them."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.utils import timezone

from blends.models import (
    Batch,
    Blend,
    Count,
    Look,
    MixingDay,
    Pail,
    PailDecision,
    Place,
    PlaceKind,
    Revision,
    SafetyTick,
    Ticket,
    WeighOut,
)
from gardens.models import Household, Invitation, Job, Person, Planting, Plot
from schedules.models import CapLift, FrozenLine, OwnRate, Round, Snapshot
from tests.cast import make_garden
from tests.house.routes_api import make_world


def everything(cast: Any) -> dict[str, int]:
    """``make_world`` and a row of whatever it leaves out; each thing that one other may have alone, twice."""
    world = make_world(cast, cast.organiser, cast.garden, cast.plot)
    at: dict[str, Any] = {"programme": cast.programme}
    now, person = timezone.now(), cast.organiser
    planting = Planting.objects.get(pk=world["planting"])
    round_, revision = Round.objects.get(pk=world["round"]), Revision.objects.get(pk=world["revision"])
    day, pail = MixingDay.objects.get(pk=world["day"]), Pail.objects.get(pk=world["pail"])
    weigh_out = WeighOut.objects.get(pk=world["weigh_out"])

    Invitation.objects.create(
        **at, person=person, email="new@ostermere.example", role="steward", digest=uuid.uuid4().hex,
        expires_at=now, invited_by=person,
    )  # fmt: skip
    Job.objects.create(**at, kind="verify", key="today", due_at=now, asked_by=person)
    SafetyTick.objects.create(**at, day=day, point="water", by=person, at=now)
    Look.objects.create(**at, weigh_out=weigh_out, by=person, at=now)
    PailDecision.objects.create(**at, pail=pail, verdict="held", by=person, at=now)
    place, ticket = Place.objects.get(pk=world["place"]), Ticket.objects.get(pk=world["ticket"])
    counted: dict[str, Any] = {"counted_mg": 1, "book_mg": 1, "band_mg": 0, "weighings": 1}
    Count.objects.create(**at, place=place, ticket=ticket, day=day, by=person, at=now, **counted)
    snapshot = Snapshot.objects.create(**at, round=round_, number=1, revision=revision, by=person, at=now)
    FrozenLine.objects.create(
        **at, snapshot=snapshot, plot=cast.plot, bed=cast.bed, planting=planting, area_mm2=1, mass_mg=1
    )
    OwnRate.objects.create(
        **at, planting=planting, written="20 g/m2", of="blend", per="area", ug_m2=1, first_day=day.day,
        reason="trial", by=person, at=now,
    )  # fmt: skip
    lift: dict[str, Any] = {**at, "cap": "feed_n", "to_ug_m2": 1, "reason": "trial", "by": person, "at": now}
    CapLift.objects.create(**lift, planting=planting)
    CapLift.objects.create(**lift, garden=cast.garden)
    _alone(cast, at, planting, revision)
    return world


def _alone(cast: Any, at: dict[str, Any], planting: Planting, revision: Revision) -> None:
    """Things that nothing points to yet: a wrong pointer to them breaks the wall and no other rule."""
    garden = make_garden(cast.programme, "Alone")
    plot = Plot.objects.create(**at, garden=garden, label="alone")
    household = Household.objects.create(**at, name="Alone")
    Person.objects.create(**at, name="Alone")
    planting.pk = None
    planting.save()
    blend = Blend.objects.create(**at, name="Alone")
    alone = Revision.objects.create(**at, blend=blend, number=99, by=cast.organiser)
    day = MixingDay.objects.create(**at, garden=garden, day=dt.date(2026, 6, 6))
    batch = Batch.objects.create(**at, day=day, number=99, revision=revision, mass_mg=1)
    Pail.objects.create(**at, batch=batch, number=99, target_mg=1)
    first_day = dt.date(2026, 7, 6)
    Round.objects.create(**at, number=99, first_day=first_day, revision=alone, made_by=cast.organiser)
    Place.objects.create(**at, kind=PlaceKind.TUB, plot=plot, household=household, batch=batch)
