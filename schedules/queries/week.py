"""Everybody's week: what each plot puts on its beds."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from gardens.clock import week_of
from gardens.models import Garden, Member, Plot, Programme
from schedules.models import LogKind
from schedules.queries.my_plot import DAY, WEEK, Dose, doses_of
from schedules.queries.plans import Surface, key_of, land_on


@dataclass(frozen=True)
class PlotRow:
    plot: Plot
    holders: str
    doses: tuple[Dose, ...]
    note: str = ""

    @property
    def due(self) -> tuple[Dose, ...]:
        return tuple(d for d in self.doses if d.feed is not None and d.feed.blend_mg)

    @property
    def mg(self) -> int:
        return sum(d.due_mg for d in self.due)

    @property
    def assumed(self) -> bool:
        return any(d.plan.assumed for d in self.due)


@dataclass(frozen=True)
class Week:
    first: dt.date
    gardens: tuple[tuple[Garden, tuple[PlotRow, ...]], ...]
    problems: tuple[tuple[Surface, str], ...]

    @property
    def last(self) -> dt.date:
        return self.first + WEEK - DAY

    @cached_property
    def rows(self) -> tuple[PlotRow, ...]:
        return tuple(row for _, rows in self.gardens for row in rows)

    @property
    def mg(self) -> int:
        return sum(row.mg for row in self.rows)

    @property
    def assumed_mg(self) -> int:
        return sum(d.due_mg for row in self.rows for d in row.due if d.plan.assumed)

    @property
    def fed(self) -> int:
        return sum(1 for row in self.rows if row.mg)


def week_of_all(programme: Programme, day: dt.date, *, gardens: Iterable[int] | None = None) -> Week:
    """Every plot of the gardens in the week around ``day``. A constant number of queries."""
    first = week_of(programme, day)
    land = land_on(programme, day, gardens=gardens, all_logs=True)
    said = {
        (key_of(log.plot_id, log.bed_id, log.planting_id), week_of(programme, log.day)): log
        for log in reversed(land.logs)
        if log.undone_at is None and log.kind != LogKind.EXTRA
    }
    households = {
        t.household_id
        for rows in land.tenancies.values()
        for t in rows
        if t.start <= first + WEEK - DAY and (t.until_day is None or t.until_day > first)
    }
    names: dict[int, list[str]] = {}
    members = Member.objects.filter(programme=programme, until_day=None).select_related("person")
    for member in members.order_by("person__name"):
        if member.household_id in households:
            names.setdefault(member.household_id, []).append(member.person.name)
    problems: list[tuple[Surface, str]] = []
    by_garden: dict[int, list[PlotRow]] = {}
    known = {p.garden_id: p.garden for p in land.plots}
    for plot in land.plots:
        if plot.until_day is not None and plot.until_day <= first:
            continue
        doses, wrong = doses_of(land.of_plot.get(plot.pk, ()), first, said, programme.units)
        problems += wrong
        household = land.holder_on(plot.pk, day) or land.holder_on(plot.pk, first + WEEK - DAY)
        note = "" if household else "nobody holds it"
        if not doses and not wrong:
            note = note or "neither beds nor size known"
        held_by = ", ".join(names.get(household.pk, [household.name])) if household else ""
        by_garden.setdefault(plot.garden_id, []).append(PlotRow(plot, held_by, tuple(doses), note))
    return Week(first, tuple((known[pk], tuple(rows)) for pk, rows in by_garden.items()), tuple(problems))
