"""The round's page: need by garden, from need to batch, pails, and what changed since the freeze."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.db.models import Count, Exists, OuterRef, Sum

from blends.batching import Pails, split
from blends.models import Gate, PailDecision, Place, PlaceKind
from gardens.models import Plot, Programme
from schedules.models import Round, RoundState, Snapshot
from schedules.queries.items import items_of_round
from schedules.queries.plans import Demand, FrozenRow, GardenDemand, PlotDemand, demand_of, land_of_round
from schedules.queries.sizing import Sizing, live_sizing, mixed_sizing, sizing


@dataclass(frozen=True)
class Change:
    """A plot whose need by today's rows differs from what was frozen."""

    plot: Plot
    frozen_mg: int
    live_mg: int

    @property
    def by_mg(self) -> int:
        return self.live_mg - self.frozen_mg


@dataclass(frozen=True)
class RoundPage:
    round: Round
    demand: Demand  # as frozen where it is frozen, else live
    live: Demand
    sizing: Sizing
    frozen_at: dt.datetime | None
    changes: tuple[Change, ...]
    pails: tuple[PailRow, ...]
    limits: Pails | None  # how the batch falls into pails

    @property
    def batch_mg(self) -> int:
        return self.round.batch.mass_mg if self.round.batch else self.sizing.batch_mg

    @property
    def is_open(self) -> bool:
        return self.round.state == RoundState.OPEN

    @property
    def is_frozen(self) -> bool:
        return self.round.state == RoundState.FROZEN

    @property
    def begun(self) -> bool:
        """Something was weighed: what is frozen stands."""
        return any(p.weighed for p in self.pails)

    @property
    def can_freeze_again(self) -> bool:
        return self.is_frozen and not self.begun

    @property
    def weighed(self) -> int:
        return sum(p.weighed for p in self.pails)

    @property
    def released(self) -> int:
        return sum(1 for p in self.pails if p.released)

    @property
    def most_mg(self) -> int:
        return max((g.mg for g in self.demand.gardens), default=0) or 1

    @property
    def change_mg(self) -> int:
        return self.live.mg - self.demand.mg


def round_page(round: Round) -> RoundPage:
    """Everything the page shows but the weigh-outs and bags; a constant number of queries.

    ``round`` comes with its programme, revision's blend, batch's revision's blend and mixing day.
    """
    pails = _pails(round)
    begun = any(p.weighed for p in pails)
    items = items_of_round(round, accepted=any(p.accepted for p in pails))
    land = land_of_round(round, anew=round.state != RoundState.OPEN and not begun, items=items)
    live = demand_of(land, round.first_day, round.last_day)
    lines = land.frozen.get(round.pk, []) if round.state != RoundState.OPEN else []
    demand = frozen_demand(lines, live, land.plots) if lines else live
    if round.batch is not None:
        size = mixed_sizing(round)
    else:
        size = sizing(round) if lines else live_sizing(round, land)
    return RoundPage(
        round=round,
        demand=demand,
        live=live,
        sizing=size,
        frozen_at=lines[0].at if lines else None,
        changes=changes(demand, live) if lines else (),
        pails=pails,
        limits=_split(round, round.batch.mass_mg if round.batch else size.batch_mg),
    )


def _split(round: Round, mass_mg: int) -> Pails | None:
    return split(mass_mg, density_g_ml=round.revision.bulk_density) if mass_mg > 0 else None


@dataclass(frozen=True)
class PailRow:
    released: bool
    weighed: int  # standing weigh-outs
    accepted: bool


def _pails(round: Round) -> tuple[PailRow, ...]:
    if not round.batch_id:
        return ()
    accepted = PailDecision.objects.filter(pail=OuterRef("pail"), accepted=True)
    rows = Place.objects.filter(kind=PlaceKind.PAIL, pail__batch=round.batch_id).annotate(
        weighed=Count("pail__weigh_outs", distinct=True), accepted=Exists(accepted)
    )
    return tuple(
        PailRow(gate == Gate.RELEASED, weighed, decided)
        for gate, weighed, decided in rows.values_list("gate", "weighed", "accepted")
    )


def frozen_demand(lines: Sequence[FrozenRow], live: Demand, plots: Sequence[Plot]) -> Demand:
    """The demand as it was frozen, in the same shape; plots that were not in it stand with nothing."""
    mg: dict[int, int] = defaultdict(int)
    assumed: dict[int, int] = defaultdict(int)
    for line in lines:
        mg[line.plot] += line.mg
        if line.assumed:
            assumed[line.plot] += line.mg
    notes = {row.plot.pk: row.note for row in live.plots}
    by_garden: dict[int, list[PlotDemand]] = defaultdict(list)
    for plot in plots:
        if plot.pk not in notes and not mg[plot.pk]:
            continue
        note = "" if mg[plot.pk] else notes[plot.pk] or "not in it when it was frozen"
        by_garden[plot.garden_id].append(PlotDemand(plot, mg[plot.pk], assumed[plot.pk], note))
    gardens = {p.garden_id: p.garden for p in plots}
    return replace(
        live, gardens=tuple(GardenDemand(gardens[pk], tuple(rows)) for pk, rows in by_garden.items())
    )


def changes(frozen: Demand, live: Demand) -> tuple[Change, ...]:
    """Later edits show as differences, plot by plot; nothing changes by itself."""
    then = {row.plot.pk: row for row in frozen.plots}
    now = {row.plot.pk: row for row in live.plots}
    found = [
        Change(
            (then.get(pk) or now[pk]).plot, then[pk].mg if pk in then else 0, now[pk].mg if pk in now else 0
        )
        for pk in {**then, **now}
    ]
    return tuple(c for c in found if c.by_mg)


@dataclass(frozen=True)
class RoundRow:
    round: Round
    gardens: str
    need_mg: int | None
    state: str


def rounds_of(programme: Programme) -> list[RoundRow]:
    """All rounds, newest first, with what was frozen. Three queries."""
    rounds = (
        Round.objects.filter(programme=programme)
        .select_related("revision__blend", "mixing_day", "batch")
        .prefetch_related("round_gardens__garden")
    )
    newest: dict[int, int] = {}
    snapshots = (
        Snapshot.objects.filter(programme=programme).annotate(mg=Sum("lines__mass_mg")).order_by("number")
    )
    for round_pk, mg in snapshots.values_list("round_id", "mg"):
        newest[round_pk] = mg or 0
    return [
        RoundRow(
            r,
            ", ".join(g.garden.name for g in r.round_gardens.all()),
            newest.get(r.pk),
            str(r.get_state_display()),
        )
        for r in rounds
    ]
