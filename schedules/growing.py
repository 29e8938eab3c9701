"""How long plantings stand on a bed, and whether there is room for one more. Pure."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from schedules.crops import Crop
from schedules.feeding import span
from schedules.rules import HOUSE
from schedules.seasons import GardenSeason
from schedules.specs import PlantingSpec


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
