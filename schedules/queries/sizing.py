"""From need to batch: what a round's portions, its reserve and the pails that stand there come to."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from django.db.models import Q, Sum

from blends.models import Gate, Place, PlaceKind
from schedules.models import Portion, Round, RoundState
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


def mixed_sizing(round: Round) -> Sizing:
    """As the batch was made: what it is less than portions and reserve stood in released pails."""
    assert round.batch is not None
    dues = Portion.objects.filter(round=round).values_list("demand_mg", "due_mg")
    size = _sized(round, dues, frozen=True, look=False)
    return replace(size, released_mg=max(0, size.portions_mg + size.reserve_mg - round.batch.mass_mg))


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


def _sized(round: Round, dues: Iterable[tuple[int, int]], *, frozen: bool, look: bool = True) -> Sizing:
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
        released_mg=_free_mg(round) if look else 0,
        division_mg=division,
    )


def _free_mg(round: Round) -> int:
    held = released_mg(round)
    return max(0, held - owed_before_mg(round)) if held else 0


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
    rows = portions.annotate(had=Sum("collections__ticket__lines__mass_mg", filter=_INTO_TUB, default=0))
    return sum(max(0, due - had) for due, had in rows.values_list("due_mg", "had"))


_INTO_TUB = Q(
    collections__ticket__reversed_by__isnull=True, collections__ticket__lines__target__kind=PlaceKind.TUB
)
