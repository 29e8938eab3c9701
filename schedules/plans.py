"""What a planned season looks like: feeds, plantings' plans, a bed's plan. Values only."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from schedules import soil as soils
from schedules.feeding import Timetable
from schedules.scoops import Scoops
from schedules.specs import BedSpec, BlendItem, Frozen, PlantingSpec
from schedules.working import Working

MM2 = 1_000_000
"""Square millimetres in a square metre."""
DUST_UG = 1_000
"""A milligram of nitrogen: what rounding alone can leave is not reported as "not fed"."""


@dataclass(frozen=True)
class Feed:
    """One feed of one planting. `weeks` it stands for; `share` of a full feed.

    `ug_n` and `blend_mg` are due; what was planned before the soil's account and the log is `planned_ug_n`. A
    skipped feed keeps its figures for the paper, but is not `due`. `line` is its one line of working.
    """

    number: int
    day: date
    weeks: int
    share: Fraction
    planned_ug_n: int
    ug_n: int
    blend_mg: int
    ug_boron: int | None  # None: not declared
    skipped: bool = False
    cut_by_soil: bool = False
    scoops: Scoops | None = None
    line: str = ""

    @property
    def due_mg(self) -> int:
        return 0 if self.skipped else self.blend_mg

    @property
    def due_ug_n(self) -> int:
        return 0 if self.skipped else self.ug_n


@dataclass(frozen=True)
class NotFed:
    """Nitrogen that this season's need asks for and the planting does not get; `code` says why."""

    code: str
    words: str
    ug_n: int


@dataclass(frozen=True)
class PlantingPlan:
    """One planting's season: its feeds in order of day, what it does not get, and the steps behind.

    `unit` is ug N/m2 of a full feed (after 6, 8 and a freeze), `interval` the weeks between feeds,
    `cap_blend` the most blend in one feed (ug/m2). `room_n` and `room_boron` are what step 7 leaves it on the
    day of its first feed (ug/m2, the smaller of bed and own area). `room_boron` is None where it is not
    known: the item's boron is not declared, or that of something given in the weeks before one of its feeds.
    """

    spec: PlantingSpec
    table: Timetable
    item: BlendItem
    feeds: tuple[Feed, ...]
    interval: int
    cap_blend: Fraction
    not_fed: tuple[NotFed, ...]
    room_n: Fraction = Fraction(0)
    room_boron: Fraction | None = None
    working: Working = field(default_factory=lambda: Working(""))
    notes: tuple[str, ...] = ()
    refused: str = ""
    reason: str = ""

    @property
    def key(self) -> str:
        return self.spec.key

    @property
    def unit(self) -> Fraction:
        return self.table.unit

    @property
    def assumed(self) -> bool:
        return self.table.assumed

    @property
    def line(self) -> str:
        return self.working.line

    @property
    def first(self) -> date | None:
        return self.feeds[0].day if self.feeds else None

    @property
    def stop(self) -> date | None:
        """The day of the last feed: after it, nothing."""
        return self.feeds[-1].day if self.feeds else None

    @property
    def frozen(self) -> Frozen:
        """What a freeze must keep so that later edits can only lower it."""
        return Frozen(self.table.unit, self.table.feeds, self.interval)

    def on(self, first: date, last: date) -> tuple[Feed, ...]:
        """The feeds of a span of days, both ends included."""
        return tuple(feed for feed in self.feeds if first <= feed.day <= last)


@dataclass(frozen=True)
class BedPlan:
    """A bed's season. `plantings` stand in the order given; `refused` is set when the bed gets none."""

    bed: BedSpec
    plantings: tuple[PlantingPlan, ...]
    account: soils.Soil
    refused: str = ""
    reason: str = ""

    @property
    def feeds(self) -> tuple[Feed, ...]:
        return tuple(
            sorted((feed for plan in self.plantings for feed in plan.feeds), key=lambda feed: feed.day)
        )

    def due_mg(self, first: date, last: date) -> int:
        """Blend due on this bed in a span of days, both ends included."""
        return sum(feed.due_mg for plan in self.plantings for feed in plan.on(first, last))

    def soil(self, on: date) -> tuple[Fraction, Fraction | None]:
        """Nitrogen and boron (ug/m2) that the soil got in the 48 weeks up to `on`, without skipped feeds; boron
        None where a part of it is not known.
        """
        out = soils.after_window_start(on, self.account.rules)
        fed = sum(f.due_ug_n for f in self.feeds if out < f.day <= on)
        entries = soils.entries_in_window(self.account, on)
        n = fed + sum(entry.ug_n for entry in entries)
        boron = self.account.boron(fed, entries)
        return (
            Fraction(n * MM2, self.bed.area_mm2),
            None if boron is None else boron * MM2 / self.bed.area_mm2,
        )
