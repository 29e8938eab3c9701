"""Acts on the ground: gardens, plots, beds, plantings, and what gets none of the blend."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from django.db import transaction
from django.db.models import Q

from gardens.clock import today, week_of
from gardens.days import EARLIEST, LATEST, in_words
from gardens.models import Bed, Feeding, Garden, Person, Planting, Plot, Programme
from gardens.quantities import Measure, QuantityError, parse_area, parse_measure, print_measure
from gardens.refusals import InTheWay, Refused
from gardens.words import one_line

MOST_BEDS_AT_ONCE = 60
LONGEST_SIZE = 80


# Gardens


@transaction.atomic
def add_garden(
    *,
    programme: Programme,
    by: Person | None,
    name: str,
    last_frost: dt.date,
    first_frost: dt.date,
    first_feed: dt.date,
    last_feed: dt.date,
) -> Garden:
    """A site with its year. Feeding weeks are given by any day in them and kept by their first day."""
    name = _free_name(programme, name)
    season = fit_season(programme, last_frost, first_frost, first_feed, last_feed)
    return Garden.objects.create(programme=programme, name=name, **season)


@transaction.atomic
def change_garden(
    *,
    garden: Garden,
    by: Person,
    name: str,
    last_frost: dt.date,
    first_frost: dt.date,
    first_feed: dt.date,
    last_feed: dt.date,
) -> Garden:
    season = fit_season(garden.programme, last_frost, first_frost, first_feed, last_feed)
    garden.name = _free_name(garden.programme, name, besides=garden)
    for field, day in season.items():
        setattr(garden, field, day)
    garden.save(update_fields=["name", *season])
    return garden


def _free_name(programme: Programme, name: str, besides: Garden | None = None) -> str:
    name = one_line(name, 120, "name")
    others = Garden.objects.filter(programme=programme).exclude(pk=besides.pk if besides else 0)
    if any(other.casefold() == name.casefold() for other in others.values_list("name", flat=True)):
        raise InTheWay("garden_known", f"There is a garden {name} already.", "name")
    return name


def fit_season(
    programme: Programme, last_frost: dt.date, first_frost: dt.date, first_feed: dt.date, last_feed: dt.date
) -> dict[str, dt.date]:
    """The four days of a garden's year, in order, within one year; feeding weeks by their first day."""
    if first_frost <= last_frost:
        raise Refused(
            "season", "The first frost of autumn comes after the last frost of spring.", "first_frost"
        )
    if last_feed < first_feed:
        raise Refused("season", "The last feeding week comes after the first.", "last_feed")
    if (last_feed - first_feed).days > 366 or (first_frost - last_frost).days > 366:
        raise Refused("season", "A garden's season is shorter than a year. Look at the years.", "last_feed")
    if abs((first_feed - last_frost).days) > 366:
        raise Refused("season", "Frost and feeding belong to one season. Look at the years.", "first_feed")
    return {
        "last_frost": last_frost,
        "first_frost": first_frost,
        "first_feed": week_of(programme, first_feed),
        "last_feed": week_of(programme, last_feed),
    }


# Plots


@transaction.atomic
def add_plot(
    *, programme: Programme, by: Person | None, garden: Garden, label: str, size_text: str = ""
) -> Plot:
    """A plot by its number; its size, if known, as people write it."""
    label = _free_label(garden, label)
    size = plot_size(size_text)
    return Plot.objects.create(
        programme=programme,
        garden=garden,
        label=label,
        size_text=size_text.strip() if size else "",
        area_mm2=size.area_mm2 if size else None,
    )


@transaction.atomic
def change_plot(*, plot: Plot, by: Person, label: str, size_text: str = "") -> Plot:
    size = plot_size(size_text)
    plot.label = _free_label(plot.garden, label, besides=plot)
    plot.size_text = size_text.strip() if size else ""
    plot.area_mm2 = size.area_mm2 if size else None
    plot.save(update_fields=["label", "size_text", "area_mm2"])
    return plot


def _free_label(garden: Garden, label: str, besides: Plot | None = None) -> str:
    label = one_line(label, 40, "label")
    others = Plot.objects.filter(garden=garden).exclude(pk=besides.pk if besides else 0)
    if any(other.casefold() == label.casefold() for other in others.values_list("label", flat=True)):
        raise InTheWay("plot_known", f"{garden.name} has a plot {label} already.", "label")
    return label


def plot_size(size_text: str) -> Measure | None:
    """None where nothing is written; Refused on `size_text` where it cannot be read."""
    if not size_text.strip():
        return None
    _fits_column(size_text)
    try:
        return parse_area(size_text)
    except QuantityError as error:
        raise Refused(error.code, str(error), "size_text") from error


# Beds


@transaction.atomic
def add_bed(*, plot: Plot, by: Person | None, name: str, size_text: str, drains: bool = True) -> list[Bed]:
    """One bed, or several equal ones: "2 × 4 x 8 ft" makes two. Pots of one size stay together as one row."""
    measure = bed_size(size_text)
    Plot.objects.select_for_update().get(pk=plot.pk)
    taken = {used.casefold() for used in plot.beds.values_list("name", flat=True)}
    beds = new_beds(plot, measure, size_text, name=one_line(name, 70, "name", may_be_empty=True), taken=taken)
    for bed in beds:
        bed.drains = drains
        bed.save()
    return beds


@transaction.atomic
def change_bed(*, bed: Bed, by: Person, name: str, size_text: str, drains: bool) -> Bed:
    """New name, measures or drainage. "2 × …" is refused: another bed is added, not made out of this one."""
    measure = bed_size(size_text)
    if measure.count > 1 and measure.shape != "pot":
        raise Refused("count", "This is one bed. Add the others as beds of their own.", "size_text")
    name = one_line(name, 80, "name")
    others = Bed.objects.filter(plot=bed.plot_id).exclude(pk=bed.pk).values_list("name", flat=True)
    if any(other.casefold() == name.casefold() for other in others):
        raise InTheWay("bed_known", f"The plot has a bed {name} already.", "name")
    bed.name, bed.drains = name, drains
    for field, value in _shape_of(measure, size_text).items():
        setattr(bed, field, value)
    bed.save(update_fields=["name", "drains", "size_text", "shape", "count", "a_mm", "b_mm", "area_mm2"])
    return bed


@transaction.atomic
def end_bed(*, bed: Bed, by: Person, day: dt.date) -> Bed:
    """The bed is no more from `day` on; what grew there ends with it, the soil keeps its history."""
    if Bed.objects.filter(pk=bed.pk, until_day=None).update(until_day=day) != 1:
        raise InTheWay("ended", f"Bed {bed.name} has ended already.", "day")
    Planting.objects.filter(bed=bed, until_day=None, day__lt=day).update(until_day=day)
    bed.refresh_from_db()
    return bed


def bed_size(size_text: str) -> Measure:
    """The measure; Refused on `size_text` where it cannot be read or is too many at once."""
    _fits_column(size_text)
    try:
        measure = parse_measure(size_text)
    except QuantityError as error:
        raise Refused(error.code, str(error), "size_text") from error
    if measure.count > MOST_BEDS_AT_ONCE and measure.shape != "pot":
        raise Refused("count", f"Up to {MOST_BEDS_AT_ONCE} beds are added at once.", "size_text")
    return measure


def _fits_column(size_text: str) -> None:
    if len(size_text.strip()) > LONGEST_SIZE:
        raise Refused("too_long", f"That is too long; {LONGEST_SIZE} characters fit.", "size_text")


def new_beds(
    plot: Plot, measure: Measure, size_text: str, *, name: str = "", taken: set[str] | None = None
) -> list[Bed]:
    """Unsaved beds of this measure with names that are free; `taken` (casefolded) grows by them."""
    taken = taken if taken is not None else set()
    several = measure.count > 1 and measure.shape != "pot"
    if name and not several and name.casefold() in taken:
        raise InTheWay("bed_known", f"The plot has a bed {name} already.", "name")
    shape = _shape_of(measure, size_text)
    beds = []
    for _ in range(measure.count if several else 1):
        free = name if name and not several else _next_name(name, taken)
        taken.add(free.casefold())
        beds.append(Bed(programme_id=plot.programme_id, plot=plot, name=free, **shape))
    return beds


def _next_name(stem: str, taken: set[str]) -> str:
    """ "1", "2" …, or "herbs 1", "herbs 2" …: the first that is free."""
    number = 1
    while (name := f"{stem} {number}".strip()).casefold() in taken:
        number += 1
    return name


def size_of_each(measure: Measure, size_text: str) -> str:
    """The size as written; of "2 × 4 x 8 ft" each bed is "4 × 8 ft"."""
    if measure.count == 1 or measure.shape == "pot":
        return size_text
    feet = re.search(r"['\"’”′″]|\b(ft|foot|feet|in|inch|inches|yds?|yards?)\b", size_text, re.IGNORECASE)
    return print_measure(replace(measure, count=1), "us" if feet else "metric")


def _shape_of(measure: Measure, size_text: str) -> dict[str, Any]:
    """A bed's columns. Several equal beds are written once each; pots keep their count."""
    pots = measure.shape == "pot"
    return {
        "size_text": one_line(size_of_each(measure, size_text), LONGEST_SIZE, "size_text"),
        "shape": measure.shape,
        "count": measure.count if pots else 1,
        "a_mm": measure.a_mm,
        "b_mm": measure.b_mm,
        "area_mm2": measure.total_mm2 if pots else measure.area_mm2,
    }


# Plantings


@transaction.atomic
def plant(
    *,
    bed: Bed,
    by: Person | None,
    crop_code: str,
    crop_version: str,
    crop_name: str,
    sown: bool,
    day: dt.date,
    ends_on: dt.date | None = None,
    share: int = 100,
    feed_on_request: bool = False,
) -> Planting:
    """A crop on a bed, or on `share` percent of it. A crop that is not in the catalogue has no code."""
    crop_name = one_line(crop_name, 80, "crop")
    fit_days(bed, day, ends_on)
    if not 1 <= share <= 100:
        raise Refused("share", "A part of a bed is from 1 to 100 percent.", "share")
    return Planting.objects.create(
        programme=bed.programme,
        bed=bed,
        crop_code=crop_code,
        crop_version=crop_version,
        crop_name=crop_name,
        sown=sown,
        day=day,
        ends_on=ends_on,
        share=share,
        feed_on_request=feed_on_request,
    )


def fit_days(bed: Bed, day: dt.date, ends_on: dt.date | None) -> None:
    now = today(bed.programme)
    if not EARLIEST <= day <= LATEST or day > now + dt.timedelta(days=730):
        raise Refused("day", f"{in_words(day)} is too far away for a planting. Look at the year.", "day")
    if bed.until_day and day >= bed.until_day:
        raise InTheWay("bed_ended", f"This bed ended on {in_words(bed.until_day)}.", "day")
    if ends_on and ends_on <= day:
        raise Refused("end_before_start", "The end comes before the planting day.", "ends_on")
    if ends_on and (ends_on - day).days > 3660:
        raise Refused("ends_on", "That end is more than ten years away. Look at the year.", "ends_on")


@transaction.atomic
def end_planting(*, planting: Planting, by: Person | None, day: dt.date) -> Planting:
    """Nothing grows there from `day` on. A planting that was entered by mistake ends the day it began."""
    if day < planting.day:
        raise Refused("day", f"It was planted on {in_words(planting.day)}; the end comes after that.", "day")
    if Planting.objects.filter(pk=planting.pk, until_day=None).update(until_day=day) != 1:
        raise InTheWay("ended", "This planting has ended already.", "day")
    planting.refresh_from_db()
    return planting


@transaction.atomic
def change_planting(
    *, planting: Planting, by: Person | None, ends_on: dt.date | None, feed_on_request: bool
) -> Planting:
    """A new expected end, or the one feed that peas and beans may ask for."""
    fit_days(planting.bed, planting.day, ends_on)
    planting.ends_on, planting.feed_on_request = ends_on, feed_on_request
    planting.save(update_fields=["ends_on", "feed_on_request"])
    return planting


# What gets none


@transaction.atomic
def set_feeding(*, target: Plot | Bed, by: Person | None, feeding: str, reason: str = "") -> Plot | Bed:
    """The shared blend, none of it (with a reason), or nothing grows here."""
    if feeding not in Feeding.values:
        raise Refused("feeding", "Choose one of the answers.", "feeding")
    reason = one_line(reason, 200, "reason", may_be_empty=True)
    if feeding == Feeding.NONE and not reason:
        raise Refused("reason", "Say why nothing of the blend goes here. As in “organic only”.", "reason")
    target.feeding = feeding
    target.feeding_reason = reason if feeding != Feeding.BLEND else ""
    target.save(update_fields=["feeding", "feeding_reason"])
    return target


def standing(beds: Sequence[Bed], day: dt.date) -> list[Bed]:
    """The beds that are there on `day`."""
    return [bed for bed in beds if bed.until_day is None or bed.until_day > day]


STANDING = Q(until_day=None)
"""For querysets of plots, beds and plantings: what has no end yet."""
