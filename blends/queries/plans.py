"""A revision brought to a mass: pails, weigh-outs, what to buy in whole bags, and the cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from blends.batching import Bag, Fitness, Purchase, scaled, shopping
from blends.models import Component, Lot, Material, Revision, Scale
from blends.planning import Planned, Wanted, plan_pails
from blends.queries.store import cost_of, newest_lots, stock_mg
from blends.refusals import told_kindly
from gardens.models import Programme

#: Where the programme has no scale yet: to the gram, whatever it carries. Marked as assumed.
ASSUMED_SCALE = {"name": "a scale to 1 g", "division_mg": 1_000, "min_mg": 0, "max_mg": 10**11}


@dataclass(frozen=True)
class Buy:
    """What is needed of one material, in bags as last delivered; ``bag`` is None where none ever was."""

    material: Material
    need_mg: int
    stock_mg: int
    bag: Lot | None
    purchase: Purchase | None

    @property
    def short_mg(self) -> int:
        return max(0, self.need_mg - self.stock_mg)

    @property
    def bags(self) -> int:
        return self.purchase.bags if self.purchase else 0

    @property
    def cost_minor(self) -> int | None:
        return self.purchase.cost_minor if self.purchase else None

    @property
    def left_mg(self) -> int | None:
        return self.purchase.left_mg if self.purchase else None


@dataclass(frozen=True)
class BatchPlan:
    """``weigh_outs`` are those of the first pail; the others have the same, or one milligram less in all."""

    mass_mg: int
    planned: Planned
    buys: tuple[Buy, ...]
    scales_assumed: bool
    cost_minor: Fraction | None  # of the material in it, at the last prices

    @property
    def pails_mg(self) -> tuple[int, ...]:
        return self.planned.pails_mg

    @property
    def weigh_outs(self) -> tuple[Wanted, ...]:
        return self.planned.first

    @property
    def to_pay_minor(self) -> int | None:
        """For the bags to buy; None where the price of one is not known."""
        costs = [b.cost_minor for b in self.buys if b.short_mg]
        return None if any(c is None for c in costs) else sum(c for c in costs if c is not None)

    @property
    def bags(self) -> int:
        return sum(b.bags for b in self.buys)

    @property
    def unknown_bags(self) -> tuple[str, ...]:
        """Materials to buy of which no bag's size is known."""
        return tuple(b.material.name for b in self.buys if b.purchase is None)

    @property
    def unfit(self) -> tuple[Wanted, ...]:
        """Weigh-outs whose scale is coarser than the reading may be off, or below its smallest load."""
        return tuple(w for w in self.weigh_outs if w.fit is not Fitness.FINE)


def batch_plan(
    revision: Revision,
    mass_mg: int,
    scales: Sequence[Scale] | None = None,
    stock: Mapping[int, int] | None = None,
) -> BatchPlan:
    """Raises Refused where no such batch can be weighed. ``stock``: mg by material, the book's when None."""
    programme = revision.programme
    if scales is None:
        scales = list(Scale.objects.filter(programme=programme, retired=False))
    usable = list(scales) or [Scale(pk=0, programme=programme, **ASSUMED_SCALE)]
    components = list(revision.components.select_related("material", "declaration"))
    with told_kindly("mass"):
        planned = plan_pails(components, usable, mass_mg, density_g_ml=revision.bulk_density)
    need = dict(zip(components, scaled([c.mass_mg for c in components], mass_mg), strict=True))
    cost = cost_of(programme, [(c.material, mass) for c, mass in need.items()])
    return BatchPlan(
        mass_mg=mass_mg,
        planned=planned,
        buys=_buys(programme, need, stock_mg(programme) if stock is None else stock),
        scales_assumed=not scales,
        cost_minor=cost.minor,
    )


def _buys(programme: Programme, need: Mapping[Component, int], stock: Mapping[int, int]) -> tuple[Buy, ...]:
    newest = newest_lots(programme, [c.material_id for c in need])
    buys = []
    for component, mass in need.items():
        material, lot = component.material, newest.get(component.material_id)
        have = stock.get(material.pk, 0)
        purchase = None
        if lot or have >= mass:
            bags = (
                {} if lot is None else {material.name: Bag(lot.bag_mass_mg, -(-lot.price_minor // lot.bags))}
            )
            (purchase,) = shopping({material.name: mass}, {material.name: have}, bags)
        buys.append(Buy(material, mass, have, lot, purchase))
    return tuple(buys)


def scaled_recipe(revision: Revision, mass_mg: int) -> tuple[tuple[Component, int], ...]:
    """Each component with its mass in a batch of ``mass_mg``; they sum to it exactly."""
    components = list(revision.components.all())
    with told_kindly("mass"):
        return tuple(zip(components, scaled([c.mass_mg for c in components], mass_mg), strict=True))
