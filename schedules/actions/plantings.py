"""Registering a crop by its name, as people say it; part areas never exceed the bed."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from gardens.actions.land import fit_days, plant
from gardens.days import in_words
from gardens.models import Bed, Person, Planting
from gardens.refusals import InTheWay, Refused
from schedules import crops
from schedules.crops import FeederClass
from schedules.growing import Stand, in_the_way, stand
from schedules.queries.plans import crop_of, season_of
from schedules.seasons import GardenSeason


def stand_of(planting: Planting, season: GardenSeason) -> Stand:
    """How long a planting of ours stands on its bed."""
    return stand(
        crop_of(planting),
        sown=planting.sown,
        day=planting.day,
        season=season,
        ends_on=planting.ends_on,
        until=planting.until_day,
        share=planting.share,
        name=planting.crop_name,
    )


@transaction.atomic
def register_planting(
    *,
    bed: Bed,
    by: Person | None,
    crop_text: str,
    sown: bool,
    day: dt.date,
    ends_on: dt.date | None = None,
    share: int = 100,
    feed_on_request: bool = False,
) -> Planting:
    """A crop on a bed. A name that the catalogue lacks, or that means two, is kept and fed as medium."""
    Bed.objects.select_for_update().get(pk=bed.pk)
    crop = crops.find(crop_text)
    if feed_on_request and (crop is None or crop.needs.value is not FeederClass.LEGUME):
        raise Refused("not_a_legume", "Only peas and beans ask for their one feed.", "feed_on_request")
    fit_days(bed, day, ends_on)
    season = season_of(bed.plot.garden)
    new = stand(crop, sown=sown, day=day, season=season, ends_on=ends_on, share=share)
    there = [stand_of(p, season) for p in bed.plantings.all()]
    if full := in_the_way(new, there):
        raise InTheWay("bed_full", no_room(full), "share")
    return plant(
        bed=bed,
        by=by,
        crop_code=crop.code if crop else "",
        crop_version=crops.version() if crop else "",
        crop_name=crop_text,
        sown=sown,
        day=day,
        ends_on=ends_on,
        share=share,
        feed_on_request=feed_on_request,
    )


def no_room(full: list[Stand]) -> str:
    """ "No room: 100 % is tomato until 28 September 2026. …"."""
    taken = ", ".join(f"{s.share} % is {s.name} until {in_words(s.end)}" for s in full)
    return f"There is no room: {taken}. Give each its part of the bed, or end what is gone."
