"""Programmes of any size, made in bulk."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.utils import timezone

from blends.models import Crew, MixingDay, Pail, Scale
from gardens.models import (
    Bed,
    Garden,
    Household,
    Member,
    Person,
    Planting,
    Plot,
    Programme,
    RoleName,
    Tenancy,
)
from schedules.actions.rounds import open_round
from schedules.crops import catalogue, version
from schedules.models import Cause, Portion, Round, RoundGarden, RoundState
from tests.cast import make_garden, make_person, make_programme
from tests.play import make_revision, mix, receive_lots

AREA_MM2 = 2_972_897  # 4 x 8 ft


@dataclass
class Scene:
    programme: Programme
    garden: Garden
    organiser: Person
    steward: Person
    plots: list[Plot]
    households: list[Household]
    holders: list[Person]


@dataclass
class DayScene(Scene):
    day: MixingDay
    round: Round
    pails: list[Pail]
    portions: list[Portion]


def people_and_plots(name: str, plots: int) -> Scene:
    """So many plots, each held by one household of one person."""
    programme = make_programme(name)
    garden = make_garden(programme, "Lock Lane")
    made = Plot.objects.bulk_create(
        Plot(programme=programme, garden=garden, label=str(n)) for n in range(1, plots + 1)
    )
    households = Household.objects.bulk_create(
        Household(programme=programme, name=f"Holder {n}") for n in range(1, plots + 1)
    )
    holders = Person.objects.bulk_create(
        Person(programme=programme, name=f"Holder {n}") for n in range(1, plots + 1)
    )
    Member.objects.bulk_create(
        Member(programme=programme, household=h, person=p) for h, p in zip(households, holders, strict=True)
    )
    Tenancy.objects.bulk_create(
        Tenancy(programme=programme, plot=plot, household=h, start=dt.date(2026, 3, 1))
        for plot, h in zip(made, households, strict=True)
    )
    return Scene(
        programme=programme,
        garden=garden,
        organiser=make_person(programme, "Orla", RoleName.ORGANISER),
        steward=make_person(programme, "Stevo", RoleName.STEWARD),
        plots=made,
        households=households,
        holders=holders,
    )


def ready_to_hand_out(name: str, plots: int, *, due_mg: int, pails: int) -> DayScene:
    """A day with released pails of 6 kg and a frozen round with a portion for every plot."""
    scene = people_and_plots(name, plots)
    programme, by = scene.programme, scene.organiser
    revision = make_revision(programme, by)
    lots = receive_lots(revision, scene.garden, by, bags=pails)
    day = MixingDay.objects.create(programme=programme, garden=scene.garden, day=timezone.now().date())
    Crew.objects.create(programme=programme, day=day, person=scene.steward)
    scale = Scale.objects.create(programme=programme, name="Bench", division_mg=1_000, max_mg=40_000_000)
    batch, made = mix(
        day, revision, lots, scale, scene.steward, witness=by, mass_mg=6_000_000 * pails, pails=pails
    )
    round_ = Round.objects.create(
        programme=programme,
        number=1,
        first_day=day.day,
        revision=revision,
        mixing_day=day,
        batch=batch,
        state=RoundState.FROZEN,
        made_by=by,
    )
    RoundGarden.objects.create(programme=programme, round=round_, garden=scene.garden)
    portions = Portion.objects.bulk_create(
        Portion(
            programme=programme,
            round=round_,
            plot=plot,
            household=household,
            revision=revision,
            cause=Cause.FROZEN,
            demand_mg=due_mg,
            due_mg=due_mg,
        )
        for plot, household in zip(scene.plots, scene.households, strict=True)
    )
    return DayScene(**vars(scene), day=day, round=round_, pails=made, portions=portions)


def planted(name: str, plantings: int, *, per_plot: int = 2) -> tuple[Scene, Round]:
    """So many plantings, one a bed, with an open round over them all."""
    scene = people_and_plots(name, plantings // per_plot)
    programme = scene.programme
    beds = Bed.objects.bulk_create(
        Bed(
            programme=programme,
            plot=plot,
            name=str(n),
            size_text="4 x 8 ft",
            shape="rectangle",
            a_mm=1219,
            b_mm=2438,
            area_mm2=AREA_MM2 + 1000 * (plot.pk % 97),
        )
        for plot in scene.plots
        for n in range(1, per_plot + 1)
    )
    crops = catalogue()
    Planting.objects.bulk_create(
        Planting(
            programme=programme,
            bed=bed,
            crop_code=(crop := crops[n % len(crops)]).code,
            crop_version=version(),
            crop_name=crop.name,
            day=dt.date(2026, 4, 25) + dt.timedelta(days=n % 40),
        )
        for n, bed in enumerate(beds)
    )
    revision = make_revision(programme, scene.organiser)
    round_ = open_round(
        programme=programme,
        by=scene.organiser,
        gardens=[scene.garden],
        first_day=dt.date(2026, 6, 1),
        weeks=4,
        revision=revision,
    )
    return scene, round_
