"""The mixing day: opening it, its crew and safety list, its batches, its end."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence

from django.db import IntegrityError, transaction
from django.db.models import BigIntegerField, F, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from django.utils import timezone

from blends.actions.release import hold_pail, release_pail
from blends.actions.weighing import correct_weigh_out, look_at, reverse_weigh_out, weigh_out
from blends.models import (
    Batch,
    Component,
    Count,
    Crew,
    DayState,
    Gate,
    MixingDay,
    Movement,
    Pail,
    PailTarget,
    Place,
    PlaceKind,
    Revision,
    SafetyTick,
    Scale,
    TicketKind,
    WeighOut,
)
from blends.planning import Planned, plan_pails
from blends.refusals import told_kindly
from blends.safety import POINTS
from gardens.clock import today
from gardens.models import Garden, Person, Programme
from gardens.refusals import InTheWay, Refused

__all__ = [
    "add_crew",
    "close_day",
    "correct_weigh_out",
    "drop_crew",
    "hold_pail",
    "look_at",
    "open_day",
    "release_pail",
    "reverse_weigh_out",
    "start_batch",
    "tick",
    "untick",
    "weigh_out",
    "weigh_scoops",
]

FAR_OFF = dt.timedelta(days=366)
MOST_PAILS = 500


@transaction.atomic
def open_day(
    *,
    programme: Programme,
    by: Person,
    garden: Garden,
    day: dt.date,
    starts_at: dt.time | None = None,
    crew: Iterable[Person] = (),
) -> MixingDay:
    """A day at a garden, with its stewards."""
    if abs(day - today(programme)) > FAR_OFF:
        raise Refused("far_off", "A mixing day lies within a year of today.", "day")
    if MixingDay.objects.filter(programme=programme, garden=garden, day=day).exists():
        raise _have_it(garden)
    try:
        with transaction.atomic():
            made = MixingDay.objects.create(programme=programme, garden=garden, day=day, starts_at=starts_at)
    except IntegrityError:  # somebody opened it a moment ago
        raise _have_it(garden) from None
    for person in crew:
        add_crew(day=made, by=by, person=person)
    return made


def _have_it(garden: Garden) -> InTheWay:
    return InTheWay("have_it", f"There is a mixing day at {garden.name} on that date already.", "day")


@transaction.atomic
def add_crew(*, day: MixingDay, by: Person, person: Person) -> Crew:
    """One more steward of the day; twice is once."""
    _open(day)
    return Crew.objects.get_or_create(programme=day.programme, day=day, person=person)[0]


@transaction.atomic
def drop_crew(*, day: MixingDay, by: Person, person: Person) -> None:
    _open(day)
    Crew.objects.filter(day=day, person=person).delete()


@transaction.atomic
def tick(*, day: MixingDay, by: Person, point: str) -> SafetyTick:
    """A point of the safety list is seen to; twice is once."""
    _open(day)
    if point not in POINTS:
        raise Refused("point", "That is no point of the safety list.", "point")
    return SafetyTick.objects.get_or_create(
        programme=day.programme, day=day, point=point, defaults={"by": by, "at": timezone.now()}
    )[0]


@transaction.atomic
def untick(*, day: MixingDay, by: Person, point: str) -> None:
    """Ticked too soon; once something is weighed the list stands."""
    _open(day)
    if WeighOut.objects.filter(pail__batch__day=day).exists():
        raise InTheWay("begun", "Weighing has begun: the list stands as it was ticked.")
    SafetyTick.objects.filter(day=day, point=point).delete()


@transaction.atomic
def start_batch(
    *,
    day: MixingDay,
    by: Person,
    revision: Revision,
    mass_mg: int,
    scales: Sequence[Scale] | None = None,
) -> Batch:
    """Equal pails, each with its targets and its place, on the scales there are (None: all in use)."""
    _open(day)
    programme = Programme.objects.select_for_update(no_key=True).get(pk=day.programme_id)
    usable = list(Scale.objects.filter(programme=programme, retired=False) if scales is None else scales)
    components = list(revision.components.select_related("material", "declaration"))
    with told_kindly("mass"):
        planned = plan_pails(components, usable, mass_mg, density_g_ml=revision.bulk_density)
    if len(planned.pails_mg) > MOST_PAILS:
        raise Refused(
            "many_pails", f"That is {len(planned.pails_mg)} pails: mix it in several batches.", "mass"
        )
    batch = Batch.objects.create(
        programme=programme,
        day=day,
        number=Batch.objects.filter(programme=programme).count() + 1,
        revision=revision,
        mass_mg=mass_mg,
    )
    _make_pails(batch, planned, {c.pk: c for c in components}, {s.pk: s for s in usable})
    return batch


def _make_pails(
    batch: Batch, planned: Planned, components: dict[int, Component], scales: dict[int, Scale]
) -> None:
    programme = batch.programme
    pails = Pail.objects.bulk_create(
        Pail(programme=programme, batch=batch, number=number, target_mg=mass)
        for number, mass in enumerate(planned.pails_mg, start=1)
    )
    Place.objects.bulk_create(
        Place(programme=programme, kind=PlaceKind.PAIL, pail=pail, garden=batch.day.garden, gate=Gate.FILLING)
        for pail in pails
    )
    PailTarget.objects.bulk_create(
        PailTarget(
            programme=programme,
            pail=pail,
            component=components[int(wanted.target.part.key)],
            scale=scales[wanted.scale_id],
            position=position,
            target_mg=wanted.target.target_mg,
        )
        for pail in pails
        for position, wanted in enumerate(planned.of(pail.target_mg), start=1)
    )


@transaction.atomic
def weigh_scoops(*, batch: Batch, by: Person, ten_scoops_mg: int) -> Batch:
    """What ten struck scoops weigh: one figure for the batch, a later one replaces it."""
    if not 5_000 <= ten_scoops_mg <= 5_000_000:
        raise Refused(
            "scoops", "Ten struck scoops weigh between 5 g and 5 kg: weigh all ten together.", "ten_scoops"
        )
    Batch.objects.filter(pk=batch.pk).update(ten_scoops_mg=ten_scoops_mg, scoop_by=by)
    batch.ten_scoops_mg, batch.scoop_by = ten_scoops_mg, by
    return batch


@transaction.atomic
def close_day(*, day: MixingDay, by: Person) -> MixingDay:
    """Counted and finished: each pail that held something was counted since it last changed."""
    _hold_still(day)
    uncounted = [str(pail) for pail in pails_to_count(day)]
    if uncounted:
        raise InTheWay("uncounted", f"Count first: {', '.join(uncounted)}.")
    closed = MixingDay.objects.filter(pk=day.pk, state=DayState.OPEN).update(
        state=DayState.CLOSED, closed_at=timezone.now(), closed_by=by
    )
    if not closed:
        raise InTheWay("day_closed", "The day is closed already; nothing changed.")
    day.refresh_from_db()
    return day


def _hold_still(day: MixingDay) -> None:
    """Weigh-outs and hand-outs under way are done first; those that come after find the day closed."""
    pails = Pail.objects.select_for_update(of=("self",), no_key=True).filter(batch__day=day)
    released = Q(programme=day.programme_id, kind=PlaceKind.PAIL, gate=Gate.RELEASED)
    places = Place.objects.select_for_update(of=("self",), no_key=True).filter(
        Q(pail__batch__day=day) | released
    )
    list(pails.order_by("pk").values_list("pk"))
    list(places.order_by("-pk").values_list("pk"))


def pails_to_count(day: MixingDay) -> list[Pail]:
    """Pails of the day, or left from earlier ones and handed out of on it, that changed since their count."""

    def last(**place: OuterRef) -> Subquery:
        return Subquery(Movement.objects.filter(**place).order_by("-ticket_id").values("ticket_id")[:1])

    number: BigIntegerField[int, int] = BigIntegerField()
    counted = Count.objects.filter(place__pail=OuterRef("pk"), day=day).order_by("-ticket_id")
    pails = (
        Pail.objects.filter(batch__day=day)
        .select_related("batch", "place")
        .annotate(
            came=Coalesce(last(target__pail=OuterRef("pk")), 0, output_field=number),
            went=Coalesce(last(source__pail=OuterRef("pk")), 0, output_field=number),
            counted=Coalesce(Subquery(counted.values("ticket_id")[:1]), 0, output_field=number),
        )
        .order_by("batch__number", "number")
    )
    own = list(pails.filter(Q(came__gt=F("counted")) | Q(went__gt=F("counted"))))
    return [*_drawn_from(day), *own]


def _drawn_from(day: MixingDay) -> list[Pail]:
    """Pails of closed days that something was handed out of from this day on, since anybody counted them.

    What is told late of a pail that is gone, with nothing in it by the book, asks for no count.
    """
    count = Count.objects.filter(place=OuterRef("source")).order_by("-ticket_id").values("ticket_id")[:1]
    moves = (
        Movement.objects.filter(programme=day.programme_id, ticket__kind=TicketKind.HAND_OUT)
        .filter(ticket__day__gte=day.day, source__pail__batch__day__state=DayState.CLOSED)
        .filter(Q(ticket__told=False) | Q(source__balance_mg__gt=0))
        .exclude(source__pail__batch__day=day)
        .annotate(counted=Coalesce(Subquery(count), 0, output_field=BigIntegerField()))
        .filter(ticket_id__gt=F("counted"))
    )
    pails = Pail.objects.filter(pk__in=moves.values("source__pail")).select_related("batch", "place")
    return list(pails.order_by("batch__number", "number"))


def _open(day: MixingDay) -> None:
    if not MixingDay.objects.filter(pk=day.pk, state=DayState.OPEN).exists():
        raise InTheWay("day_closed", "That mixing day is closed.")
