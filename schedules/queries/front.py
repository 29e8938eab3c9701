"""The programme's front page: how far it is to the mixing day, and what comes next."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cached_property

from django.db.models import Count, Q, Sum

from blends.models import Batch, Flag, PlaceKind, Revision
from gardens.clock import today, week_of
from gardens.models import Garden, Job, JobState, Programme
from schedules.models import Portion, Round, RoundState
from schedules.queries.items import Item
from schedules.queries.plans import Land, land_on, weekly

WEEKS_SHOWN = 20


@dataclass(frozen=True)
class WeekNeed:
    """What the weeks of the season need; milligrams."""

    weeks: tuple[tuple[dt.date, int, int], ...]  # first day, in all, of it assumed
    item: Item
    unheld: int
    unsized: int
    problems: int

    @cached_property
    def most(self) -> tuple[dt.date, int, int]:
        """The week that needs most."""
        return max(self.weeks, key=lambda w: (w[1], -w[0].toordinal()))

    @property
    def mg(self) -> int:
        return self.most[1]

    @property
    def assumed_mg(self) -> int:
        return self.most[2]

    @property
    def even(self) -> bool:
        """Every week that needs something needs the same."""
        return len({mg for _, mg, _ in self.weeks if mg}) <= 1

    @property
    def season_mg(self) -> int:
        return sum(mg for _, mg, _ in self.weeks)


@dataclass(frozen=True)
class Served:
    portions: int
    came: int
    due_mg: int
    had_mg: int


@dataclass(frozen=True)
class Front:
    programme: Programme
    gardens: int
    plots: int
    round: Round | None
    need: WeekNeed | None
    revision: Revision | None
    served: Served | None
    released: int
    pails: int
    weighed: bool
    failed: tuple[Job, ...]
    to_settle: int

    @property
    def has_land(self) -> bool:
        return self.plots > 0


def front(programme: Programme, round: Round | None) -> Front:
    """What the front page shows. ``round`` is the newest that is not closed (``newest_round``); the weekly
    need is worked out until a round is frozen.
    """
    gardens = dict(
        Garden.objects.filter(programme=programme)
        .annotate(n=Count("plots", filter=Q(plots__until_day=None)))
        .values_list("pk", "n")
    )
    plots = sum(gardens.values())
    frozen = round is not None and round.state == RoundState.FROZEN
    need = revision = served = None
    released = pails = 0
    weighed = False
    if plots and not frozen:
        need, revision = week_need(programme, list(gardens))
    elif frozen:
        assert round is not None
        revision = round.revision
        served = _served(round)
        released, pails, weighed = _pails(round)
    failed = Job.objects.filter(programme=programme, state=JobState.FAILED).order_by("-finished_at")[:3]
    return Front(
        programme,
        len(gardens),
        plots,
        round,
        need,
        revision,
        served,
        released,
        pails,
        weighed,
        tuple(failed),
        Flag.objects.filter(programme=programme, settled_at=None).count(),
    )


def newest_round(programme: Programme) -> Round | None:
    """The round that matters now: the newest that is not closed, else the newest."""
    rounds = Round.objects.filter(programme=programme).select_related(
        "revision__blend", "mixing_day__garden", "batch"
    )
    newest = list(rounds.order_by("-first_day", "-number")[:4])
    live = [r for r in newest if r.state != RoundState.CLOSED]
    return live[-1] if live else newest[0] if newest else None


def week_need(programme: Programme, gardens: list[int]) -> tuple[WeekNeed, Revision | None]:
    """By the blend in use, else by a typical one, marked assumed."""
    day = today(programme)
    land = land_on(programme, day, gardens=gardens)
    first = _first_week(programme, land, day)
    weeks = weekly(land, first, WEEKS_SHOWN)
    while len(weeks) > 1 and not weeks[-1][1]:
        weeks.pop()
    item = land.items.default
    rounds = list(land.items.rounds.values())
    revision = rounds[-1].revision if rounds else item.revision
    if rounds:
        item = next(iter(land.items.gardens.values()))
    held = land.unheld(first, first + dt.timedelta(weeks=WEEKS_SHOWN))
    return (
        WeekNeed(
            tuple(weeks),
            item,
            sum(1 for p in held if p.until_day is None),
            sum(1 for p in land.unsized if p.until_day is None),
            len(land.bulk.problems),
        ),
        revision,
    )


def _first_week(programme: Programme, land: Land, day: dt.date) -> dt.date:
    """This week, or the first feeding week where that is still to come (or the season is past)."""
    begins = min((p.garden.first_feed for p in land.plots), default=day)
    ends = max((p.garden.last_feed for p in land.plots), default=day)
    return week_of(programme, begins if day < begins or day > ends + dt.timedelta(days=6) else day)


def _served(round: Round) -> Served:
    had = Sum(
        "collections__ticket__lines__mass_mg",
        filter=Q(
            collections__ticket__reversed_by__isnull=True,
            collections__ticket__lines__target__kind=PlaceKind.TUB,
        ),
        default=0,
    )
    rows = Portion.objects.filter(round=round).annotate(had=had).values_list("due_mg", "had")
    counted = list(rows)
    return Served(
        len(counted), sum(1 for _, h in counted if h), sum(d for d, _ in counted), sum(h for _, h in counted)
    )


def _pails(round: Round) -> tuple[int, int, bool]:
    """Released pails, pails, and whether anything was weighed."""
    if not round.batch_id:
        return 0, 0, False
    found = Batch.objects.filter(pk=round.batch_id).aggregate(
        n=Count("pails", distinct=True),
        out=Count("pails", distinct=True, filter=Q(pails__place__gate="released")),
        weighed=Count("pails__weigh_outs", distinct=True),
    )
    return found["out"], found["n"], bool(found["weighed"])
