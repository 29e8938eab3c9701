"""What is in store, where, and what it cost."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from django.db.models import OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from blends import chemistry
from blends.models import (
    Count,
    Declaration,
    Lot,
    Material,
    MixingDay,
    Place,
    PlaceKind,
    Revision,
    WeighOut,
)
from gardens.models import Programme


@dataclass(frozen=True)
class InStore:
    """One lot in one spot, by the book, and when it was last counted."""

    place: Place
    lot: Lot
    last_count: Count | None

    @property
    def balance_mg(self) -> int:
        return self.place.balance_mg

    @property
    def opened(self) -> bool:
        """Some of it is gone."""
        return self.balance_mg < self.lot.mass_mg


@dataclass(frozen=True)
class MaterialStock:
    material: Material
    places: tuple[InStore, ...]

    @property
    def total_mg(self) -> int:
        return sum(p.balance_mg for p in self.places)


def stock(programme: Programme) -> tuple[MaterialStock, ...]:
    """Every material with what the book says is in store, lot by lot, spot by spot; empty spots left out."""
    places = list(
        Place.objects.filter(programme=programme, kind=PlaceKind.LOT, balance_mg__gt=0)
        .select_related("lot__material", "garden")
        .order_by("lot__day", "lot__code", "id")
    )
    counts = {
        c.place_id: c for c in Count.objects.filter(place__in=places).select_related("by").order_by("id")
    }
    found: dict[int, list[InStore]] = defaultdict(list)
    for place in places:
        assert place.lot is not None
        found[place.lot.material_id].append(InStore(place, place.lot, counts.get(place.pk)))
    materials = Material.objects.filter(programme=programme)
    return tuple(MaterialStock(m, tuple(found.get(m.pk, ()))) for m in materials)


def stock_mg(programme: Programme) -> Mapping[int, int]:
    """In store by the book, in mg, by id of the material."""
    rows = (
        Place.objects.filter(programme=programme, kind=PlaceKind.LOT)
        .values_list("lot__material")
        .annotate(mass=Sum("balance_mg"))
    )
    return {material: int(mass) for material, mass in rows.order_by()}


def lots(programme: Programme) -> QuerySet[Lot]:
    """Deliveries, newest first, each with ``in_store_mg``."""
    held = Place.objects.filter(lot=OuterRef("pk"), kind=PlaceKind.LOT).order_by().values("lot")
    return (
        Lot.objects.filter(programme=programme)
        .select_related("material", "garden", "by")
        .annotate(in_store_mg=Coalesce(Subquery(held.annotate(m=Sum("balance_mg")).values("m")), 0))
    )


def lots_of_day(day: MixingDay) -> tuple[Lot, ...]:
    """All lots whose bags may be open today, in the order of their marks: in store, or weighed out today
    already (a bag that the book thinks empty may hold a little more).
    """
    used = WeighOut.objects.filter(pail__batch__day=day).values("lot")
    return tuple(
        lots(day.programme)
        .filter(Q(places__balance_mg__gt=0, places__kind=PlaceKind.LOT) | Q(pk__in=used))
        .distinct()
        .order_by("code")
    )


def newest_lots(programme: Programme, materials: Iterable[int]) -> Mapping[int, Lot]:
    """The last delivery of each material that stands."""
    rows = Lot.objects.filter(programme=programme, material__in=list(materials), withdrawn=False).order_by(
        "day", "id"
    )
    return {lot.material_id: lot for lot in rows}


def current_declarations(programme: Programme) -> Mapping[int, Declaration]:
    """The newest declaration of each material, by id of the material."""
    return {d.material_id: d for d in Declaration.objects.filter(programme=programme).order_by("id")}


# --- cost -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class CostLine:
    """One component's share of a recipe's cost, by its last delivery."""

    name: str
    mass_mg: int
    lot: Lot

    @property
    def minor(self) -> Fraction:
        return Fraction(self.mass_mg * self.lot.price_minor, self.lot.mass_mg)


@dataclass(frozen=True)
class Cost:
    """``minor_per_kg`` is None while some component (``unpriced``) was never delivered."""

    lines: tuple[CostLine, ...] = ()
    unpriced: tuple[str, ...] = ()
    mass_mg: int = 0
    days: tuple[dt.date, ...] = field(default=())

    @property
    def minor_per_kg(self) -> Fraction | None:
        if self.unpriced or not self.lines:
            return None
        return chemistry.cost_per_kg([(x.mass_mg, x.lot.price_minor, x.lot.mass_mg) for x in self.lines])

    @property
    def minor(self) -> Fraction | None:
        """Of the whole recipe."""
        return None if self.unpriced else sum((x.minor for x in self.lines), Fraction(0))


def cost_of(programme: Programme, parts: Iterable[tuple[Material, int]]) -> Cost:
    """What a recipe costs at the last delivery of each of its materials; parts are (material, mass in mg)."""
    listed = list(parts)
    newest = newest_lots(programme, [material.pk for material, _ in listed])
    return Cost(
        lines=tuple(CostLine(m.name, mass, newest[m.pk]) for m, mass in listed if m.pk in newest),
        unpriced=tuple(m.name for m, _ in listed if m.pk not in newest),
        mass_mg=sum(mass for _, mass in listed),
    )


def cost_of_revision(revision: Revision) -> Cost:
    return cost_of(revision.programme, [(c.material, c.mass_mg) for c in revision.components.all()])
