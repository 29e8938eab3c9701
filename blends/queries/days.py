"""The mixing day's page: how far it is, pail by pail."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Exists, OuterRef

from blends.actions.days import pails_to_count
from blends.models import Batch, Count, Crew, MixingDay, Pail, PlaceKind, SafetyTick, Scale
from blends.queries.pails import PailState, full_pails, pail_state
from blends.safety import POINTS
from gardens.models import Person, Role, RoleName


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


def day_state(day: MixingDay, *, with_counts: bool = False, only_pails: bool = False) -> DayState:
    """All of a day in a constant count of queries.

    ``counts`` and ``uncounted`` where they are asked for; ``only_pails`` leaves out crew, ticks and scales.
    """
    pails = full_pails(Pail.objects.filter(batch__day=day).order_by("batch__number", "number"))
    states = [pail_state(p) for p in pails]
    batches = {s.pail.batch_id: s.pail.batch for s in states}
    crew = Crew.objects.none() if only_pails else Crew.objects.filter(day=day)
    ticks = SafetyTick.objects.none() if only_pails else SafetyTick.objects.filter(day=day)
    scales = Scale.objects.none() if only_pails else Scale.objects.filter(programme=day.programme_id)
    return DayState(
        day=day,
        crew=tuple(crew.select_related("person").order_by("person__name")),
        ticks={t.point: t for t in ticks.select_related("by")},
        batches=tuple(
            BatchState(b, tuple(s for s in states if s.pail.batch_id == pk)) for pk, b in batches.items()
        ),
        scales=tuple(scales.filter(retired=False)),
        counts=_counts(day) if with_counts else {},
        uncounted=tuple(pails_to_count(day)) if with_counts else (),
    )


def _counts(day: MixingDay) -> dict[int, Count]:
    rows = Count.objects.filter(day=day, place__kind=PlaceKind.PAIL).select_related("by").order_by("id")
    return {c.place_id: c for c in rows}


def hands(day: MixingDay) -> tuple[Person, ...]:
    """Who may witness: people of the programme, the day's crew first, then those who mix."""
    mixes = [RoleName.ORGANISER, RoleName.STEWARD]
    return tuple(
        Person.objects.filter(programme=day.programme_id, erased_at=None)
        .annotate(
            helps=Exists(Crew.objects.filter(day=day, person=OuterRef("pk"))),
            mixes=Exists(Role.objects.filter(person=OuterRef("pk"), name__in=mixes)),
        )
        .order_by("-helps", "-mixes", "name", "pk")
    )
