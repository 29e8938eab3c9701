"""A shed with the worked examples' blend, made through the actions; a mixing day ready to weigh."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from blends.actions import days, recipes, scales, stock
from blends.models import Batch, Lot, Material, MixingDay, Pail, PailTarget, Place, Revision, Scale, WeighOut
from blends.planning import as_wanted
from blends.safety import POINTS
from gardens.clock import today
from gardens.models import Person, Programme

NO_GRADE = {"N": "0", "P2O5": "0", "K2O": "0"}
#: name, kind, label (or formula), mg of 12 kg, as written, bag in mg, price of the bag, mark of the lot.
R: tuple[tuple[str, str, dict[str, str], str, int, str, int, int, str], ...] = (
    ("Compound 16-16-16", "compound", {"N": "16", "P2O5": "16", "K2O": "16"}, "",
     10_000_000, "10 kg", 25_000_000, 2900, "C-07"),
    ("Magnesium salt", "magnesium", {}, "MgSO4·7H2O", 1_500_000, "1.5 kg", 10_000_000, 1250, "M-02"),
    ("Trace concentrate", "trace_concentrate",
     {"B": "1", "Cu": "1.5", "Fe": "6", "Mn": "5", "Mo": "0.05", "Zn": "4", **NO_GRADE},
     "", 150_000, "150 g", 1_000_000, 1800, "T-03"),
    ("Drying agent", "inert", NO_GRADE, "", 350_000, "350 g", 2_000_000, 600, "D-01"),
)  # fmt: skip


def key() -> uuid.UUID:
    return uuid.uuid4()


@dataclass
class Shed:
    programme: Programme
    organiser: Person
    steward: Person
    witness: Person
    materials: list[Material]
    lots: list[Lot]
    revision: Revision
    coarse: Scale
    fine: Scale

    def lot(self, name: str) -> Lot:
        """By what is in it: "compound", "magnesium", "trace", "drying"."""
        return next(lot for lot in self.lots if name in lot.material.name.lower())

    def material(self, name: str) -> Material:
        return next(m for m in self.materials if name in m.name.lower())


def make_material(programme: Programme, by: Person, row: Any) -> Material:
    name, kind, label, formula, *_ = row
    return stock.declare_material(
        programme=programme, by=by, name=name, kind=kind, slow="no", formula=formula,
        values={k: Decimal(v) for k, v in label.items()}, bulk_density=Decimal("0.95"),
    )  # fmt: skip


def fill_shed(cast: Any, rows: Iterable[Any] = R) -> Shed:
    programme, by = cast.programme, cast.organiser
    materials, lots = [], []
    for row in rows:
        material = make_material(programme, by, row)
        materials.append(material)
        lots.append(
            stock.receive_lot(
                programme=programme, by=by, material=material, code=row[8], bags=1, bag_mass_mg=row[6],
                price_minor=row[7], supplier="farm store", day=today(programme), garden=cast.garden,
                spot="north shed", key=key(),
            )
        )  # fmt: skip

    def scale(name: str, division_mg: int, max_mg: int) -> Scale:
        return scales.add_scale(programme=programme, by=by, name=name, division_mg=division_mg, max_mg=max_mg)

    blend = recipes.start_blend(programme=programme, by=by, name="All-round")
    lines = [(m, row[4], row[5]) for m, row in zip(materials, rows, strict=True)]
    return Shed(
        programme=programme, organiser=by, steward=cast.steward, witness=cast.second_steward,
        materials=materials, lots=lots, revision=recipes.freeze_revision(blend=blend, by=by, lines=lines),
        coarse=scale("Scale A", 1_000, 30_000_000), fine=scale("Scale B", 100, 500_000),
    )  # fmt: skip


@dataclass
class Weighing:
    """A day whose safety list is ticked, with one batch."""

    shed: Shed
    day: MixingDay
    batch: Batch

    @property
    def pails(self) -> list[Pail]:
        return list(self.batch.pails.select_related("place", "batch").order_by("number"))

    @property
    def pail(self) -> Pail:
        return self.pails[0]

    def target(self, name: str, number: int = 1) -> PailTarget:
        return (
            self.pails[number - 1]
            .targets.select_related("component__material", "component__declaration", "scale")
            .get(component__material__name__icontains=name)
        )

    def shown(self, name: str, number: int = 1) -> int:
        return as_wanted(self.target(name, number)).target.shown_mg

    def weigh(self, name: str, mass_mg: int | None = None, *, number: int = 1, **changes: Any) -> WeighOut:
        """One reading on its scale, from its lot, witnessed; what is wanted unless a mass is given."""
        target = self.target(name, number)
        reading: dict[str, Any] = {
            "by": self.shed.steward,
            "lot": self.shed.lot(name),
            "scale": target.scale,
            "gross_mg": (self.shown(name, number) if mass_mg is None else mass_mg) + 12_400,
            "tare_mg": 12_400,
            "key": key(),
            "witness": self.shed.witness if name == "trace" else None,
        }
        return days.weigh_out(pail=self.pails[number - 1], component=target.component, **(reading | changes))

    def weigh_all(self, number: int = 1) -> Pail:
        for name in ("compound", "magnesium", "drying", "trace"):
            self.weigh(name, number=number)
        return self.pails[number - 1]

    def release(self, number: int = 1, **how: Any) -> Any:
        return days.release_pail(pail=self.pails[number - 1], by=how.pop("by", self.shed.steward), **how)

    def place(self, number: int = 1) -> Place:
        return Place.objects.get(pail=self.pails[number - 1])


def start_weighing(cast: Any, mass_mg: int = 6_170_000, *, safe: bool = True) -> Weighing:
    shed = fill_shed(cast)
    day = days.open_day(
        programme=shed.programme, by=shed.organiser, garden=cast.garden, day=today(shed.programme),
        crew=[shed.steward, shed.witness],
    )  # fmt: skip
    batch = days.start_batch(day=day, by=shed.organiser, revision=shed.revision, mass_mg=mass_mg)
    if safe:
        for point in POINTS:
            days.tick(day=day, by=shed.steward, point=point)
    return Weighing(shed, day, batch)
