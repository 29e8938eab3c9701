"""How long plantings stand on a bed, and whether there is room for one more. Pure."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from schedules.crops import Crop
from schedules.feeding import Analysis, span, timetable
from schedules.rules import HOUSE
from schedules.seasons import GardenSeason
from schedules.specs import BedSpec, BlendItem, PlantingSpec


@dataclass(frozen=True)
class Stand:
    """From the first day up to, but without, the last: so much of the bed, in percent."""

    start: dt.date
    end: dt.date
    share: int
    name: str = ""


def stand(
    crop: Crop | None,
    *,
    sown: bool,
    day: dt.date,
    season: GardenSeason,
    ends_on: dt.date | None = None,
    until: dt.date | None = None,
    share: int = 100,
    name: str = "",
) -> Stand:
    """As entered, else the catalogue's days, else to the last feeding week; cut where it was ended."""
    spec = PlantingSpec(key="", crop=crop, area_mm2=1, day=day, sown=sown, ends_on=ends_on)
    start, end = span(spec, season, HOUSE)
    return Stand(start, min(end, until) if until else end, share, name)


def in_the_way(new: Stand, there: Sequence[Stand]) -> list[Stand]:
    """Those that leave no room for `new` on some day of its time; empty if it fits."""
    return next((list(others) for _, others in _full_days(new, there)), [])


def _full_days(new: Stand, there: Sequence[Stand]) -> Iterable[tuple[dt.date, list[Stand]]]:
    """The days on which something begins while `new` stands, and the bed would be more than full."""
    for day in sorted({new.start, *(s.start for s in there)}):
        if not new.start <= day < max(new.end, new.start + dt.timedelta(days=1)):
            continue
        others = [s for s in there if s.start <= day < s.end]
        if new.share + sum(s.share for s in others) > 100:
            yield day, others


def first_and_last_feed(
    crop: Crop | None,
    *,
    sown: bool,
    day: dt.date,
    ends_on: dt.date | None,
    season: GardenSeason,
    legume_feed: bool = False,
    week_starts: int = 0,
    pot: bool = False,
) -> tuple[dt.date | None, dt.date | None, str]:
    """The days of the first and last feed of the crop's window, or None twice and the reason in words.

    The days do not hang on what is in the tub; a blend is only needed to say how much.
    """
    spec = PlantingSpec(
        key="", crop=crop, area_mm2=1_000_000, day=day, sown=sown, ends_on=ends_on, legume_feed=legume_feed
    )
    rules = replace(HOUSE, week_starts=week_starts)
    nominal = Analysis.of(BlendItem("", Decimal(10)))
    plan = timetable(spec, BedSpec("", 1_000_000, pot=pot), season, nominal, rules)
    return (plan.days[0], plan.days[-1], "") if plan.days else (None, None, plan.reason)
