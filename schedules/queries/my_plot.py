"""One plot's week: what goes on each bed, why that much, what was said about it, and the season around it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from gardens import figures
from gardens.clock import today, week_of
from gardens.models import Bed, Planting, Plot
from schedules.models import FeedLog, LogKind, Portion, Round, RoundState
from schedules.plans import Feed, PlantingPlan
from schedules.queries.items import Item
from schedules.queries.plans import Surface, key_of, land_on
from schedules.rules import GRAM
from schedules.specs import Cap, DoseError

DAY = dt.timedelta(days=1)
WEEK = dt.timedelta(weeks=1)
CAP_WORDS = {
    Cap.FEED_N: "the most nitrogen in one feed",
    Cap.FEED_BLEND: "the most blend in one feed",
    Cap.SOIL_N: "the most nitrogen on the soil",
    Cap.SOIL_BORON: "the most boron on the soil",
}
COUNTS = {1: "every week", 2: "every second week", 3: "every third week", 4: "every fourth week"}


def place_of(bed: Bed | None) -> str:
    """Where: "North bed", "Bed 2", "The whole plot"."""
    if bed is None:
        return "The whole plot"
    return f"Bed {bed.name}" if bed.name[:1].isdigit() else f"{bed.name[:1].upper()}{bed.name[1:]}"


@dataclass(frozen=True)
class Dose:
    """One planting (or the default planting) in one week. ``feed`` is None where it gets nothing now."""

    surface: Surface
    planting: Planting | None
    plan: PlantingPlan
    feed: Feed | None
    next: Feed | None
    said: FeedLog | None
    week: dt.date
    units: str

    @property
    def key(self) -> str:
        """Names the planting in a log: see ``plans.key_of``."""
        bed = self.surface.bed
        return key_of(
            self.surface.plot.pk, bed.pk if bed else None, self.planting.pk if self.planting else None
        )

    @property
    def token(self) -> str:
        """Names this week's feed in a form."""
        return f"{self.key}@{self.feed.day.isoformat()}" if self.feed else ""

    @property
    def season_title(self) -> str:
        return f"The season of {self.short}, week by week"

    @property
    def crop(self) -> str:
        return self.planting.crop_name if self.planting else ""

    @property
    def place(self) -> str:
        return place_of(self.surface.bed)

    @property
    def title(self) -> str:
        return f"{self.place}: {self.crop[:1].lower()}{self.crop[1:]}" if self.crop else self.place

    @property
    def notes(self) -> tuple[str, ...]:
        """What to know beside the dose; what holds for every bed stands once on the page."""
        said = ("Assumed:", "Nothing on frozen")
        return tuple(note for note in self.plan.notes if not note.startswith(said))

    @property
    def short(self) -> str:
        """For a sentence: "the tomatoes", "bed 2", "the plot"."""
        if self.crop:
            return f"the {self.crop[:1].lower()}{self.crop[1:]}"
        if self.surface.bed is None:
            return "the plot"
        name = self.surface.bed.name
        return f"bed {name}" if name[:1].isdigit() else f"the {name[:1].lower()}{name[1:]}"

    @property
    def size(self) -> str:
        said = str(figures.area(self.plan.spec.area_mm2, self.units))
        bed = self.surface.bed
        return f"{bed.size_text}, {said}" if bed and bed.size_text else said

    @property
    def lifted(self) -> str:
        """A cap that the organiser lifted here, and why."""
        lift = self.plan.spec.lift
        return f"{CAP_WORDS[lift.cap]} is lifted: {lift.reason}" if lift else ""

    @property
    def due_mg(self) -> int:
        return self.feed.due_mg if self.feed else 0

    @property
    def skipped(self) -> bool:
        return bool(self.feed and self.feed.skipped)

    @property
    def quarters(self) -> int:
        return self.feed.scoops.quarters if self.feed and self.feed.scoops else 0

    @property
    def too_small_to_scoop(self) -> bool:
        return bool(self.feed and self.feed.scoops and not self.feed.scoops.quarters and self.due_mg)

    @property
    def working(self) -> dict[str, Any]:
        """This week's working, or that of the feed to come."""
        shown = self.feed or self.next
        line = (shown.line if shown else "") or self.plan.line
        return {"line": line, "steps": self.plan.working.steps}

    @property
    def rest(self) -> str:
        """Why there is nothing this week, in a few words, with the next date where there is one."""
        plan = self.plan
        if plan.refused:
            return _sentence(plan.reason)
        if not plan.feeds:
            return _sentence(plan.reason or "No feed falls into this season")
        if self.next is None:
            return f"Done for this season: the last feed was on {_day(plan.feeds[-1].day)}."
        often = COUNTS.get(plan.interval, "") if plan.interval > 1 else ""
        head = f"{often[:1].upper()}{often[1:]}. Next" if often else "Next"
        if plan.feeds[0].day == self.next.day:
            head = "Feeding begins"
        amount = figures.mass(self.next.due_mg or self.next.blend_mg, self.units)
        return f"{head}: {_day(self.next.day)}, {amount}."

    @property
    def stop(self) -> str:
        """The stop date, said plainly."""
        last = self.plan.stop
        return f"Last feed {_day(last)}; after it, nothing." if last and last >= self.week else ""

    @property
    def held_back(self) -> tuple[str, ...]:
        """What the need asks for and the planting does not get, in grams of nitrogen."""
        kept = [n for n in self.plan.not_fed if n.code != "season"]
        return tuple(f"{figures.trimmed(n.ug_n / 1_000_000, 2)} g of nitrogen: {n.words}" for n in _big(kept))

    @cached_property
    def weeks(self) -> list[dict[str, Any]]:
        """The season as a strip of weeks, from the first feed to the last."""
        feeds = {week_of(self.surface.plot.programme, f.day): f for f in self.plan.feeds}
        if not feeds:
            return []
        first, last = min(feeds), max(feeds)
        strip = []
        start = first
        while start <= last:
            feed = feeds.get(start)
            state = "given" if start < self.week else "now" if start == self.week else "plan"
            grams = round((feed.due_mg if feed else 0) / 1000, 1)
            strip.append(
                {"start": start, "grams": int(grams) if grams == int(grams) else grams, "state": state}
            )
            start += WEEK
        return strip

    @property
    def given_mg(self) -> int:
        return sum(f.due_mg for f in self.plan.feeds if f.day < self.week)

    @property
    def number(self) -> int:
        """Which feed of the season this week's is, or the last one given."""
        return self.feed.number if self.feed else sum(1 for f in self.plan.feeds if f.day < self.week)


def _big(rows: Iterable[Any]) -> list[Any]:
    return [row for row in rows if row.ug_n >= GRAM // 100]


def _sentence(words: str) -> str:
    text = words.strip().rstrip(".")
    return f"{text[:1].upper()}{text[1:]}."


def _day(day: dt.date) -> str:
    return f"{day.day}\u00a0{day:%B}"


@dataclass(frozen=True)
class PlotWeek:
    """What a plot's page shows. ``problems`` are beds that cannot be dosed, and why."""

    plot: Plot
    first: dt.date
    doses: tuple[Dose, ...]
    item: Item | None
    logs: tuple[FeedLog, ...] = ()
    round: Round | None = None
    portion: Portion | None = None
    problems: tuple[tuple[Surface, str], ...] = ()
    units: str = ""
    held: bool = True
    scoop_mg: int = field(default=0)

    @property
    def last(self) -> dt.date:
        return self.first + WEEK - DAY

    @cached_property
    def due(self) -> tuple[Dose, ...]:
        """What gets something this week, skipped ones among them."""
        return tuple(d for d in self.doses if d.feed is not None and d.feed.blend_mg)

    @cached_property
    def rest(self) -> tuple[Dose, ...]:
        return tuple(d for d in self.doses if d not in self.due)

    @cached_property
    def open(self) -> tuple[Dose, ...]:
        """Due this week and nothing said yet."""
        return tuple(d for d in self.due if d.said is None)

    @property
    def fed_words(self) -> str:
        """The act's words: what is fed by it."""
        if len(self.open) == 1:
            return f"I have fed {self.open[0].short}"
        return "I have fed both beds" if len(self.open) == 2 else f"I have fed all {len(self.open)} beds"

    @property
    def total_mg(self) -> int:
        return sum(d.due_mg for d in self.due)

    @property
    def assumed(self) -> bool:
        return any(d.plan.assumed for d in self.due)

    @cached_property
    def sentence(self) -> str:
        if not self.doses:
            return (
                "Nothing can be said of this plot yet." if not self.problems else "A bed needs another look."
            )
        if self.plot.feeding == "none":
            return "Nothing of the blend goes on this plot."
        if self.plot.feeding == "nothing":
            return "Nothing grows here, so nothing is fed."
        if not self.held:
            return "Nobody holds this plot, so nothing is due."
        live = [d for d in self.due if not d.skipped]
        if not self.due:
            return f"Nothing this week. {self._why_nothing}"
        if not live:
            return "Skipped this week. Nothing is made up for it."
        parts = [f"{figures.mass(d.due_mg, self.units)} on {d.short}" for d in live[:3]]
        if len(live) > 3:
            more = sum(d.due_mg for d in live)
            return f"This week: {figures.mass(more, self.units)} in all, on {len(live)} beds."
        said = " and ".join(parts) if len(parts) < 3 else f"{parts[0]}, {parts[1]} and {parts[2]}"
        tail = ", nothing on the rest" if self.rest else ""
        return f"This week: {said}{tail}."

    @property
    def _why_nothing(self) -> str:
        coming = min((d.next.day for d in self.doses if d.next), default=None)
        if coming is not None:
            return f"Next feed: {_day(coming)}."
        given = [d.plan.feeds[-1].day for d in self.doses if d.plan.feeds]
        if given:
            return f"The season’s feeding is done: the last feed was on {_day(max(given))}."
        reasons = list(dict.fromkeys(_sentence(d.plan.reason) for d in self.doses if d.plan.reason))
        return reasons[0] if len(reasons) == 1 else "No bed here is fed."

    @property
    def feed_of(self) -> str:
        """For the docket: "7 of 16"; the date of the next feed where several beds differ."""
        fed = [d for d in self.doses if d.plan.feeds]
        if len(fed) == 1 or (fed and len({(d.number, len(d.plan.feeds)) for d in fed}) == 1):
            return f"{fed[0].number} of {len(fed[0].plan.feeds)}"
        return f"{len(self.due)} of {len(self.doses)} beds"

    @property
    def given_mg(self) -> int:
        return sum(d.given_mg for d in self.doses)

    @property
    def said(self) -> list[tuple[FeedLog, str]]:
        """What was said, newest first, and where."""
        return [
            (log, f"{place_of(log.bed)}: {log.planting.crop_name}" if log.planting else place_of(log.bed))
            for log in self.logs
        ]


def plot_week(plot: Plot, day: dt.date | None = None) -> PlotWeek:
    """The plot's week around ``day`` (today). Ten queries, whatever stands on it."""
    programme = plot.programme
    on = day or today(programme)
    first = week_of(programme, on)
    land = land_on(programme, on, plots=[plot], all_logs=True)
    said = {
        (key_of(log.plot_id, log.bed_id, log.planting_id), week_of(programme, log.day)): log
        for log in reversed(land.logs)
        if log.undone_at is None and log.kind != LogKind.EXTRA
    }
    doses, problems = doses_of(land.surfaces, first, said, programme.units)
    fed_on = min((d.feed.day for d in doses if d.feed is not None), default=on)
    round = _round_on(land.items.every.get(plot.garden_id, ()), fed_on)
    household = land.holder_on(plot.pk, on)
    portion = None
    if round is not None and household is not None:
        portion = Portion.objects.filter(round=round, plot=plot, household=household).order_by("-pk").first()
    item = land.items.of(plot.garden_id, plot.pk)
    return PlotWeek(
        plot=plot,
        first=first,
        doses=tuple(doses),
        item=item,
        logs=land.logs[:12],
        round=round,
        portion=portion,
        problems=tuple(problems),
        units=programme.units,
        held=household is not None or not land.unheld(first, first + WEEK - DAY),
        scoop_mg=item.scoop_mg,
    )


def _round_on(rounds: Iterable[Round], day: dt.date) -> Round | None:
    """The frozen round whose tubs are for that day."""
    frozen = (r for r in rounds if r.state != RoundState.OPEN and r.first_day <= day <= r.last_day)
    return next(frozen, None)


def doses_of(
    surfaces: Sequence[Surface], first: dt.date, said: dict[tuple[str, dt.date], FeedLog], units: str
) -> tuple[list[Dose], list[tuple[Surface, str]]]:
    """One dose per planting for the week that begins on ``first``, most first; and the beds that cannot be
    dosed.
    """
    last = first + WEEK - DAY
    doses: list[Dose] = []
    problems: list[tuple[Surface, str]] = []
    for surface in surfaces:
        try:
            pairs = list(surface.pairs())
        except DoseError as error:
            problems.append((surface, error.message))
            continue
        for planting, plan in pairs:
            if planting is None and len(pairs) > 1:
                continue  # the default planting that a crop took over from
            if planting is not None and planting.until_day is not None and planting.until_day <= first:
                continue
            if (
                surface.bed is not None
                and surface.bed.until_day is not None
                and surface.bed.until_day <= first
            ):
                continue
            feed = next(iter(plan.on(first, last)), None)
            later = next((f for f in plan.feeds if f.day > last), None)
            key = key_of(
                surface.plot.pk, surface.bed.pk if surface.bed else None, planting.pk if planting else None
            )
            log = said.get((key, first)) if feed else None
            doses.append(Dose(surface, planting, plan, feed, later, log, first, units))
    return doses, problems
