"""The standing cast of the tests, made with plain rows so that a broken action shows in its own test only."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from blends.ledger import open_books
from gardens.models import (
    Bed,
    Garden,
    Household,
    Member,
    Person,
    Plot,
    Programme,
    Role,
    RoleName,
    Tenancy,
    User,
)


@dataclass
class Cast:
    programme: Programme
    other: Programme
    organiser: Person
    steward: Person
    second_steward: Person
    holder: Person
    auditor: Person
    stranger: Person
    garden: Garden
    other_garden: Garden
    plot: Plot
    bed: Bed
    household: Household
    other_plot: Plot


def make_person(programme: Programme, name: str, *roles: str, signs_in: bool = True) -> Person:
    user = User.objects.create_user(f"{name.lower()}@{programme.pk}.example") if signs_in else None
    person = Person.objects.create(programme=programme, user=user, name=name)
    for role in roles:
        Role.objects.create(programme=programme, person=person, name=role)
    return person


def make_programme(name: str) -> Programme:
    programme = Programme.objects.create(
        name=name,
        zone="Europe/Lisbon",
        currency="EUR",
        tub_mass_mg=58_000,
        desk_division_mg=1_000,
        emergency="999",
        poison_line="555 0142",
    )
    open_books(programme)
    return programme


def make_garden(programme: Programme, name: str) -> Garden:
    return Garden.objects.create(
        programme=programme,
        name=name,
        last_frost=dt.date(2026, 4, 20),
        first_frost=dt.date(2026, 10, 20),
        first_feed=dt.date(2026, 5, 4),
        last_feed=dt.date(2026, 9, 14),
    )


def make_plot(garden: Garden, label: str, *holders: Person) -> tuple[Plot, Bed, Household]:
    """A plot of one 4 x 8 ft bed (2.973 m2), held by one household since spring."""
    programme = garden.programme
    plot = Plot.objects.create(programme=programme, garden=garden, label=label)
    bed = Bed.objects.create(
        programme=programme,
        plot=plot,
        name="1",
        size_text="4 x 8 ft",
        shape="rectangle",
        a_mm=1219,
        b_mm=2438,
        area_mm2=2_972_897,
    )
    household = Household.objects.create(
        programme=programme, name=holders[0].name if holders else f"plot {label}"
    )
    for person in holders:
        Member.objects.create(programme=programme, household=household, person=person)
    Tenancy.objects.create(programme=programme, plot=plot, household=household, start=dt.date(2026, 3, 1))
    return plot, bed, household


def make_cast() -> Cast:
    programme, other = make_programme("Ostermere Shared Gardens"), make_programme("Elsewhere")
    garden, other_garden = make_garden(programme, "Lock Lane"), make_garden(other, "Far Side")
    holder = make_person(programme, "Henna", RoleName.HOLDER)
    stranger = make_person(other, "Sten", RoleName.ORGANISER)
    plot, bed, household = make_plot(garden, "17", holder)
    other_plot, _, _ = make_plot(other_garden, "1", stranger)
    return Cast(
        programme=programme,
        other=other,
        organiser=make_person(programme, "Orla", RoleName.ORGANISER),
        steward=make_person(programme, "Stevo", RoleName.STEWARD),
        second_steward=make_person(programme, "Sanne", RoleName.STEWARD),
        holder=holder,
        auditor=make_person(programme, "Aud", RoleName.AUDITOR),
        stranger=stranger,
        garden=garden,
        other_garden=other_garden,
        plot=plot,
        bed=bed,
        household=household,
        other_plot=other_plot,
    )
