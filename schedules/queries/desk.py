"""What the desk asks: who is due what of a day's round, what they had, from which pail."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from django.db.models import Q

from blends.models import DayState, Gate, MixingDay, Pail, Place, PlaceKind
from gardens.clock import today
from gardens.folding import natural, rank
from gardens.models import Feeding, Member, Person, Plot, Programme
from schedules import portions
from schedules.models import Collection, Portion, Round

SHOWN = 60  # rows of an unfiltered list; typing finds the others


@dataclass(frozen=True)
class DeskRow:
    """One portion, or a plot of the round without any. Masses in mg."""

    portion_id: int | None
    plot_id: int
    plot: str
    garden: str
    names: tuple[str, ...]
    due_mg: int = 0
    had_mg: int = 0
    home_mg: int = 0
    cause: str = ""
    why_none: str = ""
    came_at: dt.datetime | None = None

    @property
    def left_mg(self) -> int:
        return portions.left(self.due_mg, self.had_mg, self.home_mg)

    @property
    def state(self) -> str:
        """to_come, part, collected or none."""
        if not self.due_mg:
            return "none"
        if not self.had_mg:
            return "to_come"
        return "part" if self.left_mg else "collected"

    @property
    def is_owed(self) -> bool:
        return self.state in ("to_come", "part")


@dataclass(frozen=True)
class DeskList:
    round: Round | None
    rows: Sequence[DeskRow]  # those that fit, best first
    all_rows: Sequence[DeskRow]
    hidden: int = 0  # fit too, but are not shown

    @property
    def to_come(self) -> Sequence[DeskRow]:
        return [r for r in self.all_rows if r.is_owed]

    @property
    def came(self) -> Sequence[DeskRow]:
        return [r for r in self.all_rows if r.had_mg]

    @property
    def owed_mg(self) -> int:
        return sum(r.left_mg for r in self.all_rows)

    @property
    def had_mg(self) -> int:
        return sum(r.had_mg for r in self.all_rows)

    @property
    def due(self) -> Sequence[DeskRow]:
        return [r for r in self.all_rows if r.due_mg]


def desk_list(day: MixingDay, text: str = "") -> DeskList:
    """The rows of the day's round that fit what was typed: those still to come first. Five queries."""
    round_ = Round.objects.filter(mixing_day=day).select_related("revision__blend").first()
    if round_ is None:
        return DeskList(None, [], [])
    rows = round_rows(round_)
    ranked = [(rank(text, r.plot, r.garden, *r.names), r) for r in rows]
    fitting = [(n, r) for n, r in ranked if n is not None]
    order = {"to_come": 0, "part": 0, "collected": 1, "none": 2}
    fitting.sort(key=lambda pair: (pair[0] if text.strip() else 0, order[pair[1].state]))
    found = [r for _, r in fitting]
    return DeskList(round_, found[:SHOWN], rows, max(0, len(found) - SHOWN))


def round_rows(round_: Round) -> list[DeskRow]:
    """Every portion of a round, and every plot of its gardens without, in order. Four queries."""
    due = list(Portion.objects.filter(round=round_).select_related("plot__garden", "household"))
    members = names_of(p.household_id for p in due)
    had: dict[int, list[Collection]] = defaultdict(list)
    for c in Collection.objects.filter(portion__round=round_).standing().select_related("ticket"):
        had[c.portion_id].append(c)
    rows = [row_of(p, members[p.household_id], had[p.pk]) for p in due]
    without = (
        Plot.objects.filter(programme=round_.programme_id, until_day=None)
        .filter(garden__in=round_.round_gardens.values("garden"))
        .exclude(pk__in=[p.plot_id for p in due])
        .select_related("garden")
    )
    rows += [
        DeskRow(None, plot.pk, plot.label, plot.garden.name, (), why_none=_why_none(plot)) for plot in without
    ]
    return sorted(rows, key=lambda r: (r.garden, natural(r.plot), r.portion_id or 0))


def still_owed(round_: Round) -> list[DeskRow]:
    """The portions of a round of which something is left, without names. Two queries."""
    due = Portion.objects.filter(round=round_, due_mg__gt=0).select_related("plot__garden", "household")
    had: dict[int, list[Collection]] = defaultdict(list)
    for c in Collection.objects.filter(portion__round=round_).standing().select_related("ticket"):
        had[c.portion_id].append(c)
    rows = [row_of(p, (p.household.name,), had[p.pk]) for p in due]
    return [r for r in rows if r.is_owed]


def row_of(portion: Portion, names: tuple[str, ...], had: Sequence[Collection]) -> DeskRow:
    return DeskRow(
        portion.pk,
        portion.plot_id,
        portion.plot.label,
        portion.plot.garden.name,
        names or (portion.household.name,),
        portion.due_mg,
        sum(c.net_mg for c in had),
        max((c.home_mg for c in had), default=0),
        portion.cause,
        _why_none(portion.plot) if not portion.due_mg else "",
        max((c.ticket.happened_at for c in had), default=None),
    )


def _why_none(plot: Plot) -> str:
    if plot.feeding == Feeding.NOTHING:
        return "nothing grows here"
    return plot.feeding_reason or "nothing is due"


def names_of(households: Iterable[int]) -> dict[int, tuple[str, ...]]:
    """The names of who is in each household now."""
    found: dict[int, list[str]] = defaultdict(list)
    rows = Member.objects.filter(household__in=set(households), until_day=None).select_related("person")
    for member in rows.order_by("id"):
        found[member.household_id].append(member.person.name)
    return defaultdict(tuple, {pk: tuple(names) for pk, names in found.items()})


@dataclass(frozen=True)
class PailChoice:
    pail: Pail
    place: Place

    @property
    def balance_mg(self) -> int:
        return int(self.place.balance_mg)

    @property
    def words(self) -> str:
        return f"batch {self.pail.batch.number}, pail {self.pail.number}"


@dataclass(frozen=True)
class PortionState:
    """One portion at the desk: what is due, was had, may be at home; who may collect; from which pails."""

    portion: Portion
    members: Sequence[Person]
    history: Sequence[Collection]  # every collection, reversed ones too, last first
    pails: Sequence[PailChoice]  # what may be handed out of; the first is proposed
    pails_told: Sequence[PailChoice]  # what may have been handed out of

    @cached_property
    def tubs(self) -> Sequence[Place]:
        """What the book says this household holds on this plot; asked when first looked at."""
        return _tubs(self.portion)

    @cached_property
    def neighbours(self) -> Sequence[Portion]:
        """Other portions of the same persons, this round; asked when first looked at."""
        return _others(self.portion, self.members)

    @property
    def standing(self) -> Sequence[Collection]:
        return [c for c in self.history if not is_reversed(c)]

    @property
    def had_mg(self) -> int:
        return sum(c.net_mg for c in self.standing)

    @property
    def home_mg(self) -> int:
        """What was answered before about what is at home."""
        return max((c.home_mg for c in self.standing), default=0)

    def left_mg(self, home_mg: int = 0) -> int:
        return portions.left(self.portion.due_mg, self.had_mg, max(home_mg, self.home_mg))

    @property
    def same_blend_mg(self) -> int:
        """What the book has given of this revision before."""
        return sum(
            t.balance_mg for t in self.tubs if t.batch and t.batch.revision_id == self.portion.revision_id
        )

    @property
    def other_blends(self) -> Sequence[Place]:
        return [
            t
            for t in self.tubs
            if t.batch and t.balance_mg and t.batch.revision_id != self.portion.revision_id
        ]


def is_reversed(collection: Collection) -> bool:
    return getattr(collection.ticket, "reversed_by", None) is not None


def portion_state(portion: Portion) -> PortionState:
    """Three queries, and one each for tubs and neighbours. ``portion`` comes with all that it points to."""
    members = [
        m.person
        for m in Member.objects.filter(household=portion.household_id)
        .filter(Q(until_day=None) | Q(until_day__gt=today(portion.programme)))
        .select_related("person")
        .order_by("id")
    ]
    history = list(
        Collection.objects.filter(portion=portion).select_related(
            "ticket__by", "ticket__reversed_by__by", "collected_by", "pail__batch"
        )
    )
    left_mg = PortionState(portion, members, history, [], []).left_mg()
    pails = _pails(portion)
    free = [
        p for p in pails if p.place.gate == Gate.RELEASED and p.pail.batch.revision_id == portion.revision_id
    ]
    return PortionState(
        portion,
        members,
        history,
        _best_first(free, left_mg),
        _best_first(pails, left_mg),
    )


def _tubs(portion: Portion) -> list[Place]:
    tubs = Place.objects.filter(kind=PlaceKind.TUB, plot=portion.plot_id, household=portion.household_id)
    return list(tubs.select_related("batch__revision__blend").order_by("-batch__number"))


def _pails(portion: Portion) -> list[PailChoice]:
    """Every pail that could be stood at: of open days with this revision, what earlier days left of it, and
    of the round's own day.
    """
    places = (
        Place.objects.filter(programme=portion.programme_id, kind=PlaceKind.PAIL)
        .filter(
            Q(pail__batch__day__state=DayState.OPEN, pail__batch__revision=portion.revision_id)
            | Q(gate=Gate.RELEASED, balance_mg__gt=0, pail__batch__revision=portion.revision_id)
            | Q(pail__batch__day=portion.round.mixing_day_id)
        )
        .select_related("pail__batch__revision__blend")
        .order_by("pail__batch__number", "pail__number")
    )
    return [PailChoice(place.pail, place) for place in places if place.pail]


def _best_first(pails: Sequence[PailChoice], wanted_mg: int) -> list[PailChoice]:
    """The opened released pail with enough first; then any released one with enough; then the fullest."""
    return sorted(
        pails,
        key=lambda p: (
            p.place.gate != Gate.RELEASED,
            p.balance_mg < wanted_mg,
            not p.place.opened,
            -p.balance_mg if p.balance_mg < wanted_mg else 0,
        ),
    )


def _others(portion: Portion, members: Sequence[Person]) -> list[Portion]:
    """What the same persons are due for other plots: one visit may be two collections."""
    rows = Portion.objects.filter(round=portion.round_id, due_mg__gt=0).exclude(pk=portion.pk)
    rows = rows.filter(household__members__person__in=members, household__members__until_day=None)
    return list(rows.select_related("plot__garden").distinct())


def find_persons(programme: Programme, text: str) -> list[tuple[Person, tuple[str, ...]]]:
    """Persons whose name (or name and plot) fits, with the plots they hold; two queries."""
    persons = list(Person.objects.filter(programme=programme, erased_at=None))
    plots: dict[int, list[str]] = defaultdict(list)
    held = Member.objects.filter(
        programme=programme, until_day=None, household__tenancies__until_day=None
    ).values_list("person_id", "household__tenancies__plot__label")
    for person_id, label in held:
        if label:
            plots[person_id].append(label)
    return [
        (p, tuple(sorted(plots[p.pk], key=natural)))
        for p in persons
        if text.strip() and rank(text, p.name, *plots[p.pk]) is not None
    ]
