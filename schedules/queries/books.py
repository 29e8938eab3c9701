"""The tickets behind a figure, one ticket, one place."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Case, F, Q, QuerySet, Sum, When
from django.db.models.functions import Coalesce

from blends import ledger
from blends.models import Flag, Movement, Place, PlaceKind, Ticket, TicketKind
from gardens.models import Garden, Member, Person, Plot, Programme
from schedules.queries.totals import WHERE, in_span

PER_PAGE = 100
PLACE_PARTS = ("lot__material", "garden", "pail__batch", "plot__garden", "batch", "household")
KINDS: Mapping[str, str] = {
    **{str(kind): words for kind, words in WHERE},
    "received": "Received",
    "returned": "Returned to supplier",
    str(PlaceKind.DIFFERENCE): "Found, less short",
}


@dataclass(frozen=True)
class Wanted:
    """Which tickets: of a figure (a key of KINDS), of a garden, a plot, a person; all where empty."""

    kind: str = ""
    garden: Garden | None = None
    plot: Plot | None = None
    person: Person | None = None

    @property
    def words(self) -> str:
        parts = [KINDS.get(self.kind, "All tickets")]
        if self.plot:
            parts.append(f"plot {self.plot.label}, {self.plot.garden.name}")
        elif self.garden:
            parts.append(self.garden.name)
        if self.person:
            parts.append(f"taken by {self.person.name}")
        return ", ".join(parts)


@dataclass(frozen=True)
class Listed:
    """A ticket and what it adds to the figure, in mg."""

    ticket: Ticket
    mass_mg: int


@dataclass(frozen=True)
class TicketList:
    wanted: Wanted
    rows: Sequence[Listed]
    page: Page[dict[str, Any]]
    opening_mg: int
    sum_mg: int

    @property
    def now_mg(self) -> int:
        return self.opening_mg + self.sum_mg


def ticket_list(
    programme: Programme, first: dt.date | None, last: dt.date, wanted: Wanted, page: str | int = 1
) -> TicketList:
    """The tickets of the span behind a figure, newest first, a page at a time. Four queries."""
    lines = _lines(programme, wanted)
    shown = (
        lines.filter(in_span(first, last)).values("ticket").annotate(mass=Sum("effect")).order_by("-ticket")
    )
    part = Paginator(shown, PER_PAGE).get_page(page)
    chosen = list(part.object_list)
    tickets = Ticket.objects.select_related(
        "by", "reversed_by__by", "reverses", "collection__collected_by", "collection__portion__plot"
    ).in_bulk([row["ticket"] for row in chosen])
    before = lines.filter(ticket__day__lt=first) if first and wanted.kind not in ("", "received") else None
    opening = before.aggregate(mass=Sum("effect"))["mass"] if before is not None and _is_place(wanted) else 0
    total = lines.filter(in_span(first, last)).aggregate(mass=Sum("effect"))["mass"]
    return TicketList(
        wanted,
        [Listed(tickets[row["ticket"]], row["mass"]) for row in chosen],
        part,
        opening or 0,
        total or 0,
    )


def _is_place(wanted: Wanted) -> bool:
    """A balance has an opening; what happened in a span has none."""
    return wanted.kind in {str(kind) for kind, _ in WHERE} and wanted.person is None


def _lines(programme: Programme, wanted: Wanted) -> QuerySet[Movement]:
    """The movements behind a figure, each with ``effect``: what it adds to it (below zero: takes from it)."""
    rows = Movement.objects.filter(programme=programme).annotate(
        act=Coalesce("ticket__reverses__kind", "ticket__kind")
    )
    if not wanted.kind:
        return rows.annotate(effect=F("mass_mg"))
    plus, minus = _ends(wanted)
    if wanted.person:
        mine = Q(ticket__collection__collected_by=wanted.person) | Q(
            ticket__reverses__collection__collected_by=wanted.person
        )
        mine &= ~Q(source__kind=PlaceKind.DIFFERENCE) & ~Q(target__kind=PlaceKind.DIFFERENCE)
        plus, minus = plus & mine, minus & mine
    effect = Case(When(plus, then=F("mass_mg")), default=0) - Case(When(minus, then=F("mass_mg")), default=0)
    return rows.filter(plus | minus).annotate(effect=effect)


def _ends(wanted: Wanted) -> tuple[Q, Q]:
    if wanted.kind == "received":
        return (
            Q(source__kind=PlaceKind.SUPPLIER, act=TicketKind.RECEIVE),
            Q(target__kind=PlaceKind.SUPPLIER, act=TicketKind.RECEIVE),
        )
    if wanted.kind == "returned":
        return (
            Q(target__kind=PlaceKind.SUPPLIER, act=TicketKind.SEND_BACK),
            Q(source__kind=PlaceKind.SUPPLIER, act=TicketKind.SEND_BACK),
        )
    if wanted.kind == PlaceKind.DIFFERENCE:
        return Q(source__kind=PlaceKind.DIFFERENCE), Q(target__kind=PlaceKind.DIFFERENCE)
    return _end("target", wanted), _end("source", wanted)


def _end(end: str, wanted: Wanted) -> Q:
    q = Q(**{f"{end}__kind": wanted.kind})
    if wanted.plot:
        q &= Q(**{f"{end}__plot": wanted.plot})
    elif wanted.garden:
        q &= (
            Q(**{f"{end}__garden": wanted.garden})
            | Q(**{f"{end}__garden": None, f"{end}__pail__batch__day__garden": wanted.garden})
            | Q(**{f"{end}__plot__garden": wanted.garden})
        )
    return q


@dataclass(frozen=True)
class TicketPage:
    ticket: Ticket
    lines: Sequence[Movement]
    flags: Sequence[Flag]

    @property
    def slip(self) -> list[dict[str, object]]:
        """From and to, place by place, and the balance: always nothing."""
        net: dict[int, int] = {}
        places: dict[int, Place] = {}
        for line in self.lines:
            for place, mass in ((line.source, -line.mass_mg), (line.target, line.mass_mg)):
                net[place.pk] = net.get(place.pk, 0) + mass
                places[place.pk] = place
        return [
            {"place": places[pk], "mg": abs(mg), "sign": "+" if mg > 0 else "-", "to": mg > 0}
            for pk, mg in sorted(net.items(), key=lambda item: item[1])
        ]


def ticket_page(ticket: Ticket) -> TicketPage:
    """Two queries."""
    ends = [f"{end}__{part}" for end in ("source", "target") for part in PLACE_PARTS]
    lines = list(ticket.lines.select_related(*ends))
    return TicketPage(ticket, lines, list(ticket.flags.select_related("place", "settled_by")))


TICKET_PARTS = (
    "by",
    "reverses__by",
    "reversed_by__by",
    "collection__collected_by",
    "collection__portion__plot__garden",
    "collection__pail__batch",
    "weigh_out__component__material",
    "weigh_out__lot",
    "weigh_out__scale",
    "weigh_out__witness",
    "weigh_out__pail__batch",
    "weigh_out__look__by",
    "count__place",
)


@dataclass(frozen=True)
class Reached:
    """A place that the mass came from or went to; a tub with who holds it."""

    place: Place
    names: tuple[str, ...]
    contacts: tuple[str, ...]


@dataclass(frozen=True)
class PlacePage:
    place: Place
    moves: Sequence[tuple[Movement, int]]  # newest first, with its effect on the place
    hidden: int
    came_from: Sequence[Reached]
    went_to: Sequence[Reached]


def place_page(place: Place) -> PlacePage:
    """What went in and out, and the trace both ways. Eight queries."""
    ends = [f"{end}__{part}" for end in ("source", "target") for part in PLACE_PARTS]
    rows = Movement.objects.filter(Q(source=place) | Q(target=place))
    moves = list(
        rows.select_related("ticket__by", "ticket__reversed_by__by", "ticket__reverses", *ends).order_by(
            "-id"
        )[: PER_PAGE + 1]
    )
    hidden = rows.count() - PER_PAGE if len(moves) > PER_PAGE else 0
    back, on = _named(ledger.backwards(place)), _named(ledger.onwards(place))
    held = {p.household_id for p in [*back, *on] if p.household_id}
    who: dict[int, list[Person]] = {}
    for m in Member.objects.filter(household__in=held).select_related("person"):
        who.setdefault(m.household_id, []).append(m.person)
    return PlacePage(
        place,
        [(m, m.mass_mg if m.target_id == place.pk else -m.mass_mg) for m in moves[:PER_PAGE]],
        hidden,
        [_reached(p, who) for p in back],
        [_reached(p, who) for p in on],
    )


def _named(places: QuerySet[Place]) -> list[Place]:
    return list(
        places.select_related(*PLACE_PARTS).order_by("kind", "plot__garden__name", "plot__label", "pk")
    )


def _reached(place: Place, who: Mapping[int, Sequence[Person]]) -> Reached:
    persons = who.get(place.household_id, ()) if place.household_id else ()
    return Reached(place, tuple(p.name for p in persons), tuple(p.contact for p in persons if p.contact))
