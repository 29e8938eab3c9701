"""Supply totals of a span: what came in, where it is now, who took it, who came.

Every figure is a sum of movements, by the day of their ticket, both ends of the span included; so the books
add up to the milligram: opening + received + found = in store + in pails + with holders + taken back +
waste + lost + returned to supplier. A reversal counts against what it reverses, on its own day.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import isqrt
from zoneinfo import ZoneInfo

from django.db.models import BooleanField, ExpressionWrapper, F, Min, OuterRef, Q, Subquery, Sum, Value
from django.db.models import Count as Tally
from django.db.models.functions import Coalesce, TruncDate

from blends.models import Count, Flag, Movement, Place, PlaceKind, Ticket, TicketKind
from gardens.folding import natural
from gardens.models import Garden, Plot, Programme
from schedules.models import Collection, Portion
from schedules.queries.desk import DeskRow, row_of

#: Where mass can be, in the order of the page, and what the page calls it.
WHERE: tuple[tuple[str, str], ...] = (
    (PlaceKind.LOT, "In store"),
    (PlaceKind.PAIL, "In pails"),
    (PlaceKind.TUB, "With holders"),
    (PlaceKind.TAKEN_BACK, "Taken back"),
    (PlaceKind.WASTE, "Waste"),
    (PlaceKind.LOST, "Lost"),
)


@dataclass(frozen=True)
class Row:
    """One place of the identity: at the start, now, and how many tickets touched it in the span. mg."""

    kind: str
    words: str
    opening_mg: int
    now_mg: int
    tickets: int

    @property
    def change_mg(self) -> int:
        return self.now_mg - self.opening_mg


@dataclass(frozen=True)
class GardenRow:
    garden_id: int | None
    name: str
    store_mg: int = 0
    pails_mg: int = 0
    holders_mg: int = 0

    @property
    def all_mg(self) -> int:
        return self.store_mg + self.pails_mg + self.holders_mg


@dataclass(frozen=True)
class PlotRow:
    """One plot in the span: handed out, handed over (in less out), taken back; and what it holds now. mg."""

    plot_id: int
    plot: str
    garden_id: int
    garden: str
    opening_mg: int
    handed_out_mg: int
    handed_over_mg: int
    taken_back_mg: int
    now_mg: int

    @property
    def other_mg(self) -> int:
        """What *difference* lent it; zero unless more came back than by the book it held."""
        return self.now_mg - self.opening_mg - self.handed_out_mg - self.handed_over_mg + self.taken_back_mg


@dataclass(frozen=True)
class PersonRow:
    person_id: int
    name: str
    plots: tuple[str, ...]
    collections: int
    took_mg: int


@dataclass(frozen=True)
class Counted:
    """Differences at count: counted less book, beside the band that weighing explains. mg."""

    counts: Sequence[Count]

    @property
    def difference_mg(self) -> int:
        return sum(c.difference_mg for c in self.counts)

    @property
    def band_mg(self) -> int:
        """Independent counts: their bands add as squares."""
        return isqrt(sum(int(c.band_mg) ** 2 for c in self.counts))

    @property
    def low(self) -> Fraction:
        """The band's ends and the difference in grams, for the drawing."""
        return Fraction(-self.band_mg, 1000)

    @property
    def high(self) -> Fraction:
        return Fraction(self.band_mg, 1000)

    @property
    def off(self) -> Fraction:
        return Fraction(self.difference_mg, 1000)

    @property
    def weighings(self) -> int:
        return sum(int(c.weighings) for c in self.counts)

    @property
    def is_within(self) -> bool:
        return abs(self.difference_mg) <= self.band_mg


@dataclass(frozen=True)
class Totals:
    first: dt.date | None  # None: from the first ticket on
    last: dt.date
    rows: Sequence[Row]
    received_mg: int
    received_tickets: int
    found_mg: int  # net of difference; below zero: short
    found_tickets: int
    returned_mg: int
    returned_tickets: int
    gardens: Sequence[GardenRow]
    plots: Sequence[PlotRow]
    persons: Sequence[PersonRow]
    came: Sequence[DeskRow]
    not_came: Sequence[DeskRow]
    counted: Counted
    flags: Sequence[Flag]
    disagreement_mg: int
    tickets: int
    began: dt.date | None  # the day of the very first ticket

    def row(self, kind: str) -> Row:
        return next(r for r in self.rows if r.kind == kind)

    @property
    def opening_mg(self) -> int:
        return sum(r.opening_mg for r in self.rows)

    @property
    def came_in_mg(self) -> int:
        """Opening, received and found (less short): the left side."""
        return self.opening_mg + self.received_mg + self.found_mg

    @property
    def is_now_mg(self) -> int:
        """The right side."""
        return sum(r.now_mg for r in self.rows) + self.returned_mg

    @property
    def handed_out_mg(self) -> int:
        return sum(p.handed_out_mg for p in self.plots)

    @property
    def owed_mg(self) -> int:
        return sum(r.left_mg for r in [*self.came, *self.not_came])

    @property
    def due(self) -> int:
        """How many portions were due."""
        return len(self.came) + len(self.not_came)

    @property
    def still_owed(self) -> Sequence[DeskRow]:
        return [*self.not_came, *(r for r in self.came if r.left_mg)]


def totals_of(programme: Programme, first: dt.date | None, last: dt.date) -> Totals:
    """Ten queries, whatever the number of rows."""
    flows = _flows(programme, first, last)
    now = [f for f in flows if not f.before]
    touched = _touched(programme, first, last)
    plots = _plots(programme, flows)
    rows = _who_came(programme, first, last)
    returned_mg = _signed(
        now, lambda f: f.act == TicketKind.SEND_BACK and PlaceKind.SUPPLIER in (f.source, f.target)
    )
    return Totals(
        first=first,
        last=last,
        rows=[
            Row(kind, words, _into(flows, kind) - _into(now, kind), _into(flows, kind), touched[kind])
            for kind, words in WHERE
        ],
        received_mg=returned_mg - _into(now, PlaceKind.SUPPLIER),
        received_tickets=touched["received"],
        found_mg=-_into(now, PlaceKind.DIFFERENCE),
        found_tickets=touched[PlaceKind.DIFFERENCE],
        returned_mg=returned_mg,
        returned_tickets=touched["returned"],
        gardens=_gardens(programme, flows),
        plots=plots,
        persons=_persons(now, {p.plot_id: p for p in plots}),
        came=[r for r in rows if r.had_mg],
        not_came=[r for r in rows if not r.had_mg],
        counted=Counted(_counts(programme, first, last)),
        flags=to_settle_list(programme),
        disagreement_mg=disagreement_mg(programme),
        tickets=touched["all"],
        began=min((f.began for f in flows), default=None),
    )


def in_span(first: dt.date | None, last: dt.date, path: str = "ticket__day") -> Q:
    """Tickets of the span, both days included; without a first day from the beginning."""
    span = Q(**{f"{path}__lte": last})
    return span & Q(**{f"{path}__gte": first}) if first else span


@dataclass(frozen=True)
class Flow:
    """What went from one kind of place to another, by plot, garden and who collected."""

    before: bool  # before the span
    source: str
    target: str
    act: str  # the kind of the act, or of the act that was reversed
    reversal: bool
    source_plot: int | None
    target_plot: int | None
    source_garden: int | None
    target_garden: int | None
    person: int | None
    person_name: str
    mass_mg: int
    tickets: int
    began: dt.date

    @property
    def covers(self) -> bool:
        """What a tub lacked and *difference* lent it: nobody handed that out, took it or brought it back."""
        return PlaceKind.DIFFERENCE in (self.source, self.target)


def _flows(programme: Programme, first: dt.date | None, last: dt.date) -> list[Flow]:
    """All movements until the last day, summed in one query."""
    before = ExpressionWrapper(Q(ticket__day__lt=first), BooleanField()) if first else Value(False)
    rows = (
        Movement.objects.filter(programme=programme, ticket__day__lte=last)
        .annotate(
            before=before,
            act=Coalesce("ticket__reverses__kind", "ticket__kind"),
            back=F("ticket__reverses__kind"),
            from_garden=Coalesce("source__garden", "source__pail__batch__day__garden"),
            to_garden=Coalesce("target__garden", "target__pail__batch__day__garden"),
            person=Coalesce("ticket__collection__collected_by", "ticket__reverses__collection__collected_by"),
            person_name=Coalesce(
                "ticket__collection__collected_by__name", "ticket__reverses__collection__collected_by__name"
            ),
        )
        .order_by()
        .values_list(
            "before", "source__kind", "target__kind", "act", "back", "source__plot", "target__plot",
            "from_garden", "to_garden", "person", "person_name",
        )
        .annotate(mass=Sum("mass_mg"), tickets=Tally("ticket", distinct=True), began=Min("ticket__day"))
    )  # fmt: skip
    return [
        Flow(
            bool(r[0]), r[1], r[2], r[3], r[4] is not None, r[5], r[6], r[7], r[8], r[9], r[10] or "", r[11],
            r[12], r[13],
        )
        for r in rows
    ]  # fmt: skip


def _into(flows: Iterable[Flow], kind: str) -> int:
    """What these flows leave in places of this kind: in less out."""
    return sum((f.mass_mg if f.target == kind else 0) - (f.mass_mg if f.source == kind else 0) for f in flows)


def _signed(flows: Iterable[Flow], fits: Callable[[Flow], bool]) -> int:
    """What was done, less what was taken back of it."""
    return sum(-f.mass_mg if f.reversal else f.mass_mg for f in flows if fits(f))


def _touched(programme: Programme, first: dt.date | None, last: dt.date) -> dict[str, int]:
    """How many tickets of the span touched each kind of place; all, received and returned besides."""

    def act(kind: str) -> Q:
        return Q(kind=kind) | Q(reverses__kind=kind)

    kinds = {
        kind: Q(lines__source__kind=kind) | Q(lines__target__kind=kind)
        for kind in (*(k for k, _ in WHERE), PlaceKind.DIFFERENCE)
    }
    named = {"all": Q(), "received": act(TicketKind.RECEIVE), "returned": act(TicketKind.SEND_BACK)}
    rows = Ticket.objects.filter(in_span(first, last, "day"), programme=programme)
    return rows.aggregate(
        **{
            str(name): Tally("pk", distinct=True, filter=q) if q else Tally("pk", distinct=True)
            for name, q in {**kinds, **named}.items()
        }
    )


def _plots(programme: Programme, flows: Sequence[Flow]) -> list[PlotRow]:
    found: dict[int, list[Flow]] = defaultdict(list)
    for f in flows:
        for plot in {f.source_plot, f.target_plot} - {None}:
            found[plot].append(f)  # type: ignore[index]
    plots = Plot.objects.filter(programme=programme, pk__in=found).select_related("garden")
    rows = [_plot_row(plot, found[plot.pk]) for plot in plots]
    return sorted(rows, key=lambda r: (r.garden, natural(r.plot)))


def _plot_row(plot: Plot, flows: Sequence[Flow]) -> PlotRow:
    now = [f for f in flows if not f.before]

    def net(flows: Iterable[Flow], *acts: str) -> int:
        return sum(
            (f.mass_mg if f.target_plot == plot.pk else 0) - (f.mass_mg if f.source_plot == plot.pk else 0)
            for f in flows
            if not acts or (f.act in acts and not f.covers)
        )

    return PlotRow(
        plot.pk,
        plot.label,
        plot.garden_id,
        plot.garden.name,
        net(flows) - net(now),
        net(now, TicketKind.HAND_OUT),
        net(now, TicketKind.HAND_OVER),
        -net(now, TicketKind.TAKE_BACK),
        net(flows),
    )


def _gardens(programme: Programme, flows: Sequence[Flow]) -> list[GardenRow]:
    """What stands in each garden at the end of the span; the pails where their day was."""
    held: dict[tuple[int | None, str], int] = defaultdict(int)
    for f in flows:
        held[f.target_garden, f.target] += f.mass_mg
        held[f.source_garden, f.source] -= f.mass_mg
    plots = dict(Plot.objects.filter(programme=programme).values_list("pk", "garden"))
    for f in flows:
        if f.target_plot:
            held[plots[f.target_plot], "plots"] += f.mass_mg
        if f.source_plot:
            held[plots[f.source_plot], "plots"] -= f.mass_mg
    return [
        GardenRow(g.pk, g.name, held[g.pk, PlaceKind.LOT], held[g.pk, PlaceKind.PAIL], held[g.pk, "plots"])
        for g in Garden.objects.filter(programme=programme)
    ]


def _persons(flows: Sequence[Flow], plots: dict[int, PlotRow]) -> list[PersonRow]:
    """Who took it: collections less reversals, by the person who collected."""
    took: dict[int, list[Flow]] = defaultdict(list)
    for f in flows:
        if f.person and f.act == TicketKind.HAND_OUT and _of_tub(f):
            took[f.person].append(f)
    rows = []
    for person, mine in took.items():
        labels = {plots[p].plot for f in mine for p in (f.source_plot, f.target_plot) if p}
        sign = [-1 if f.reversal else 1 for f in mine]
        rows.append(
            PersonRow(
                person,
                mine[0].person_name,
                tuple(sorted(labels, key=natural)),
                sum(s * f.tickets for s, f in zip(sign, mine, strict=True)),
                sum(s * f.mass_mg for s, f in zip(sign, mine, strict=True)),
            )
        )
    return sorted(rows, key=lambda r: (r.name.casefold(), r.person_id))


def _of_tub(flow: Flow) -> bool:
    return PlaceKind.TUB in (flow.source, flow.target) and not flow.covers


def _who_came(programme: Programme, first: dt.date | None, last: dt.date) -> list[DeskRow]:
    """The portions of the rounds whose mixing day (else first day) lies in the span, and what was had."""
    of_span = in_span(first, last, "round__mixing_day__day") | (
        Q(round__mixing_day=None) & in_span(first, last, "round__first_day")
    )
    due = list(
        Portion.objects.filter(of_span, programme=programme, due_mg__gt=0).select_related(
            "plot__garden", "household"
        )
    )
    had: dict[int, list[Collection]] = defaultdict(list)
    of_span = in_span(first, last, "portion__round__mixing_day__day") | (
        Q(portion__round__mixing_day=None) & in_span(first, last, "portion__round__first_day")
    )
    for c in Collection.objects.filter(of_span, programme=programme).standing().select_related("ticket"):
        had[c.portion_id].append(c)
    rows = [row_of(p, (p.household.name,), had[p.pk]) for p in due]
    return sorted(rows, key=lambda r: (r.garden, natural(r.plot), r.portion_id or 0))


def _counts(programme: Programme, first: dt.date | None, last: dt.date) -> list[Count]:
    """Counts of the span, by the programme's days."""
    rows = Count.objects.filter(programme=programme).annotate(
        counted_on=TruncDate("at", tzinfo=ZoneInfo(programme.zone))
    )
    return list(
        rows.filter(in_span(first, last, "counted_on")).select_related(
            "place__lot__material",
            "place__garden",
            "place__pail__batch",
            "place__plot__garden",
            "place__batch",
            "by",
        )
    )


def to_settle_list(programme: Programme, *, settled: bool = False) -> list[Flag]:
    """What stands to settle (or was settled), with all that its line names: one query."""
    rows = Flag.objects.filter(programme=programme, settled_at__isnull=not settled).select_related(
        "ticket__by",
        "ticket__collection__portion__plot__garden",
        "ticket__collection__collected_by",
        "settled_by",
        "place__lot__material",
        "place__garden",
        "place__pail__batch",
        "place__plot__garden",
        "place__batch",
    )
    return list(rows.order_by("-settled_at", "-id") if settled else rows.order_by("id"))


def disagreement_mg(programme: Programme) -> int:
    """What balances and movements differ by; must be zero. ``ledger.disagreements`` names it."""

    def moved(end: str) -> Coalesce:
        lines = Movement.objects.filter(**{end: OuterRef("pk")}).order_by().values(end)
        return Coalesce(Subquery(lines.annotate(mass=Sum("mass_mg")).values("mass")), 0)

    off = F("balance_mg") - moved("target") + moved("source")
    wrong = Place.objects.filter(programme=programme).annotate(off=off).exclude(off=0)
    return sum(abs(mg) for mg in wrong.values_list("off", flat=True))
