"""Which scale weighs what, and how a mass falls into pails and weigh-outs. Asks the database for nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from blends import batching
from blends.batching import BatchingError, Fitness, Limit, Part, Target
from blends.models import Component, PailTarget, Scale
from gardens.nutrients import Nutrient


@dataclass(frozen=True)
class Wanted:
    """One weigh-out to come: its target, the scale for it, and whether that scale will do."""

    target: Target
    component: Component
    scale: Scale
    fit: Fitness

    @property
    def scale_id(self) -> int:
        return self.scale.pk

    @property
    def low_mg(self) -> int:
        """The least good reading, in steps of the scale."""
        division = self.scale.division_mg
        return -(-(self.target.target_mg - self.target.tolerance_mg) // division) * division

    @property
    def high_mg(self) -> int:
        division = self.scale.division_mg
        return (self.target.target_mg + self.target.tolerance_mg) // division * division

    @property
    def trace(self) -> bool:
        return self.target.part.trace


@dataclass(frozen=True)
class Planned:
    """Pails, most first, and what goes into one of each mass, in the order of weighing."""

    pails_mg: tuple[int, ...]
    limit_mg: int
    limited_by: Limit
    by_mass: Mapping[int, tuple[Wanted, ...]]

    def of(self, pail_mg: int) -> tuple[Wanted, ...]:
        return self.by_mass[pail_mg]

    @property
    def first(self) -> tuple[Wanted, ...]:
        return self.by_mass[self.pails_mg[0]]


def plan_pails(
    components: Sequence[Component], scales: Sequence[Scale], mass_mg: int, *, density_g_ml: Decimal
) -> Planned:
    """Raises BatchingError where there is no mass, no scale, or a component too small for any scale."""
    pails = batching.split(mass_mg, density_g_ml=density_g_ml)
    if not scales:
        raise BatchingError("no_scale", "There is no scale: enter the ones you have first.", "scales")
    by_mass = {mass: _weigh_outs(components, scales, mass) for mass in set(pails.masses_mg)}
    return Planned(pails.masses_mg, pails.limit_mg, pails.limited_by, by_mass)


def _weigh_outs(components: Sequence[Component], scales: Sequence[Scale], pail_mg: int) -> tuple[Wanted, ...]:
    exact = batching.scaled([c.mass_mg for c in components], pail_mg)
    chosen = {str(c.pk): best_scale(mass, scales, c) for c, mass in zip(components, exact, strict=True)}
    parts = [part_of(c, chosen[str(c.pk)].division_mg) for c in components]
    by_key = {str(c.pk): c for c in components}
    found: list[Wanted] = []
    for target in batching.weigh_outs(parts, pail_mg):
        scale = chosen[target.part.key]
        if target.target_mg < scale.division_mg:
            raise BatchingError(
                "too_small",
                f"{target.part.name} would be {target.target_mg} mg in a pail, less than one step of any "
                "scale here: mix more, or take a finer scale.",
                "mass",
            )
        found.append(
            Wanted(target, by_key[target.part.key], scale, fit_of(target.target_mg, scale, target.part.trace))
        )
    return tuple(found)


def part_of(component: Component, division_mg: int, boron: Decimal | None = None) -> Part:
    """A component as the weighing sees it; its boron is its declaration's unless given."""
    if boron is None:
        boron = component.declaration.analysis().percent.get(Nutrient.B, Decimal(0))
    return Part(
        key=str(component.pk),
        name=component.material.name,
        mass_mg=component.mass_mg,
        division_mg=division_mg,
        inert=component.material.is_inert,
        trace=component.material.is_trace,
        boron=boron,
    )


def best_scale(mass_mg: int, scales: Sequence[Scale], component: Component) -> Scale:
    """For trace the finest that will do, else the coarsest; where none will, the finest that carries it."""
    fits = {scale: fit_of(mass_mg, scale, component.material.is_trace) for scale in scales}
    fine = [s for s, fit in fits.items() if fit is Fitness.FINE]
    if fine and not component.material.is_trace:
        return max(fine, key=lambda s: (s.division_mg, -s.pk))
    able = [s for s, fit in fits.items() if fit is not Fitness.OVER_MAXIMUM]
    if not able:
        raise BatchingError(
            "no_scale",
            f"No scale here carries {mass_mg / 1_000_000:.3f} kg of {component.material.name}: "
            "enter a larger one.",
            "scales",
        )
    return min(fine or able, key=lambda s: (s.division_mg, s.pk))


def fit_of(mass_mg: int, scale: Scale, trace: bool, tare_mg: int = 0) -> Fitness:
    return batching.fitness(mass_mg, loads(scale), trace=trace, tare_mg=tare_mg)


def loads(scale: Scale) -> batching.Scale:
    return batching.Scale(scale.division_mg, scale.min_mg, scale.max_mg)


def as_wanted(row: PailTarget, mass_mg: int | None = None) -> Wanted:
    """A pail's target from its row (with component__material, component__declaration, scale)."""
    target = Target(
        part_of(row.component, row.scale.division_mg), row.target_mg if mass_mg is None else mass_mg
    )
    fit = fit_of(target.target_mg, row.scale, target.part.trace)
    return Wanted(target, row.component, row.scale, fit)
