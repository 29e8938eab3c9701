"""A slip per plot for one round: beds, level quarter scoops and grams, which days, and when to stop."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from gardens.drawings import scoop_words
from gardens.models import Member, Plot
from schedules.models import Collection, Portion, Round
from schedules.plans import Feed
from schedules.queries.items import Item, items_of_round
from schedules.queries.my_plot import Dose, doses_of
from schedules.queries.plans import Land, Surface, land_of_round

ROWS = 4  # what an A6 holds beside its cautions


@dataclass(frozen=True)
class Line:
    """The same dose on some days of one bed."""

    title: str
    size: str
    days: tuple[dt.date, ...]
    mg: int
    quarters: int
    stop: dt.date | None
    assumed: bool

    @property
    def scoops_said(self) -> str:
        """`2¾`, of level scoops; nothing where it is less than a quarter."""
        return scoop_words(self.quarters).split(" ")[0] if self.quarters else ""

    @property
    def days_said(self) -> str:
        """`1, 8, 15 and 22 June`."""
        months: dict[tuple[int, int], list[dt.date]] = {}
        for day in self.days:
            months.setdefault((day.year, day.month), []).append(day)
        said = [f"{', '.join(str(d.day) for d in days)} {days[0]:%B}" for days in months.values()]
        return "; ".join(said)


@dataclass(frozen=True)
class Slip:
    plot: Plot
    holders: str
    due_mg: int
    lines: tuple[Line, ...]
    rest: tuple[str, ...]  # what gets nothing in these weeks
    item: Item
    pail: int | None
    page: int = 1
    pages: int = 1

    @property
    def assumed(self) -> bool:
        return any(line.assumed for line in self.lines)

    @property
    def stop(self) -> dt.date | None:
        return max((line.stop for line in self.lines if line.stop), default=None)


def slips(
    round: Round, *, garden: int | None = None, plot: int | None = None, accepted: bool | None = None
) -> list[Slip]:
    """For every plot with something due in the round, whoever registered what. Constant in queries."""
    land = land_of_round(round, items=items_of_round(round, accepted=accepted))
    portions = Portion.objects.filter(round=round).select_related("household").order_by("pk")
    due: dict[int, list[Portion]] = {}
    for portion in portions:
        due.setdefault(portion.plot_id, []).append(portion)
    names: dict[int, list[str]] = {}
    households = {p.household_id for rows in due.values() for p in rows}
    for member in (
        Member.objects.filter(programme=round.programme, until_day=None)
        .select_related("person")
        .order_by("person__name")
    ):
        if member.household_id in households:
            names.setdefault(member.household_id, []).append(member.person.name)
    taken = Collection.objects.standing().filter(portion__round=round).order_by("pk")
    pails = dict(taken.values_list("portion_id", "pail__number"))
    found: list[Slip] = []
    for row in land.plots:
        if (garden and row.garden_id != garden) or (plot and row.pk != plot) or row.pk not in due:
            continue
        for portion in due[row.pk]:
            mine = _days_of(land, portion) if len(due[row.pk]) > 1 else None
            lines, rest = _lines(land.of_plot.get(row.pk, ()), round, round.programme.units, mine)
            whole = Slip(
                row,
                ", ".join(names.get(portion.household_id, [portion.household.name])),
                portion.due_mg,
                (),
                rest,
                land.items.of(row.garden_id, row.pk),
                pails.get(portion.pk),
            )
            pages = [lines[at : at + ROWS] for at in range(0, len(lines), ROWS)] or [[]]
            found += [
                replace(whole, lines=tuple(part), page=n, pages=len(pages)) for n, part in enumerate(pages, 1)
            ]
    return found


def _days_of(land: Land, portion: Portion) -> Callable[[dt.date], bool]:
    """Where a plot changes hands inside the round, each household feeds on its own days out of its own tub."""

    def held(day: dt.date) -> bool:
        household = land.holder_on(portion.plot_id, day)
        return household is not None and household.pk == portion.household_id

    return held


def _lines(
    surfaces: Sequence[Surface], round: Round, units: str, mine: Callable[[dt.date], bool] | None = None
) -> tuple[list[Line], tuple[str, ...]]:
    """The doses of the round (on the days that are ``mine``), and the beds that get nothing in it."""
    doses, problems = doses_of(surfaces, round.first_day, {}, units)
    lines: list[Line] = []
    rest: list[str] = [surface.name for surface, _ in problems]
    for dose in doses:
        due = [f for f in dose.plan.on(round.first_day, round.last_day) if f.due_mg]
        said = _of_dose(dose, [f for f in due if mine is None or mine(f.day)])
        lines += said
        if not said:
            rest.append(dose.title)
    return lines, tuple(rest)


def _of_dose(dose: Dose, feeds: list[Feed]) -> list[Line]:
    """Feeds of one mass stand on one line."""
    lines: list[Line] = []
    for feed in feeds:
        quarters = feed.scoops.quarters if feed.scoops else 0
        if lines and lines[-1].mg == feed.due_mg and lines[-1].quarters == quarters:
            lines[-1] = replace(lines[-1], days=(*lines[-1].days, feed.day))
        else:
            lines.append(
                Line(
                    dose.title,
                    dose.size,
                    (feed.day,),
                    feed.due_mg,
                    quarters,
                    dose.plan.stop,
                    dose.plan.assumed,
                )
            )
    return lines
