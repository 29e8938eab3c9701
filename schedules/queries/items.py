"""What is in the tub: the item that a garden's doses are computed for, and the level scoop that
measures it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from fractions import Fraction

from django.db.models import Prefetch

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
            f"{name} has slow-release or coated nitrogen, or nobody knows that it has not: it cannot be fed weekly. "
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
    """The item of each garden; ``plots`` overrides it where a plot's tub came from a pail accepted as it
    was.
    """

    default: Item
    gardens: dict[int, Item] = field(default_factory=dict)
    plots: dict[int, Item] = field(default_factory=dict)

    def of(self, garden: int, plot: int) -> Item:
        return self.plots.get(plot) or self.gardens.get(garden) or self.default


def default_item(programme: Programme) -> Item:
    """The newest revision of the programme's default blend; without one, a typical blend, marked assumed."""
    blends = Blend.objects.filter(programme=programme).order_by("-is_default", "id").values("pk")[:1]
    revision = (
        Revision.objects.filter(blend__in=blends)
        .select_related("blend")
        .prefetch_related(with_components())
        .order_by("-number")
        .first()
    )
    if revision is None or not revision.analysis().weekly:
        return Item(TYPICAL, rules.scoop_mg(rules.TABLESPOON_UL))
    return item_of_revision(revision)


def items_on(programme: Programme, day: dt.date, *, gardens: Iterable[int] | None = None) -> Items:
    """What stands in the holders' sheds around ``day``: per garden the newest round begun by then, else the
    next one.
    """
    rows = RoundGarden.objects.filter(programme=programme)
    if gardens is not None:
        rows = rows.filter(garden__in=list(gardens))
    begun: dict[int, Round] = {}
    coming: dict[int, Round] = {}
    in_order = rows.select_related("round__revision__blend", "round__batch__revision__blend").order_by(
        "round__first_day", "round__number"
    )
    for row in in_order:
        if row.round.first_day <= day:
            begun[row.garden_id] = row.round
        else:
            coming.setdefault(row.garden_id, row.round)
    chosen = {**coming, **begun}
    return Items(default_item(programme), *_of_rounds(programme, chosen))


def items_of_round(round: Round) -> Items:
    """The round's own item for everybody."""
    gardens = list(RoundGarden.objects.filter(round=round).values_list("garden_id", flat=True))
    items, plots = _of_rounds(round.programme, dict.fromkeys(gardens, round))
    default = next(iter(items.values())) if items else default_item(round.programme)
    return Items(default, items, plots)


def _of_rounds(programme: Programme, rounds: dict[int, Round]) -> tuple[dict[int, Item], dict[int, Item]]:
    """Items by garden and, for tubs from accepted pails, by plot: a few queries whatever the number of
    rounds.
    """
    if not rounds:
        return {}, {}
    needed = {(r.batch.revision_id if r.batch else r.revision_id) for r in rounds.values()}
    revisions = {
        r.pk: r
        for r in Revision.objects.filter(pk__in=needed)
        .select_related("blend")
        .prefetch_related(with_components())
    }
    by_round: dict[int, Item] = {}
    for each in rounds.values():
        if each.batch is not None:
            each.batch.revision = revisions[each.batch.revision_id]
        by_round[each.pk] = (
            item_of_batch(each.batch)
            if each.batch is not None
            else item_of_revision(revisions[each.revision_id])
        )
    plots = _accepted({r.batch.pk: r for r in rounds.values() if r.batch is not None}, by_round)
    return {garden: by_round[each.pk] for garden, each in rounds.items()}, plots


def _accepted(mixed: dict[int, Round], by_round: dict[int, Item]) -> dict[int, Item]:
    """The dose follows the tub: by plot, the item of a tub from a pail accepted outside 5 % of the design's nitrogen.

    ``by_round`` is changed where a whole batch was accepted so. One query where no pail was.
    """
    decided = PailDecision.objects.filter(pail__batch__in=list(mixed), accepted=True)
    pails = {d.pail_id: d.pail for d in decided.select_related("pail__batch__revision__blend")}
    if not pails:
        return {}
    items: dict[int, Item] = {}
    for pk, pail in pails.items():
        of_batch = by_round[mixed[pail.batch_id].pk]
        items[pk] = replace(of_batch, blend=blend_item(dose_analysis(pail), of_batch.blend.name))
    for pk in {pail.batch_id for pail in pails.values()}:
        round = mixed[pk]
        assert round.batch is not None
        by_round[round.pk] = item_of_batch(round.batch, dose_analysis(round.batch))
    found: dict[int, Item] = {}
    taken = Collection.objects.standing().filter(portion__round__in=list(mixed.values())).order_by("pk")
    for plot, pail_id in taken.values_list("portion__plot_id", "pail_id"):
        if pail_id in items:
            found[plot] = items[pail_id]
        else:
            found.pop(plot, None)
    return found
