"""Bringing in a sheet: all of it or nothing, and the same sheet twice changes nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from django.db import transaction

from gardens.actions.land import add_garden, new_beds
from gardens.actions.people import household_name
from gardens.actions.tenancies import hold_plot, household_of
from gardens.clock import today
from gardens.models import (
    Bed,
    Garden,
    Household,
    Member,
    Person,
    Planting,
    Plot,
    Programme,
    Role,
    RoleName,
    Tenancy,
)
from gardens.refusals import InTheWay, Refused
from schedules import crops
from schedules.queries.bring_in import Counts, PlannedPerson, PlannedPlot, Preview, fold, preview

__all__ = ["Brought", "Season", "bring_in", "preview"]


@dataclass(frozen=True)
class Season:
    """The year of the gardens that the sheet names and nobody knows yet."""

    last_frost: dt.date
    first_frost: dt.date
    first_feed: dt.date
    last_feed: dt.date

    @classmethod
    def of(cls, garden: Garden) -> Season:
        return cls(garden.last_frost, garden.first_frost, garden.first_feed, garden.last_feed)


@dataclass(frozen=True)
class Brought:
    """What came in; nothing at all where everything stood here already."""

    counts: Counts
    plots: tuple[Plot, ...]

    @property
    def changed(self) -> bool:
        return self.counts.any


@transaction.atomic
def bring_in(
    *,
    programme: Programme,
    by: Person | None,
    text: str,
    answers: Mapping[str, str] | None = None,
    season: Season | None = None,
    since: dt.date | None = None,
) -> Brought:
    """Bring the sheet in. Refused while a cell is bad (its row not left out) or a question is open.

    `season` is for gardens that are new; holders hold their plots `since` that day, else from today.
    """
    Programme.objects.select_for_update().get(pk=programme.pk)
    seen = preview(programme=programme, text=text, answers=answers)
    _refuse_doubts(seen)
    if not seen.counts.any:
        return Brought(seen.counts, ())
    gardens = _gardens(programme, by, seen, season)
    _persons(programme, seen)
    plots = _plots(programme, seen, gardens)
    _hold(by, seen, plots, since or today(programme))
    _beds(seen, plots)
    return Brought(seen.counts, tuple(plots.values()))


def _refuse_doubts(seen: Preview) -> None:
    if seen.bad and not seen.leaves_out:
        row, cell = seen.bad[0]
        more = f" And {len(seen.bad) - 1} more." if len(seen.bad) > 1 else ""
        words = f"Row {row.number}, {cell.column.value}: {cell.words}{more} Nothing was brought in."
        raise Refused("bad_cells", words, "sheet")
    if seen.open_questions:
        raise Refused("open_questions", f"{seen.open_questions[0].words} Nothing was brought in.", "sheet")


def _gardens(
    programme: Programme, by: Person | None, seen: Preview, season: Season | None
) -> dict[str, Garden]:
    gardens = {fold(g.name): g for g in Garden.objects.filter(programme=programme)}
    for plot in seen.plots:
        if fold(plot.garden) in gardens:
            continue
        if season is None:
            raise Refused(
                "season", f"{plot.garden} is new: say its frost dates and feeding weeks.", "first_feed"
            )
        gardens[fold(plot.garden)] = add_garden(
            programme=programme,
            by=by,
            name=plot.garden,
            last_frost=season.last_frost,
            first_frost=season.first_frost,
            first_feed=season.first_feed,
            last_feed=season.last_feed,
        )
    return gardens


def _persons(programme: Programme, seen: Preview) -> None:
    """Each planned person gets their row: `existing` is filled in."""
    new = [person for person in seen.persons if person.existing is None]
    made = Person.objects.bulk_create(
        [Person(programme=programme, name=person.name, contact=person.contact) for person in new]
    )
    for planned, person in zip(new, made, strict=True):
        planned.existing, planned.made = person, True
    for planned in seen.persons:
        if planned.gets_contact:
            _fill_contact(planned)


def _fill_contact(planned: PlannedPerson) -> None:
    if planned.existing:
        filled = Person.objects.filter(pk=planned.existing.pk, contact="").update(contact=planned.contact)
        if filled != 1:
            raise InTheWay(
                "contact", f"{planned.name} got another contact meanwhile. Look at the sheet again.", "sheet"
            )


def _plots(programme: Programme, seen: Preview, gardens: dict[str, Garden]) -> dict[PlannedPlot, Plot]:
    new = [plot for plot in seen.plots if plot.existing is None]
    made = Plot.objects.bulk_create(
        [
            Plot(
                programme=programme,
                garden=gardens[fold(plot.garden)],
                label=plot.label,
                size_text=plot.size_text,
                area_mm2=plot.area_mm2,
            )
            for plot in new
        ]
    )
    rows = dict(zip(new, made, strict=True))
    for plot in seen.plots:
        if plot.existing is not None:
            rows[plot] = plot.existing
            if plot.area_mm2:
                plot.existing.size_text, plot.existing.area_mm2 = plot.size_text, plot.area_mm2
                plot.existing.save(update_fields=["size_text", "area_mm2"])
    return rows


def _hold(by: Person | None, seen: Preview, plots: dict[PlannedPlot, Plot], since: dt.date) -> None:
    """Who holds what; on a plot that was here, nobody else's time may overlap."""
    fresh = _fresh_households(seen)
    tenancies = []
    for plot in seen.plots:
        persons = [person.existing for person in plot.holders if person.existing]
        if persons and plot.existing:
            hold_plot(plot=plot.existing, by=by, persons=persons, start=since)
        elif persons:
            household = fresh.get(_set_of(plot)) or household_of(plots[plot], persons)
            tenancies.append(
                Tenancy(programme=household.programme, plot=plots[plot], household=household, start=since)
            )
    Tenancy.objects.bulk_create(tenancies)


def _set_of(plot: PlannedPlot) -> frozenset[int]:
    return frozenset(person.existing.pk for person in plot.holders if person.existing)


def _fresh_households(seen: Preview) -> dict[frozenset[int], Household]:
    """Households of persons who are all new to the programme, made in bulk: no older one can be theirs."""
    sets: dict[frozenset[int], list[Person]] = {}
    for plot in seen.plots:
        persons = [person.existing for person in plot.holders if person.existing]
        if persons and not plot.existing and all(person.made for person in plot.holders):
            sets.setdefault(_set_of(plot), persons)
    made = Household.objects.bulk_create(
        [Household(programme=people[0].programme, name=household_name(people)) for people in sets.values()]
    )
    together = list(zip(made, sets.values(), strict=True))
    Member.objects.bulk_create(
        [Member(programme=h.programme, household=h, person=p) for h, people in together for p in people]
    )
    holders = {person.pk: person for people in sets.values() for person in people}
    Role.objects.bulk_create(
        [Role(programme=p.programme, person=p, name=RoleName.HOLDER) for p in holders.values()]
    )
    return dict(zip(sets, made, strict=True))


def _beds(seen: Preview, plots: dict[PlannedPlot, Plot]) -> None:
    beds: list[Bed] = []
    plantings: list[Planting] = []
    for plot in seen.plots:
        row = plots[plot]
        taken = (
            {name.casefold() for name in row.beds.values_list("name", flat=True)} if plot.existing else set()
        )
        for planned in plot.beds:
            bed = planned.existing or new_beds(row, planned.measure, planned.text, taken=taken)[0]
            if planned.existing is None:
                beds.append(bed)
            plantings += [
                Planting(
                    programme_id=row.programme_id,
                    bed=bed,
                    crop_code=crop.crop.code if crop.crop else "",
                    crop_version=crops.version() if crop.crop else "",
                    crop_name=crop.name,
                    sown=crop.sown,
                    day=crop.day,
                )
                for crop in planned.crops
            ]
    Bed.objects.bulk_create(beds)
    Planting.objects.bulk_create(plantings)
