"""A planting's dates against the garden's year and the holder's time, in words."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db.models import Q

from gardens.days import in_words
from gardens.models import Garden, Planting, Tenancy
from schedules.actions.plantings import stand_of
from schedules.crops import Crop, FeederClass
from schedules.growing import first_and_last_feed
from schedules.queries.plans import crop_of, season_of

DAY = dt.timedelta(days=1)


@dataclass(frozen=True)
class Dates:
    """When it stands, when it may be fed, and what is worth a look; `assumed_end`: the end is not entered."""

    crop: Crop | None
    start: dt.date
    end: dt.date
    assumed_end: bool
    first_feed: dt.date | None
    last_feed: dt.date | None
    why_none: str
    remarks: tuple[str, ...]


def dates_of(planting: Planting) -> Dates:
    """Two queries at most."""
    garden = planting.bed.plot.garden
    season, crop = season_of(garden), crop_of(planting)
    stands = stand_of(planting, season)
    first, last, why = first_and_last_feed(
        crop,
        sown=planting.sown,
        day=planting.day,
        ends_on=planting.ends_on,
        season=season,
        legume_feed=planting.feed_on_request,
        week_starts=planting.programme.week_start - 1,
        pot=planting.bed.is_pot,
    )
    remarks = [*_frosts(planting, garden), *_holder(planting, stands.end)]
    if crop is None:
        remarks.insert(
            0, "The catalogue does not know this crop: it is fed as a medium feeder, marked assumed."
        )
    return Dates(
        crop=crop,
        start=stands.start,
        end=stands.end,
        assumed_end=planting.ends_on is None and planting.until_day is None,
        first_feed=first,
        last_feed=last,
        why_none=why,
        remarks=tuple(remarks),
    )


def _frosts(planting: Planting, garden: Garden) -> list[str]:
    """What the garden's frost dates say of the day; words only."""
    day = planting.day
    if day.year == garden.last_frost.year and day < garden.last_frost and not planting.sown:
        return [f"It went out before the last frost, {in_words(garden.last_frost)}."]
    if garden.first_frost < day <= garden.first_frost + dt.timedelta(days=120):
        return [f"It went in after the first frost, {in_words(garden.first_frost)}."]
    return []


def _holder(planting: Planting, end: dt.date) -> list[str]:
    """What becomes of feeds outside the holder's time."""
    plot = planting.bed.plot
    touching = list(
        Tenancy.objects.filter(plot=plot)
        .filter(Q(until_day=None) | Q(until_day__gt=planting.day), start__lt=max(end, planting.day + DAY))
        .order_by("start")
    )
    if not touching:
        return ["Nobody holds the plot in that time: its feeds are lost until somebody does."]
    remarks = []
    if touching[0].start > planting.day:
        remarks.append(f"Nobody held the plot before {in_words(touching[0].start)}: feeds before are lost.")
    for now, then in zip(touching, [*touching[1:], None], strict=True):
        if now.until_day is None or now.until_day >= end:
            break
        if then is None:
            remarks.append(
                f"The time on the plot ends on {in_words(now.until_day)}, before the crop does: "
                "feeds after it are lost unless the plot is passed on."
            )
        elif then.start > now.until_day:
            remarks.append(f"Nobody holds the plot from {in_words(now.until_day)} to {in_words(then.start)}.")
        else:
            remarks.append(
                f"The plot changes hands on {in_words(then.start)}: feeds from then on are the next holder's."
            )
    return remarks


def crop_words(crop: Crop | None) -> str:
    """ "heavy feeder", "makes its own nitrogen", "not in the catalogue, fed as medium"."""
    if crop is None:
        return "not in the catalogue, fed as medium"
    if crop.needs.value is FeederClass.LEGUME:
        return "makes its own nitrogen"
    return f"{crop.needs.value} feeder"
