"""A mixing day played with plain rows and the ledger alone, for tests that stand on one.

Lots, revision R, a batch in released pails, a round with portions: ``day = play_day(cast)``, then go on.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from django.utils import timezone

from blends import ledger
from blends.ledger import Entry, Line
from blends.models import (
    Basis,
    Batch,
    Blend,
    Component,
    Crew,
    Declaration,
    Gate,
    Kind,
    Lot,
    Material,
    MixingDay,
    Pail,
    PailTarget,
    Place,
    PlaceKind,
    Revision,
    Scale,
    Slow,
    Ticket,
    TicketKind,
    WeighOut,
)
from gardens.models import Garden, Household, Person, Plot, Programme
from schedules.models import Cause, Portion, Round, RoundGarden, RoundState
from tests.cast import Cast

#: The blend of the worked examples: name, kind, what the bag declares, mg of 12 kg, a bag in mg, its price.
R: Sequence[tuple[str, Kind, dict[str, str], int, int, int]] = (
    (
        "Compound 16-16-16", Kind.COMPOUND,
        {"N": "16", "P2O5": "16", "K2O": "16", "N ammoniacal": "9", "N urea": "7"},
        10_000_000, 25_000_000, 2900,
    ),
    ("Magnesium salt", Kind.MAGNESIUM, {"Mg": "9.86", "S": "13.01"}, 1_500_000, 10_000_000, 1250),
    (
        "Trace concentrate", Kind.TRACE_CONCENTRATE,
        {"B": "1", "Cu": "1.5", "Fe": "6", "Mn": "5", "Mo": "0.05", "Zn": "4"},
        150_000, 1_000_000, 1800,
    ),
    ("Drying agent", Kind.INERT, {}, 350_000, 2_000_000, 600),
)  # fmt: skip
MIXED_MG = sum(row[3] for row in R)  # 12 kg
LONG_MADE = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)  # so that any time in living memory can be told


@dataclass
class Day:
    programme: Programme
    day: MixingDay
    round: Round
    revision: Revision
    lots: list[Lot]
    batch: Batch
    pails: list[Pail]
    scale: Scale
    portions: dict[str, Portion] = field(default_factory=dict)  # by plot label

    def pail_place(self, number: int = 1) -> Place:
        return Place.objects.get(pail=self.pails[number - 1])

    def tub(self, portion: Portion) -> Place:
        return Place.objects.get(plot=portion.plot, household=portion.household, batch=self.batch)


def key() -> uuid.UUID:
    return uuid.uuid4()


def make_revision(programme: Programme, by: Person, name: str = "Garden blend") -> Revision:
    """R with its materials, each with one declaration."""
    blend = Blend.objects.create(programme=programme, name=name)
    revision = Revision.objects.create(programme=programme, blend=blend, number=1, by=by)
    for position, (material_name, kind, values, mass_mg, _, _) in enumerate(R, 1):
        material = Material.objects.filter(programme=programme, name=material_name).first()
        if material is None:
            material = Material.objects.create(
                programme=programme, name=material_name, kind=kind, bulk_density=Decimal("0.950")
            )
            Declaration.objects.create(
                programme=programme, material=material, basis=Basis.LABEL, values=values, slow=Slow.NO,
                source="the bag", confidence="FOUND", by=by,
            )  # fmt: skip
        Component.objects.create(
            programme=programme, revision=revision, position=position, material=material,
            declaration=material.current(), mass_mg=mass_mg, written=f"{mass_mg / 1_000_000} kg",
        )  # fmt: skip
    return revision


def receive_lots(revision: Revision, garden: Garden, by: Person, bags: int = 1) -> list[Lot]:
    """One lot of each of the revision's materials, in the shed."""
    programme, lots = revision.programme, []
    for component in revision.components.select_related("material", "declaration"):
        bag_mg, price = next((row[4], row[5]) for row in R if row[0] == component.material.name)
        lot = Lot.objects.create(
            programme=programme, material=component.material, declaration=component.declaration,
            code=f"L{Lot.objects.filter(programme=programme).count() + 1:02d}", bags=bags, bag_mass_mg=bag_mg,
            price_minor=price * bags, supplier="the farm store", day=dt.date(2026, 5, 20), garden=garden,
            spot="shed", by=by,
        )  # fmt: skip
        place = Place.objects.create(programme=programme, kind="lot", lot=lot, garden=garden, spot="shed")
        supplier = ledger.single(programme, PlaceKind.SUPPLIER)
        move(programme, by, TicketKind.RECEIVE, supplier, place, lot.mass_mg)
        lots.append(lot)
    return lots


def move(
    programme: Programme,
    by: Person,
    kind: TicketKind,
    source: Place,
    target: Place,
    mass_mg: int,
    *,
    reason: str = "",
    told: bool = False,
) -> Ticket:
    """One ticket with one line."""
    entry = Entry(
        kind=kind, key=key(), payload={"mass_mg": mass_mg}, lines=[Line(source, target, mass_mg)],
        reason=reason, told={source.pk} if told else (), is_told=told,
    )  # fmt: skip
    return ledger.post(programme=programme, by=by, entry=entry)


def mix(
    day: MixingDay, revision: Revision, lots: Sequence[Lot], scale: Scale, by: Person, *, witness: Person,
    mass_mg: int = MIXED_MG, pails: int = 2, number: int = 1,
) -> tuple[Batch, list[Pail]]:  # fmt: skip
    """A batch in equal pails, each weighed exactly to its target and released."""
    programme = day.programme
    batch = Batch.objects.create(
        programme=programme, day=day, number=number, revision=revision, mass_mg=mass_mg, ten_scoops_mg=142_000
    )
    made = []
    for n in range(1, pails + 1):
        pail = Pail.objects.create(programme=programme, batch=batch, number=n, target_mg=mass_mg // pails)
        place = Place.objects.create(
            programme=programme, kind=PlaceKind.PAIL, pail=pail, garden=day.garden, gate=Gate.FILLING
        )
        for component, lot in zip(revision.components.select_related("material"), lots, strict=True):
            target_mg = component.mass_mg * mass_mg // revision.mass_mg // pails
            PailTarget.objects.create(
                programme=programme, pail=pail, component=component, scale=scale, position=component.position,
                target_mg=target_mg,
            )  # fmt: skip
            source = Place.objects.get(lot=lot)
            ticket = move(programme, by, TicketKind.WEIGH_OUT, source, place, target_mg)
            WeighOut.objects.create(
                programme=programme, ticket=ticket, pail=pail, component=component, lot=lot, scale=scale,
                target_mg=target_mg, gross_mg=target_mg + 210_000, tare_mg=210_000,
                witness=witness if component.material.is_trace else None,
            )  # fmt: skip
        Place.objects.filter(pk=place.pk).update(gate=Gate.RELEASED)
        made.append(pail)
    return batch, made


def make_portion(
    round_: Round, plot: Plot, household: Household, due_mg: int, *, cause: Cause = Cause.FROZEN
) -> Portion:
    return Portion.objects.create(
        programme=round_.programme, round=round_, plot=plot, household=household, revision=round_.revision,
        cause=cause, demand_mg=due_mg, due_mg=due_mg,
    )  # fmt: skip


def play_day(
    cast: Cast, due: Sequence[tuple[Plot, Household, int]] = (), *, mass_mg: int = MIXED_MG, pails: int = 2
) -> Day:
    """A day ready to hand out: two released pails of 6 kg of R; plot 17 is due 200 g unless told else."""
    programme, by = cast.programme, cast.organiser
    revision = make_revision(programme, by)
    lots = receive_lots(revision, cast.garden, by)
    day = MixingDay.objects.create(programme=programme, garden=cast.garden, day=timezone.now().date())
    Crew.objects.create(programme=programme, day=day, person=cast.steward)
    scale = Scale.objects.create(
        programme=programme, name="Bench scale", division_mg=1_000, min_mg=0, max_mg=40_000_000
    )
    batch, made = mix(
        day, revision, lots, scale, cast.steward, witness=cast.second_steward, mass_mg=mass_mg, pails=pails
    )
    batch.made_at = LONG_MADE
    batch.save(update_fields=["made_at"])
    round_ = Round.objects.create(
        programme=programme, number=1, first_day=day.day, weeks=4, revision=revision, mixing_day=day,
        batch=batch, state=RoundState.FROZEN, made_by=by,
    )  # fmt: skip
    gardens = {cast.garden.pk, *(plot.garden_id for plot, _, _ in due)}
    for garden_id in sorted(gardens):
        RoundGarden.objects.create(programme=programme, round=round_, garden_id=garden_id)
    played = Day(programme, day, round_, revision, lots, batch, made, scale)
    for plot, household, due_mg in due or [(cast.plot, cast.household, 200_000)]:
        played.portions[plot.label] = make_portion(round_, plot, household, due_mg)
    return played
