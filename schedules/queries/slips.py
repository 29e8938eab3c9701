"""A slip per plot and household for one round: beds, level quarter scoops and grams, which days, and when to
stop.

What a slip prints is what was frozen, for that is what the tub holds. Where the plan of now differs, the slip
says so in words and prints no other figure.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

from django.db.models import OuterRef, Subquery

from gardens import figures
from gardens.drawings import scoop_words
from gardens.folding import natural
from gardens.models import Bed, Household, Member, Planting, Plot
from schedules.doses import blend_mg
from schedules.feeding import Analysis
from schedules.models import Collection, FrozenLine, Portion, Round, RoundState
from schedules.plans import MM2
from schedules.queries.items import Item, items_of_round
from schedules.queries.my_plot import place_of
from schedules.queries.plans import Land, Surface, land_of_round
from schedules.scoops import nearest
from schedules.specs import DoseError

ROWS = 4  # what an A6 holds beside its cautions
ROUNDING_MG = 1


@dataclass(frozen=True)
class Line:
    """The same dose on some days of one bed."""

    title: str
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
    changed: tuple[str, ...]  # how the plan of now differs, bed by bed
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


@dataclass(frozen=True)
class Late:
    """Nothing was frozen for this household on its plot; by the rows of now something would be due."""

    plot: Plot
    holders: str
    mg: int


@dataclass(frozen=True)
class Slips:
    each: tuple[Slip, ...]
    late: tuple[Late, ...]

    @property
    def changed(self) -> int:
        """On how many plots the plan of now differs from what their slips print."""
        return len({slip.plot.pk for slip in self.each if slip.changed})


def slips(
    round: Round, *, garden: int | None = None, plot: int | None = None, accepted: bool | None = None
) -> Slips:
    """For every plot with something due in the round, whoever registered what. Constant in queries."""
    land = land_of_round(round, items=items_of_round(round, accepted=accepted))
    rows = [p for p in land.plots if not (garden and p.garden_id != garden) and not (plot and p.pk != plot)]
    portions: dict[int, list[Portion]] = defaultdict(list)
    tubs = Collection.objects.standing().filter(portion=OuterRef("pk")).order_by("-pk")
    due = Portion.objects.filter(round=round).select_related("household").order_by("pk")
    pails: dict[int, int | None] = {}
    for each in due.annotate(pail=Subquery(tubs.values("pail__number")[:1])):
        portions[each.plot_id].append(each)
        pails[each.pk] = each.pail
    names = _names(round)
    frozen = _frozen_of(round)
    found: list[Slip] = []
    late: list[Late] = []
    for row in rows:
        now = _now(land, row, round)
        item = land.items.of(row.garden_id, row.pk)
        for portion in portions[row.pk]:
            mine = _mine(frozen.get(row.pk, ()), portion, now, item)
            changed = _changed(mine, now, portion.household_id, round) if _compares(round) else ()
            whole = Slip(
                plot=row,
                holders=names.get(portion.household_id) or portion.household.name,
                due_mg=portion.due_mg,
                lines=(),
                rest=_rest(mine, now),
                changed=changed,
                item=item,
                pail=pails[portion.pk],
            )
            found += _on_pages(whole, _lines(mine))
        served = {portion.household_id for portion in portions[row.pk]}
        for household, mg in now.by_household().items() if _compares(round) else ():
            if household.pk not in served:
                late.append(Late(row, names.get(household.pk) or household.name, mg))
    return Slips(tuple(found), tuple(late))


def _compares(round: Round) -> bool:
    """What a closed round was is over: the gardens' feeding weeks may be another year's by now."""
    return round.state == RoundState.FROZEN


def _names(round: Round) -> dict[int, str]:
    """By household, who is of it now."""
    names: dict[int, list[str]] = defaultdict(list)
    members = Member.objects.filter(programme=round.programme, until_day=None).select_related("person")
    for member in members.order_by("person__name"):
        names[member.household_id].append(member.person.name)
    return {household: ", ".join(of_it) for household, of_it in names.items()}


def _on_pages(slip: Slip, lines: Sequence[Line]) -> list[Slip]:
    """As many A6 as the lines take; what changed takes the room of a line."""
    rows = ROWS - 1 if slip.changed else ROWS
    pages = [lines[at : at + rows] for at in range(0, len(lines), rows)] or [()]
    return [replace(slip, lines=tuple(part), page=n, pages=len(pages)) for n, part in enumerate(pages, 1)]


# As frozen --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Feed:
    """A frozen feed as the slip prints it."""

    line: FrozenLine
    day: dt.date
    mg: int
    quarters: int

    @property
    def key(self) -> tuple[int | None, int | None, dt.date]:
        return self.line.bed_id, self.line.planting_id, self.day


def _frozen_of(round: Round) -> dict[int, list[FrozenLine]]:
    """The last snapshot's lines by plot, bed after bed."""
    last = round.snapshots.order_by("-number").values("pk")[:1]
    lines = FrozenLine.objects.filter(snapshot__in=last).select_related("bed", "planting")
    found: dict[int, list[FrozenLine]] = defaultdict(list)
    for line in sorted(lines, key=lambda n: (natural(n.bed.name) if n.bed else (), n.bed_id or 0, n.pk)):
        found[line.plot_id].append(line)
    return found


def _mine(lines: Iterable[FrozenLine], portion: Portion, now: _Now, item: Item) -> list[_Feed]:
    """The frozen feeds that the portion is for: where a plot changes hands, each household has its own."""
    try:
        analysis = Analysis.of(item.blend)
    except DoseError:
        analysis = None
    found = []
    for line in lines:
        for week in line.weeks:
            if week.get("household", portion.household_id) != portion.household_id or not week["mg"]:
                continue
            mg = _mass(line, week, analysis, now.caps.get((line.bed_id, line.planting_id)))
            day = dt.date.fromisoformat(week["day"])
            found.append(_Feed(line, day, mg, now.quarters(line, day, mg, item)))
    return found


def _mass(line: FrozenLine, week: dict[str, Any], analysis: Analysis | None, cap: Fraction | None) -> int:
    """The frozen nitrogen out of the tub as it is: the frozen mass where its pail is as designed, else by its
    own analysis, and no more than the cap of blend lets through: as frozen, or of the tub (``cap``).
    """
    frozen: int = week["mg"]
    mg = frozen if analysis is None else blend_mg(week["n_ug"], analysis)
    most = int(max(Fraction(line.numbers["cap_blend"]), cap or Fraction(0)) * line.area_mm2 / MM2 / 1000)
    return mg if mg <= frozen else max(frozen, min(mg, most))


def _lines(feeds: Iterable[_Feed]) -> list[Line]:
    """Feeds of one mass stand on one line."""
    lines: list[Line] = []
    last = None
    for feed in feeds:
        same = last == feed.line.pk and (lines[-1].mg, lines[-1].quarters) == (feed.mg, feed.quarters)
        last = feed.line.pk
        if same:
            lines[-1] = replace(lines[-1], days=(*lines[-1].days, feed.day))
            continue
        stop = feed.line.numbers.get("stop")
        lines.append(
            Line(
                title=_title(feed.line.bed, feed.line.planting),
                days=(feed.day,),
                mg=feed.mg,
                quarters=feed.quarters,
                stop=dt.date.fromisoformat(stop) if stop else None,
                assumed=feed.line.assumed,
            )
        )
    return lines


def _title(bed: Bed | None, planting: Planting | None) -> str:
    crop = planting.crop_name if planting else ""
    return f"{place_of(bed)}: {crop[:1].lower()}{crop[1:]}" if crop else place_of(bed)


# As it would be now -----------------------------------------------------------------------------------------


@dataclass
class _Now:
    """A plot in the weeks of the round by the rows of now; keys are (bed, planting, day)."""

    mg: dict[tuple[int | None, int | None, dt.date], int] = field(default_factory=dict)
    scoops: dict[tuple[int | None, int | None, dt.date], tuple[int, int]] = field(default_factory=dict)
    caps: dict[tuple[int | None, int | None], Fraction] = field(default_factory=dict)  # ug of blend/m2
    skipped: set[tuple[int | None, int | None, dt.date]] = field(default_factory=set)
    holders: dict[dt.date, Household | None] = field(default_factory=dict)
    beds: dict[int | None, Bed | None] = field(default_factory=dict)
    grown: list[tuple[Surface, Planting | None]] = field(default_factory=list)
    problems: list[Surface] = field(default_factory=list)

    def quarters(self, line: FrozenLine, day: dt.date, mg: int, item: Item) -> int:
        """The plan's own rounding where it is still this dose; else the quarters below, under every cap."""
        weighed, quarters = self.scoops.get((line.bed_id, line.planting_id, day), (-1, 0))
        return quarters if weighed == mg else nearest(mg, item.scoop_mg, at_most_mg=mg).quarters

    def by_household(self) -> dict[Household, int]:
        found: dict[Household, int] = defaultdict(int)
        for (_, _, day), mg in self.mg.items():
            if mg and (household := self.holders[day]) is not None:
                found[household] += mg
        return found


def _now(land: Land, plot: Plot, round: Round) -> _Now:
    now = _Now()
    for surface in land.of_plot.get(plot.pk, ()):
        bed = surface.bed.pk if surface.bed else None
        now.beds[bed] = surface.bed
        try:
            pairs = list(surface.pairs())
        except DoseError:
            now.problems.append(surface)
            continue
        for planting, plan in pairs:
            if planting is not None or len(pairs) == 1:
                now.grown.append((surface, planting))
            now.caps[bed, planting.pk if planting else None] = plan.cap_blend
            for feed in plan.on(round.first_day, round.last_day):
                key = bed, planting.pk if planting else None, feed.day
                if feed.skipped:
                    now.skipped.add(key)
                else:
                    now.mg[key] = feed.blend_mg
                now.holders[feed.day] = land.holder_on(plot.pk, feed.day)
                if feed.scoops is not None:
                    now.scoops[key] = feed.blend_mg, feed.scoops.quarters
    return now


def _rest(mine: Sequence[_Feed], now: _Now) -> tuple[str, ...]:
    """What gets nothing, then as now: no bed that the slip feeds, and none that would be fed by now."""
    printed = {(feed.line.bed_id, feed.line.planting_id) for feed in mine}
    fed = printed | {(bed, planting) for (bed, planting, _), mg in now.mg.items() if mg}
    found = [surface.name for surface in now.problems]
    for surface, planting in now.grown:
        bed = surface.bed.pk if surface.bed else None
        if (bed, planting.pk if planting else None) not in fed and (bed, None) not in printed:
            found.append(_title(surface.bed, planting))
    return tuple(found)


def _changed(mine: Sequence[_Feed], now: _Now, household: int, round: Round) -> tuple[str, ...]:
    """Bed by bed in words. A feed that was logged as skipped is no change of the plan."""
    then = {feed.key: feed.mg for feed in mine if feed.key not in now.skipped}
    today = {
        key: mg
        for key, mg in now.mg.items()
        if (holder := now.holders[key[2]]) is not None and holder.pk == household
    }
    beds = {**now.beds, **{feed.line.bed_id: feed.line.bed for feed in mine}}
    said = []
    for pk, bed in sorted(
        beds.items(), key=lambda row: (natural(row[1].name) if row[1] else (), row[0] or 0)
    ):
        before = {key: mg for key, mg in then.items() if key[0] == pk}
        after = {key: mg for key, mg in today.items() if key[0] == pk}
        place = place_of(bed)
        if before and any((surface.bed.pk if surface.bed else None) == pk for surface in now.problems):
            said.append(f"{place} can no longer be dosed")
        elif any(abs(after.get(k, 0) - before.get(k, 0)) > ROUNDING_MG for k in {**before, **after}):
            said.append(_difference(place, sum(before.values()), sum(after.values()), round.programme.units))
    return tuple(said)


def _difference(place: str, before: int, after: int, units: str) -> str:
    if not after:
        return f"{place} would now get nothing"
    if not before:
        return f"{place} would now get {figures.mass(after, units)}, and none of it is in this tub"
    if str(figures.mass(after, units)) == str(figures.mass(before, units)):
        return f"{place} would now be fed otherwise"
    return f"{place} would now get {figures.mass(after, units)} instead of {figures.mass(before, units)}"
