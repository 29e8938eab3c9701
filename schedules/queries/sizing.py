"""From need to batch: what a round's portions, its reserve and the pails that stand there come to."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Sum

from blends.models import Gate, Place, PlaceKind
from schedules.models import Collection, Portion, Round, RoundState
from schedules.queries.plans import Land, dues, land_of_round


@dataclass(frozen=True)
class Sizing:
    """Milligrams. ``frozen`` tells whether the need is what the portions hold, or what the rows say now."""

    frozen: bool
    need_mg: int
    portions_mg: int
    portions: int
    reserve_mg: int
    released_mg: (
        int  # in released, unopened pails of the same revision, less what earlier rounds still owe of it
    )
    division_mg: int

    @property
    def rounding_mg(self) -> int:
        """What rounding each portion up to the desk scale's division adds."""
        return self.portions_mg - self.need_mg

    @property
    def batch_mg(self) -> int:
        """Portions and reserve, less what stands there; with what stands there never below what is owed."""
        wanted = self.portions_mg + self.reserve_mg - self.released_mg
        return max(0, -(-wanted // self.division_mg) * self.division_mg)


def sizing(round: Round) -> Sizing:
    """By the portions where the round is frozen, else by the live demand."""
    if round.state == RoundState.OPEN:
        land = land_of_round(round)
        return live_sizing(round, land)
    dues = Portion.objects.filter(round=round).values_list("demand_mg", "due_mg")
    return _sized(round, [(d, due) for d, due in dues], frozen=True)


def live_sizing(round: Round, land: Land) -> Sizing:
    """As a freeze now would size it."""
    return _sized(round, due_by_household(round, land), frozen=False)


def due_by_household(round: Round, land: Land) -> list[tuple[int, int]]:
    """(demand, due) of each plot and household, as a freeze would make its portions."""
    due: dict[tuple[int, int], int] = {}
    division = round.programme.desk_division_mg
    for feed in dues(land, round.first_day, round.last_day):
        household = land.holder_on(feed.plot, feed.day)
        if household is not None:
            key = (feed.plot, household.pk)
            due[key] = due.get(key, 0) + feed.mg
    return [(mg, -(-mg // division) * division) for mg in due.values() if mg]


def _sized(round: Round, dues: Iterable[tuple[int, int]], *, frozen: bool) -> Sizing:
    rows = list(dues)
    division = round.programme.desk_division_mg
    portions = sum(due for _, due in rows)
    reserve = portions * round.reserve_percent
    return Sizing(
        frozen=frozen,
        need_mg=sum(demand for demand, _ in rows),
        portions_mg=portions,
        portions=len(rows),
        reserve_mg=-(-reserve // (100 * division)) * division,
        released_mg=max(0, released_mg(round) - owed_before_mg(round)),
        division_mg=division,
    )


def released_mg(round: Round) -> int:
    """What released, unopened pails of the round's revision hold, other than its own batch's."""
    pails = Place.objects.filter(
        programme=round.programme,
        kind=PlaceKind.PAIL,
        gate=Gate.RELEASED,
        opened=False,
        pail__batch__revision=round.revision_id,
    )
    if round.batch_id:
        pails = pails.exclude(pail__batch=round.batch_id)
    return pails.aggregate(held=Sum("balance_mg"))["held"] or 0


def owed_before_mg(round: Round) -> int:
    """What other frozen rounds of the same revision still owe: those pails are spoken for."""
    portions = Portion.objects.filter(
        programme=round.programme, revision=round.revision_id, round__state=RoundState.FROZEN
    ).exclude(round=round)
    had: dict[int, int] = {}
    taken = Collection.objects.standing().filter(portion__in=portions)
    for collection in taken:
        had[collection.portion_id] = had.get(collection.portion_id, 0) + collection.net_mg
    return sum(max(0, due - had.get(pk, 0)) for pk, due in portions.values_list("pk", "due_mg"))
