"""What is in the tub: the item that a garden's doses are computed for, and the level scoop that
measures it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from fractions import Fraction

from django.db.models import Exists, OuterRef, Prefetch, Subquery, prefetch_related_objects

from blends.chemistry import BlendAnalysis
from blends.models import Batch, Blend, Component, PailDecision, Revision
from blends.queries.pails import dose_analysis
from gardens.models import Programme
from gardens.nutrients import Nutrient
from gardens.refusals import Refused
from schedules import rules
from schedules.models import Collection, Round, RoundGarden
from schedules.specs import BlendItem

TYPICAL_N = Fraction(
    40, 3
)  # percent: ten parts of a 16 % compound in twelve of blend; until there is a recipe
TYPICAL = BlendItem("a blend of 13.3 % nitrogen (assumed)", TYPICAL_N)


@dataclass(frozen=True)
class Item:
    """One item as doses see it, with the scoop. ``revision`` is None for the assumed one, ``batch`` before
    mixing.
    """

    blend: BlendItem
    scoop_mg: int
    scoop_measured: bool = False
    revision: Revision | None = None
    batch: Batch | None = None

    @property
    def assumed(self) -> bool:
        return self.revision is None


def with_components() -> Prefetch[str]:
    """Prefetch for querysets of Revision: its analysis then needs no further query."""
    return Prefetch("components", Component.objects.select_related("material", "declaration"))


def blend_item(analysis: BlendAnalysis, name: str) -> BlendItem:
    """Only the soluble nitrogen counts for weekly feeding; boron that nobody declares is not known, never
    zero.
    """
    return BlendItem(
        name,
        analysis.soluble_n if analysis.soluble_n is not None else Fraction(0),
        analysis.percent.get(Nutrient.B),
        slow_release=analysis.has_slow,
    )


def check_weekly(analysis: BlendAnalysis, name: str, field: str = "revision") -> None:
    """Refused, in words, where a blend cannot be fed weekly."""
    if not analysis.soluble_n:
        raise Refused(
            "no_soluble_nitrogen",
            f"{name} has no soluble nitrogen as far as its bags declare, so there is nothing to dose by. "
            "Choose a blend with nitrogen, or type the label of its compound.",
            field,
        )
    if analysis.has_slow or not analysis.weekly:
        raise Refused(
            "slow_release",
            f"{name} has slow-release or coated nitrogen, or nobody knows that it has not: it cannot be fed "
            "weekly. "
            "Choose a blend whose bags say that all nitrogen is soluble.",
            field,
        )


def item_of_revision(revision: Revision) -> Item:
    """By design: the recipe's analysis, the scoop by its bulk density."""
    return Item(
        blend_item(revision.analysis(), str(revision)),
        rules.scoop_mg(rules.TABLESPOON_UL, revision.bulk_density),
        revision=revision,
    )


def item_of_batch(batch: Batch, analysis: BlendAnalysis | None = None) -> Item:
    """As mixed: the design's analysis, or ``analysis`` where the organiser accepted another; the weighed
    scoop.
    """
    revision = batch.revision
    scoop = Fraction(batch.ten_scoops_mg, 10) if batch.ten_scoops_mg else None
    return Item(
        blend_item(analysis or revision.analysis(), str(batch)),
        int(scoop) if scoop else rules.scoop_mg(rules.TABLESPOON_UL, revision.bulk_density),
        scoop_measured=scoop is not None,
        revision=revision,
        batch=batch,
    )


@dataclass(frozen=True)
class Items:
    """The item of each garden; ``plots`` overrides it where a plot's tub came from a pail accepted as it was.

    ``rounds`` is the round that each garden's item is from, ``every`` all that there are for it.
    """

    default: Item
    gardens: dict[int, Item] = field(default_factory=dict)
    plots: dict[int, Item] = field(default_factory=dict)
    rounds: dict[int, Round] = field(default_factory=dict)
    every: dict[int, list[Round]] = field(default_factory=dict)

    def of(self, garden: int, plot: int) -> Item:
        return self.plots.get(plot) or self.gardens.get(garden) or self.default


def assumed_item() -> Item:
    """Before there is a recipe: a typical blend, marked assumed."""
    return Item(TYPICAL, rules.scoop_mg(rules.TABLESPOON_UL))


def default_revision(programme: Programme) -> Revision | None:
    """The newest revision of the programme's default blend."""
    blends = Blend.objects.filter(programme=programme).order_by("-is_default", "id").values("pk")[:1]
    return (
        Revision.objects.filter(blend__in=Subquery(blends))
        .select_related("blend")
        .order_by("-number")
        .first()
    )


def items_on(programme: Programme, day: dt.date, *, gardens: Iterable[int] | None = None) -> Items:
    """What stands in the holders' sheds around ``day``: per garden the newest round begun by then, else the
    next one; where there is none, the default blend, or before there is one a typical blend. At most three
    queries, and two more where a pail was accepted outside its design.
    """
    rows = RoundGarden.objects.filter(programme=programme)
    if gardens is not None:
        rows = rows.filter(garden__in=list(gardens))
    accepted = PailDecision.objects.filter(pail__batch=OuterRef("round__batch"), accepted=True)
    in_order = (
        rows.select_related("round__revision__blend", "round__batch__revision__blend", "round__mixing_day")
        .annotate(accepted=Exists(accepted))
        .order_by("round__first_day", "round__number")
    )
    begun: dict[int, RoundGarden] = {}
    coming: dict[int, RoundGarden] = {}
    every: dict[int, list[Round]] = {}
    for row in in_order:
        every.setdefault(row.garden_id, []).append(row.round)
        if row.round.first_day <= day:
            begun[row.garden_id] = row
        else:
            coming.setdefault(row.garden_id, row)
    chosen = {**coming, **begun}
    fallback = None
    if not chosen or (gardens is None) or set(chosen) != set(gardens):
        fallback = default_revision(programme)
    rounds = {garden: row.round for garden, row in chosen.items()}
    revisions = [_revision_of(r) for r in rounds.values()] + ([fallback] if fallback else [])
    prefetch_related_objects(revisions, with_components())
    some = {row.round_id for row in chosen.values() if row.accepted}  # type: ignore[attr-defined]
    items, plots = _of_rounds(rounds, accepted=some)
    usable = fallback is not None and fallback.analysis().weekly
    default = item_of_revision(fallback) if fallback is not None and usable else assumed_item()
    return Items(default, items, plots, rounds, every)


def items_of_round(round: Round, *, accepted: bool | None = None) -> Items:
    """The round's own item for everybody. ``accepted`` tells whether one of its pails was accepted outside
    its design; it is asked where None.
    """
    prefetch_related_objects([_revision_of(round)], with_components())
    if accepted is None:
        decided = PailDecision.objects.filter(pail__batch=round.batch_id, accepted=True)
        accepted = bool(round.batch_id) and decided.exists()
    items, plots = _of_rounds({0: round}, accepted={round.pk} if accepted else set())
    return Items(items[0], {}, plots)


def _revision_of(round: Round) -> Revision:
    return round.batch.revision if round.batch is not None else round.revision


def _of_rounds(rounds: dict[int, Round], *, accepted: set[int]) -> tuple[dict[int, Item], dict[int, Item]]:
    """Items by garden and, for tubs from accepted pails, by plot. The dose follows the tub."""
    by_round = {
        r.pk: item_of_batch(r.batch) if r.batch is not None else item_of_revision(r.revision)
        for r in rounds.values()
    }
    plots: dict[int, Item] = {}
    for round in {r.pk: r for r in rounds.values() if r.pk in accepted}.values():
        assert round.batch is not None
        of_batch = by_round[round.pk]
        plots |= _tubs(round, of_batch)
        by_round[round.pk] = item_of_batch(round.batch, dose_analysis(round.batch))
    return {garden: by_round[each.pk] for garden, each in rounds.items()}, plots


def _tubs(round: Round, of_batch: Item) -> dict[int, Item]:
    """By plot, the item of a tub from a pail accepted outside 5 % of the design's nitrogen; its newest tub
    counts.
    """
    decided = PailDecision.objects.filter(pail__batch=round.batch_id, accepted=True)
    pails = {d.pail_id: d.pail for d in decided.select_related("pail__batch__revision__blend")}
    items = {
        pk: replace(of_batch, blend=blend_item(dose_analysis(pail), of_batch.blend.name))
        for pk, pail in pails.items()
    }
    found: dict[int, Item] = {}
    taken = Collection.objects.standing().filter(portion__round=round).order_by("pk")
    for plot, pail_id in taken.values_list("portion__plot_id", "pail_id"):
        found[plot] = items.get(pail_id, of_batch)
    return found
