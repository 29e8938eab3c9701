"""From rows to plans: what every bed gets, and the live demand of a round.

``gather`` reads everything in a constant number of queries and makes one ``Surface`` per bed (or per plot
known by its size alone), whose request is what the pure modules compute from. A frozen round fixes units:
they come from the last snapshot of the first round in which a planting was fed.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import OuterRef, Q, QuerySet, Subquery

from gardens.clock import week_of
from gardens.folding import natural
from gardens.models import Bed, Feeding, Garden, Household, Planting, Plot, Programme, Tenancy
from schedules import crops
from schedules.demand import Demand as Bulk
from schedules.demand import Request, demand
from schedules.doses import BedPlan, GardenSeason, PlantingPlan, default_planting, first_feed, plan_bed
from schedules.models import CapLift, FeedLog, FrozenLine, LogKind, OwnRate, Round, RoundState, Snapshot
from schedules.queries.items import Item, Items, items_of_round, items_on
from schedules.rules import HOUSE, Rules, Value
from schedules.specs import BedSpec, Cap, DoseError, Extra, Frozen, Given, Lift, PlantingSpec
from schedules.specs import Feeding as Fed
from schedules.specs import OwnRate as OwnRateSpec

DAY = dt.timedelta(days=1)
WEEK = dt.timedelta(weeks=1)
LOOK_BACK = dt.timedelta(weeks=HOUSE.soil_weeks + 20)
CAPS = {
    "feed_n": Cap.FEED_N,
    "feed_mass": Cap.FEED_BLEND,
    "soil_n": Cap.SOIL_N,
    "soil_b": Cap.SOIL_BORON,
}


# What is gathered -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Surface:
    """One bed, or a plot known by its size alone (``bed`` None), with all that its doses are computed from.

    ``plantings`` stand in the order of ``request.plantings``; None is the default planting.
    """

    plot: Plot
    bed: Bed | None
    request: Request
    plantings: tuple[Planting | None, ...]
    item: Item
    alike: dict[Any, BedPlan] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def plan(self) -> BedPlan:
        """The season by the pure dose, computed when first asked for; beds that are alike share the work."""
        r = self.request
        specs = tuple(replace(spec, key=f"{n}", crop=None) for n, spec in enumerate(r.plantings))
        crop_ids = tuple(id(spec.crop) for spec in r.plantings)
        same = (replace(r.bed, key=""), specs, crop_ids, r.season, r.item, id(r.rules), tuple(r.given))
        plan = self.alike.get(same)
        if plan is None:
            plan = self.alike[same] = plan_bed(r.bed, r.plantings, r.season, r.item, r.rules, given=r.given)
        mine = zip(plan.plantings, r.plantings, strict=True)
        return replace(plan, bed=r.bed, plantings=tuple(replace(p, spec=spec) for p, spec in mine))

    @property
    def name(self) -> str:
        return self.bed.name if self.bed else "whole plot"

    @property
    def assumed(self) -> bool:
        return all(p is None for p in self.plantings)

    def pairs(self) -> Iterable[tuple[Planting | None, PlantingPlan]]:
        return zip(self.plantings, self.plan.plantings, strict=True)


@dataclass(frozen=True)
class Land:
    """Everything gathered: surfaces in order of garden and plot, plots, and who holds them when."""

    programme: Programme
    plots: tuple[Plot, ...]
    surfaces: tuple[Surface, ...]
    tenancies: dict[int, tuple[Tenancy, ...]]
    items: Items
    logs: tuple[FeedLog, ...] = ()
    frozen: dict[int, list[FrozenRow]] = field(default_factory=dict)  # by round: its last snapshot's lines

    @cached_property
    def bulk(self) -> Bulk:
        """All feeds of all surfaces at once, in whole milligrams."""
        return demand([surface.request for surface in self.surfaces])

    @cached_property
    def of_plot(self) -> dict[int, tuple[Surface, ...]]:
        found: dict[int, list[Surface]] = defaultdict(list)
        for surface in self.surfaces:
            found[surface.plot.pk].append(surface)
        return {pk: tuple(rows) for pk, rows in found.items()}

    def holder_on(self, plot: int, day: dt.date) -> Household | None:
        """The household that the plot's feed of that day belongs to; of two at once, who came first."""
        for tenancy in self.tenancies.get(plot, ()):
            if tenancy.start <= day and (tenancy.until_day is None or day < tenancy.until_day):
                return tenancy.household
        return None

    def unheld(self, first: dt.date, last: dt.date) -> tuple[Plot, ...]:
        """Plots that nobody holds on any day of the span: no demand, but listed."""
        return tuple(
            plot
            for plot in self.plots
            if not any(
                t.start <= last and (t.until_day is None or t.until_day > first)
                for t in self.tenancies.get(plot.pk, ())
            )
        )

    @property
    def unsized(self) -> tuple[Plot, ...]:
        """Plots with neither a bed nor a size: nothing can be assumed of them."""
        return tuple(p for p in self.plots if p.pk not in self.of_plot)


def gather(
    programme: Programme,
    *,
    items: Items,
    gardens: Iterable[int] | QuerySet[Any] | None = None,
    plots: Sequence[Plot] | None = None,
    apart_from: Round | None = None,
    all_logs: bool = False,
) -> Land:
    """Read plots (all, some gardens', or the given ones), beds, plantings and all that bears on them.

    ``apart_from`` is a round that is about to be frozen anew: its own snapshots fix nothing. ``all_logs``
    keeps every log entry, undone ones too, for a page that shows them. Six queries, whatever the number of
    rows.
    """
    if plots is None:
        chosen = Plot.objects.filter(programme=programme).select_related("garden")
        plots = list(chosen if gardens is None else chosen.filter(garden__in=gardens))
    rows = sorted(plots, key=lambda p: (p.garden.name, p.garden_id, natural(p.label), p.pk))
    reader = _Reader(programme, rows, items, apart_from, all_logs)
    return Land(
        programme,
        tuple(rows),
        tuple(reader.surfaces()),
        reader.tenancies,
        items,
        tuple(reader.logs),
        reader.frozen.by_round,
    )


class _Reader:
    """The rows of one ``gather``, by what they hang on."""

    def __init__(
        self,
        programme: Programme,
        plots: Sequence[Plot],
        items: Items,
        apart_from: Round | None,
        all_logs: bool,
    ) -> None:
        self.programme, self.plots, self.items = programme, plots, items
        self.zone = ZoneInfo(programme.zone)
        self.alike: dict[Any, BedPlan] = {}
        ids = [p.pk for p in plots]
        whole = len(ids) > 500  # then the programme itself is the shorter condition
        here = Q(programme=programme) if whole else Q(programme=programme, plot__in=ids)
        on_beds = Q(programme=programme) if whole else Q(programme=programme, bed__plot__in=ids)
        self.beds = _by(Bed.objects.filter(here), "plot_id")
        plantings = (
            Planting.objects.filter(on_beds)
            .select_related("own_rate")
            .annotate(**_lifted(planting=OuterRef("pk")))
            .order_by("bed_id", "day", "pk")
        )
        self.plantings = _by(plantings, "bed_id")
        tenancies = (
            Tenancy.objects.filter(here)
            .select_related("household")
            .annotate(**_lifted(garden=OuterRef("plot__garden")))
        )
        self.tenancies = {
            pk: tuple(rows)
            for pk, rows in _by(tenancies.order_by("plot_id", "start", "pk"), "plot_id").items()
        }
        logs = FeedLog.objects.filter(here)
        if all_logs:
            logs = logs.select_related("by", "undone_by", "planting", "bed")
        else:
            logs = logs.filter(undone_at=None).exclude(kind=LogKind.FED)
        self.logs = list(logs)
        self.skipped: dict[str, set[dt.date]] = defaultdict(set)
        self.extras: dict[str, list[Extra]] = defaultdict(list)
        for log in self.logs:
            key = key_of(log.plot_id, log.bed_id, log.planting_id)
            if log.undone_at is None and log.kind == LogKind.SKIPPED:
                start = week_of(programme, log.day)  # whatever day of the feed's week was named
                self.skipped[key].update(start + n * DAY for n in range(7))
            elif log.undone_at is None and log.kind == LogKind.EXTRA:
                self.extras[key].append(Extra(log.day, log.mass_mg))
        self.frozen = _frozen(programme, None if whole else ids, plots, apart_from)

    def surfaces(self) -> Iterable[Surface]:
        seasons = {p.garden_id: season_of(p.garden) for p in self.plots}
        rules_of: dict[int, Rules] = {}  # one object for all alike: the bulk dose looks them up by identity
        for plot in self.plots:
            season = seasons[plot.garden_id]
            beds = [
                b
                for b in self.beds.get(plot.pk, ())
                if b.until_day is None or b.until_day > season.first_feed
            ]
            item = self.items.of(plot.garden_id, plot.pk)
            rules = rules_of.setdefault(item.scoop_mg, rules_for(self.programme, item))
            if beds:
                for bed in sorted(beds, key=lambda b: (natural(b.name), b.pk)):
                    yield self._bed(plot, bed, season, item, rules)
            elif plot.area_mm2:
                yield self._plot(plot, plot.area_mm2, season, item, rules)

    def _bed(self, plot: Plot, bed: Bed, season: GardenSeason, item: Item, rules: Rules) -> Surface:
        says = plot if plot.feeding != Feeding.BLEND else bed
        spec = BedSpec(
            f"b{bed.pk}",
            bed.area_mm2,
            drains=bed.drains,
            pot=bed.is_pot,
            feeding=_FED[says.feeding],
            reason=says.feeding_reason,
        )
        here = [
            (p, crop)
            for p in self.plantings.get(bed.pk, ())
            if of_season(p, crop := crop_of(p), season, rules)
        ]
        active = self._active(plot, bed.until_day)
        specs: list[PlantingSpec] = []
        rows: list[Planting | None] = []
        came = min((p.registered_at.astimezone(self.zone).date() for p, _ in here), default=None)
        default = self._default(plot, bed, spec, season, rules, active)
        took_over = came is not None and self.frozen.fed_by_default(
            plot.pk, bed.pk, season, rules, before=came
        )
        if came is None:
            specs, rows = [default], [None]
        elif took_over:
            specs, rows = [replace(default, feeds_until=came)], [None]
        for planting, crop in here:
            specs.append(self._planting(plot, bed, planting, crop, active, came if took_over else None))
            rows.append(planting)
        given = self.frozen.given(plot.pk, bed.pk, season, rules, {p.pk for p, _ in here}, bed.area_mm2)
        if came is not None:
            since = came + DAY if took_over else None  # up to then the default planting's own plan tells
            printed = self.frozen.printed_of_default(plot.pk, bed.pk, season, rules, since, bed.area_mm2)
            if printed:
                over = _takes_over(spec, [s for s in specs if not s.default], season, item, rules)
                given += tuple(g for g in printed if over is None or g.day < over)
        request = Request(spec, tuple(specs), season, item.blend, rules, given)
        return Surface(plot, bed, request, tuple(rows), item, self.alike)

    def _plot(self, plot: Plot, area_mm2: int, season: GardenSeason, item: Item, rules: Rules) -> Surface:
        """No bed known: the plot's area times the programme's planted share counts as one bed."""
        share = (2 * area_mm2 * self.programme.planted_share + 100) // 200
        spec = BedSpec(f"l{plot.pk}", share, feeding=_FED[plot.feeding], reason=plot.feeding_reason)
        default = self._default(plot, None, spec, season, rules, self._active(plot, None))
        given = self.frozen.given(plot.pk, None, season, rules, set(), share)
        request = Request(spec, (default,), season, item.blend, rules, given)
        return Surface(plot, None, request, (None,), item, self.alike)

    def _planting(
        self,
        plot: Plot,
        bed: Bed,
        planting: Planting,
        crop: crops.Crop | None,
        active: tuple[tuple[dt.date, dt.date | None], ...],
        came: dt.date | None,
    ) -> PlantingSpec:
        key = key_of(plot.pk, bed.pk, planting.pk)
        own = getattr(planting, "own_rate", None)
        return PlantingSpec(
            key,
            crop,
            bed.area_mm2 * planting.share // 100,
            planting.day,
            sown=planting.sown,
            ends_on=planting.ends_on,
            legume_feed=planting.feed_on_request,
            skipped=frozenset(self.skipped.get(key, ())),
            extras=tuple(self.extras.get(key, ())),
            own_rate=_own_rate(own) if own else None,
            lift=self._lift(plot, planting),
            active=active,
            feeds_from=came + DAY if came else None,
            feeds_until=planting.until_day - DAY if planting.until_day else None,
            frozen=self.frozen.of_planting(planting.pk),
        )

    def _default(
        self,
        plot: Plot,
        bed: Bed | None,
        spec: BedSpec,
        season: GardenSeason,
        rules: Rules,
        active: tuple[tuple[dt.date, dt.date | None], ...],
    ) -> PlantingSpec:
        key = key_of(plot.pk, bed.pk if bed else None, None)
        return replace(
            default_planting(spec, season, key=key, needs=crops.FeederClass(self.programme.default_class)),
            active=active,
            skipped=frozenset(self.skipped.get(key, ())),
            extras=tuple(self.extras.get(key, ())),
            lift=self._lift(plot, None),
            frozen=self.frozen.of_default(plot.pk, bed.pk if bed else None, season, rules),
        )

    def _lift(self, plot: Plot, planting: Planting | None) -> Lift | None:
        """The planting's own lifted cap, else its garden's (which stands on every tenancy)."""
        for row in (planting, *self.tenancies.get(plot.pk, ())[:1]):
            if row is not None and (cap := getattr(row, "lifted_cap", None)):
                return Lift(CAPS[cap], row.lifted_reason)
        return None

    def _active(self, plot: Plot, bed_until: dt.date | None) -> tuple[tuple[dt.date, dt.date | None], ...]:
        """Spans (both ends included) with a tenancy, while plot and bed are there."""
        gone = min(filter(None, (plot.until_day, bed_until)), default=None)
        spans = []
        for tenancy in self.tenancies.get(plot.pk, ()):
            until = min(filter(None, (tenancy.until_day, gone)), default=None)
            if until is None or until > tenancy.start:
                spans.append((tenancy.start, until - DAY if until else None))
        return tuple(spans)


def _lifted(**of: OuterRef) -> dict[str, Subquery]:
    """Annotations: the cap that is lifted now, and why."""
    rows = CapLift.objects.filter(ended_at=None, **of).order_by("-pk")
    return {
        "lifted_cap": Subquery(rows.values("cap")[:1]),
        "lifted_reason": Subquery(rows.values("reason")[:1]),
    }


def _takes_over(
    bed: BedSpec, crops: Iterable[PlantingSpec], season: GardenSeason, item: Item, rules: Rules
) -> dt.date | None:
    """The day on which the first of the crops is fed: up to it the default planting's printed feeds go on.

    None where no crop gets any, or its bed cannot be dosed.
    """
    try:
        days = [first_feed(bed, spec, season, item.blend, rules) for spec in crops]
    except DoseError:
        return None
    return min((day for day in days if day is not None), default=None)


_FED: dict[str, Fed] = {
    Feeding.BLEND: Fed.DEFAULT,
    Feeding.NONE: Fed.NONE,
    Feeding.NOTHING: Fed.NOTHING,
}


def key_of(plot: int, bed: int | None, planting: int | None) -> str:
    """The key of a planting, of a bed's default planting, or of a plot's where no bed is known."""
    return f"p{planting}" if planting else f"b{bed}" if bed else f"l{plot}"


def season_of(garden: Garden) -> GardenSeason:
    return GardenSeason(garden.last_frost, garden.first_frost, garden.first_feed, garden.last_feed)


def rules_for(programme: Programme, item: Item | None = None) -> Rules:
    """The house rules with this programme's week, scoop, and nitrogen cap where it was lifted."""
    rules = replace(HOUSE, week_starts=programme.week_start - 1, scoop_mg=item.scoop_mg if item else None)
    if programme.n_cap_ug_m2 is None:
        return rules
    lifted = Value(Fraction(programme.n_cap_ug_m2), f"the organiser: {programme.n_cap_reason}", "house value")
    return replace(rules, soil_n=lifted)


def crop_of(planting: Planting) -> crops.Crop | None:
    """The catalogue's crop, or None where the catalogue does not know it."""
    try:
        return crops.crop(planting.crop_code) if planting.crop_code else None
    except KeyError:
        return None


def of_season(planting: Planting, crop: crops.Crop | None, season: GardenSeason, rules: Rules) -> bool:
    """Whether a planting stands on its bed in the garden's year that the feeding weeks lie in."""
    first, last = season.year
    if planting.day > last:
        return False
    if planting.until_day is not None and planting.until_day <= first:
        return False
    ends = planting.ends_on or planting.until_day or _ends(planting, crop)
    return ends is None or ends >= min(first, season.first_day(week_starts=rules.week_starts))


def _ends(planting: Planting, crop: crops.Crop | None) -> dt.date | None:
    """By the catalogue's days; None for what stays for years. A crop nobody knows ends with its own
    season.
    """
    if crop is not None and crop.harvest.value is crops.Harvest.PERENNIAL:
        return None
    days = None
    if crop is not None:
        days = (crop.end_from_sowing if planting.sown else crop.end_from_transplanting) or (
            crop.end_from_sowing or crop.end_from_transplanting
        )
    return planting.day + dt.timedelta(days=days.value if days else 200)


def _own_rate(row: OwnRate) -> OwnRateSpec:
    return OwnRateSpec(
        Fraction(row.ug_m2),
        row.of == "nitrogen",
        row.written,
        row.reason,
        every_weeks=row.every_weeks,
        first=row.first_day,
        last=row.first_day + WEEK * row.every_weeks * (row.feeds - 1),
    )


def _by(rows: Iterable[Any], name: str) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        found[getattr(row, name)].append(row)
    return found


# What freezes fixed -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class FrozenRow:
    """A frozen line as plans and pages need it: whose it is, what it fixed, and the feeds it printed."""

    plot: int
    bed: int | None
    planting: int | None
    assumed: bool
    area_mm2: int
    mg: int
    weeks: tuple[tuple[dt.date, int, int | None], ...]  # day, ug N, ug B (None: not declared)
    numbers: dict[str, Any]
    at: dt.datetime  # of the snapshot

    @property
    def frozen(self) -> Frozen:
        return Frozen(Fraction(self.numbers["unit"]), self.numbers["feeds"], self.numbers["interval"])


@dataclass
class _FrozenLines:
    by_planting: dict[int, list[FrozenRow]] = field(default_factory=lambda: defaultdict(list))
    by_ground: dict[tuple[int, int | None], list[FrozenRow]] = field(
        default_factory=lambda: defaultdict(list)
    )
    by_round: dict[int, list[FrozenRow]] = field(default_factory=lambda: defaultdict(list))

    def of_planting(self, planting: int) -> Frozen | None:
        lines = self.by_planting.get(planting)
        return lines[0].frozen if lines else None

    def of_default(self, plot: int, bed: int | None, season: GardenSeason, rules: Rules) -> Frozen | None:
        """The first freeze of this season; the default planting of a plot passes its unit on to the plot's
        beds.
        """
        for line in self._defaults(plot, bed):
            if line.weeks[-1][0] >= season.first_day(week_starts=rules.week_starts):
                return line.frozen
        return None

    def fed_by_default(
        self, plot: int, bed: int, season: GardenSeason, rules: Rules, *, before: dt.date
    ) -> bool:
        """Whether the default planting was fed on this bed this season, up to that day, in a frozen round."""
        first = season.first_day(week_starts=rules.week_starts)
        return any(first <= day <= before for line in self._defaults(plot, bed) for day, _, _ in line.weeks)

    def given(
        self, plot: int, bed: int | None, season: GardenSeason, rules: Rules, planned: set[int], area_mm2: int
    ) -> tuple[Given, ...]:
        """What earlier seasons, and plantings that are no longer planned here, brought to this ground.

        Of what is planned here the plan tells the nitrogen; what it was frozen with may not have declared its
        boron, and that stands beside it.
        """
        first = season.first_day(week_starts=rules.week_starts)
        found = []
        for line in self.by_ground.get((plot, bed), ()):
            for day, n, boron in line.weeks:
                if line.planting not in planned if line.planting else day < first:
                    found.append(Given(day, n, boron))
                elif boron is None:
                    found.append(Given(day, 0))
        if bed is not None:
            for line in self.by_ground.get((plot, None), ()):  # before its beds were known: each has its part
                part = Fraction(min(area_mm2, line.area_mm2), line.area_mm2)
                found += [_part(week, part) for week in line.weeks if week[0] < first]
        return tuple(found)

    def printed_of_default(
        self, plot: int, bed: int, season: GardenSeason, rules: Rules, since: dt.date | None, area_mm2: int
    ) -> tuple[Given, ...]:
        """The default planting's frozen feeds of this season, from a day on: they are printed and in the tub,
        whoever registers a crop meanwhile.
        """
        first = season.first_day(week_starts=rules.week_starts)
        since = max(since or first, first)
        found = []
        for line in self._defaults(plot, bed):
            whole = Fraction(1) if line.bed else Fraction(min(area_mm2, line.area_mm2), line.area_mm2)
            found += [_part(week, whole) for week in line.weeks if week[0] >= since]
        return tuple(found)

    def _defaults(self, plot: int, bed: int | None) -> list[FrozenRow]:
        own = [line for line in self.by_ground.get((plot, bed), ()) if line.planting is None]
        return own or (list(self.by_ground.get((plot, None), ())) if bed is not None else [])


def _part(week: tuple[dt.date, int, int | None], part: Fraction) -> Given:
    """What a bed got of a frozen feed of which it has this part."""
    day, n, boron = week
    return Given(day, int(n * part), None if boron is None else int(boron * part))


def _frozen(
    programme: Programme, plots: Sequence[int] | None, rows: Sequence[Plot], apart_from: Round | None
) -> _FrozenLines:
    """The counted snapshots' lines, oldest round first: the last snapshot of each frozen round counts."""
    found = _FrozenLines()
    if not rows:
        return found
    since = min(p.garden.first_feed for p in rows) - LOOK_BACK
    newest = (
        Snapshot.objects.filter(round=OuterRef("snapshot__round")).order_by("-number").values("number")[:1]
    )
    lines = FrozenLine.objects.filter(
        programme=programme,
        snapshot__number=Subquery(newest),
        snapshot__round__first_day__gte=since,
        snapshot__round__state__in=[RoundState.FROZEN, RoundState.CLOSED],
    )
    if plots is not None:
        lines = lines.filter(plot__in=plots)
    values = lines.order_by("snapshot__round__first_day", "snapshot__round__number", "pk").values_list(
        "snapshot__round_id",
        "snapshot__at",
        "plot_id",
        "bed_id",
        "planting_id",
        "assumed",
        "area_mm2",
        "mass_mg",
        "weeks",
        "numbers",
    )
    for round, at, plot, bed, planting, assumed, area, mg, weeks, numbers in values:
        days = tuple((dt.date.fromisoformat(w["day"]), w["n_ug"], w.get("b_ug")) for w in weeks)
        line = FrozenRow(plot, bed, planting, assumed, area, mg, days, numbers, at)
        found.by_round[round].append(line)
        if not days or (apart_from is not None and round == apart_from.pk):
            continue
        if planting:
            found.by_planting[planting].append(line)
        found.by_ground[plot, bed].append(line)
    return found


# Demand -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class PlotDemand:
    """What one plot needs in a span; ``note`` says why it needs nothing."""

    plot: Plot
    mg: int
    assumed_mg: int
    note: str = ""


@dataclass(frozen=True)
class GardenDemand:
    garden: Garden
    plots: tuple[PlotDemand, ...]

    @cached_property
    def mg(self) -> int:
        return sum(p.mg for p in self.plots)

    @cached_property
    def assumed_mg(self) -> int:
        return sum(p.assumed_mg for p in self.plots)

    @property
    def known_mg(self) -> int:
        return self.mg - self.assumed_mg

    @cached_property
    def fed(self) -> int:
        """How many plots need something."""
        return sum(1 for p in self.plots if p.mg)

    @cached_property
    def assumed_plots(self) -> int:
        return sum(1 for p in self.plots if p.assumed_mg)


@dataclass(frozen=True)
class Demand:
    """The demand of a span of days, both included; exact in milligrams, the same by plot, garden and
    programme.
    """

    first: dt.date
    last: dt.date
    gardens: tuple[GardenDemand, ...]
    unheld: tuple[Plot, ...]
    unsized: tuple[Plot, ...]
    problems: tuple[tuple[Surface, str], ...]  # beds that cannot be dosed, and why

    @cached_property
    def mg(self) -> int:
        return sum(g.mg for g in self.gardens)

    @cached_property
    def assumed_mg(self) -> int:
        return sum(g.assumed_mg for g in self.gardens)

    @property
    def known_mg(self) -> int:
        return self.mg - self.assumed_mg

    @cached_property
    def plots(self) -> tuple[PlotDemand, ...]:
        return tuple(p for g in self.gardens for p in g.plots)

    @cached_property
    def fed(self) -> int:
        return sum(g.fed for g in self.gardens)

    @cached_property
    def assumed_plots(self) -> int:
        return sum(g.assumed_plots for g in self.gardens)


def land_of_round(round: Round, *, anew: bool = False, items: Items | None = None) -> Land:
    """The round's plots; ``anew`` forgets what its own freeze fixed."""
    return gather(
        round.programme,
        items=items or items_of_round(round),
        gardens=round.round_gardens.values("garden"),
        apart_from=round if anew else None,
    )


def land_on(
    programme: Programme,
    day: dt.date,
    *,
    gardens: Iterable[int] | None = None,
    plots: Sequence[Plot] | None = None,
    all_logs: bool = False,
) -> Land:
    """The plots (of some gardens, or the given ones) with what stands in their sheds around ``day``."""
    here = {p.garden_id for p in plots} if plots is not None else gardens
    items = items_on(programme, day, gardens=here)
    return gather(programme, items=items, gardens=gardens, plots=plots, all_logs=all_logs)


def live_demand(round: Round, *, anew: bool = False) -> Demand:
    """What the round needs by the rows as they are now: by plot, garden and programme, with the assumed
    part.
    """
    return demand_of(land_of_round(round, anew=anew), round.first_day, round.last_day)


def demand_of(land: Land, first: dt.date, last: dt.date) -> Demand:
    """The sum of doses over the span, for each plot with a tenancy on the feed's day."""
    total: dict[int, int] = defaultdict(int)
    assumed: dict[int, int] = defaultdict(int)
    for due in dues(land, first, last):
        total[due.plot] += due.mg
        if due.assumed:
            assumed[due.plot] += due.mg
    empty = {p.pk for p in land.unheld(first, last)}
    by_garden: dict[int, list[PlotDemand]] = defaultdict(list)
    for plot in land.plots:
        if plot.until_day is not None and plot.until_day <= first:
            continue
        note = "" if total[plot.pk] else _why_nothing(land, plot, held=plot.pk not in empty)
        by_garden[plot.garden_id].append(PlotDemand(plot, total[plot.pk], assumed[plot.pk], note))
    gardens = {p.garden_id: p.garden for p in land.plots}
    shown = {row.plot.pk for rows in by_garden.values() for row in rows}
    return Demand(
        first,
        last,
        tuple(GardenDemand(gardens[pk], tuple(rows)) for pk, rows in by_garden.items()),
        tuple(p for p in land.unheld(first, last) if p.pk in shown),
        tuple(p for p in land.unsized if p.pk in shown),
        tuple((land.surfaces[at], error.message) for at, error in land.bulk.problems),
    )


def weekly(land: Land, first: dt.date, weeks: int) -> list[tuple[dt.date, int, int]]:
    """(first day, mg, of it assumed) of each week from ``first`` on."""
    return [
        (
            start,
            land.bulk.total_mg(start, start + WEEK - DAY),
            land.bulk.total_mg(start, start + WEEK - DAY, assumed=True),
        )
        for start in (first + WEEK * n for n in range(weeks))
    ]


@dataclass(frozen=True)
class Due:
    """One feed that is due: which surface and plot, the day, milligrams, and whether it is assumed."""

    surface: int
    plot: int
    day: dt.date
    mg: int
    assumed: bool


def dues(land: Land, first: dt.date, last: dt.date) -> Iterable[Due]:
    bulk = land.bulk
    rows = bulk.due(first, last)
    columns = (bulk.request[rows], bulk.day[rows], bulk.blend_mg[rows], bulk.assumed[rows])
    for at, day, mg, guessed in zip(*(column.tolist() for column in columns), strict=True):
        yield Due(at, land.surfaces[at].plot.pk, dt.date.fromordinal(day), mg, guessed)


def _why_nothing(land: Land, plot: Plot, *, held: bool) -> str:
    if not held:
        return "nobody holds it"
    if not land.of_plot.get(plot.pk):
        return "neither beds nor size known"
    if plot.feeding == Feeding.NONE:
        return plot.feeding_reason
    if plot.feeding == Feeding.NOTHING:
        return "nothing grows here"
    return "nothing due in these weeks"
