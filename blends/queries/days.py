"""The mixing day's page: how far it is, pail by pail."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from blends.actions.days import pails_to_count
from blends.models import Batch, Count, Crew, MixingDay, Pail, Place, PlaceKind, SafetyTick, Scale
from blends.queries.pails import PailState, full_pails, pail_state
from blends.safety import POINTS
from gardens.models import Person, RoleName


@dataclass(frozen=True)
class BatchState:
    batch: Batch
    pails: tuple[PailState, ...]

    @property
    def weighed(self) -> int:
        return sum(1 for p in self.pails for c in p.components if c.complete)

    @property
    def to_weigh(self) -> int:
        return sum(len(p.components) for p in self.pails)

    @property
    def released(self) -> int:
        return sum(1 for p in self.pails if p.released)


@dataclass(frozen=True)
class DayState:
    """``uncounted`` are pails that changed since they were last counted."""

    day: MixingDay
    crew: tuple[Crew, ...]
    ticks: Mapping[str, SafetyTick]
    batches: tuple[BatchState, ...]
    scales: tuple[Scale, ...]
    counts: Mapping[int, Count]  # the last of each place
    uncounted: tuple[Pail, ...]

    @property
    def safe(self) -> bool:
        return all(point in self.ticks for point in POINTS)

    @property
    def pails(self) -> tuple[PailState, ...]:
        return tuple(p for b in self.batches for p in b.pails)

    @property
    def next_pail(self) -> PailState | None:
        """The first pail with something to weigh, else to decide about."""
        pails = self.pails
        return next((p for p in pails if p.missing), None) or next((p for p in pails if not p.released), None)

    @property
    def weighed(self) -> int:
        return sum(b.weighed for b in self.batches)

    @property
    def to_weigh(self) -> int:
        return sum(b.to_weigh for b in self.batches)

    @property
    def released(self) -> int:
        return sum(b.released for b in self.batches)

    @property
    def scoops_wanted(self) -> tuple[Batch, ...]:
        return tuple(b.batch for b in self.batches if b.batch.ten_scoops_mg is None)


def day_state(day: MixingDay) -> DayState:
    """All of a day in a constant count of queries."""
    states = [pail_state(p) for p in full_pails(Pail.objects.filter(batch__day=day).order_by("number"))]
    batches = Batch.objects.filter(day=day).select_related("revision__blend", "scoop_by").order_by("number")
    counts = Count.objects.filter(day=day, place__kind=PlaceKind.PAIL).select_related("by").order_by("id")
    return DayState(
        day=day,
        crew=tuple(Crew.objects.filter(day=day).select_related("person").order_by("person__name")),
        ticks={t.point: t for t in SafetyTick.objects.filter(day=day).select_related("by")},
        batches=tuple(BatchState(b, tuple(s for s in states if s.pail.batch_id == b.pk)) for b in batches),
        scales=tuple(Scale.objects.filter(programme=day.programme, retired=False)),
        counts={c.place_id: c for c in counts},
        uncounted=tuple(pails_to_count(day)),
    )


def hands(day: MixingDay) -> tuple[Person, ...]:
    """Who may witness: people of the programme, the day's crew and those who mix first."""
    crew = set(Crew.objects.filter(day=day).values_list("person_id", flat=True))
    mixes = {RoleName.ORGANISER, RoleName.STEWARD}
    persons = Person.objects.filter(programme=day.programme, erased_at=None).prefetch_related("roles")
    return tuple(
        sorted(
            persons,
            key=lambda p: (p.pk not in crew, not any(r.name in mixes for r in p.roles.all()), p.name, p.pk),
        )
    )


def released_places(day: MixingDay) -> list[Place]:
    """Places of the day's pails, released or not, in order."""
    return list(
        Place.objects.filter(kind=PlaceKind.PAIL, pail__batch__day=day)
        .select_related("pail__batch")
        .order_by("pail__batch__number", "pail__number")
    )
