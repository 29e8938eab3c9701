"""The doses of thousands of beds at once, in numpy's int64, figure for figure those of `schedules.doses`.

Dates and units come from `schedules.feeding`, once for all plantings that are alike; masses, rounding and the
soil's account are done here for all rows together. A bed on which the soil's account takes more than a
running sum (logged extras, lifted caps, nutrients given before where the cap may bind, a plan of more than 48
weeks, more area than int64 can share exactly) goes through the specification itself. Property tests hold the
two equal.

Sums are of whole micrograms and milligrams, so plot, garden and programme add up to the same milligram.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import Any

import numpy as np
import numpy.typing as npt

from schedules.doses import amounts_of, check, check_areas
from schedules.feeding import Analysis, Timetable, amount, interval_of, slots, timetable
from schedules.plans import MM2
from schedules.rules import HOUSE, Rules
from schedules.seasons import GardenSeason
from schedules.specs import BedSpec, BlendItem, Cap, DoseError, Frozen, Given, PlantingSpec

Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
SAFE = 2**62
LARGEST_SHARE = 2**31
"""A bed's room in micrograms up to which asked x room stays inside int64."""
NEVER, EVER = 0, date.max.toordinal()


@dataclass(frozen=True)
class Request:
    """One bed, as `plan_bed` takes it."""

    bed: BedSpec
    plantings: Sequence[PlantingSpec]
    season: GardenSeason
    item: BlendItem
    rules: Rules = HOUSE
    given: Sequence[Given] = ()


@dataclass(frozen=True)
class Demand:
    """One row per feed, ordered by request, planting, day. Columns of equal length; masses are whole numbers.

    `planting` counts through all requests' plantings in order; `specs`, `tables` and `intervals` have one
    entry for each. `day` is a proleptic ordinal (`date.fromordinal`). `problems` are the requests that cannot
    be dosed, by their place; they have no rows, and no one else's figures change.
    """

    request: Ints
    planting: Ints
    day: Ints
    weeks: Ints
    ug_n: Ints
    blend_mg: Ints
    skipped: Flags
    assumed: Flags
    specs: tuple[PlantingSpec, ...]
    tables: tuple[Timetable | None, ...]
    intervals: tuple[int, ...]
    requests: int
    problems: tuple[tuple[int, DoseError], ...]

    def due(self, first: date, last: date, *, assumed: bool | None = None) -> Flags:
        """The rows due in a span of days (both ends included), not skipped; of either kind, or of one."""
        rows = (self.day >= first.toordinal()) & (self.day <= last.toordinal()) & ~self.skipped
        return rows if assumed is None else rows & (self.assumed == assumed)

    def total_mg(self, first: date, last: date, *, assumed: bool | None = None) -> int:
        return int(self.blend_mg[self.due(first, last, assumed=assumed)].sum())

    def by_request(self, first: date, last: date, *, assumed: bool | None = None) -> Ints:
        """Milligrams for each request, in their order; what can be summed by plot and garden."""
        rows = self.due(first, last, assumed=assumed)
        return _sums(self.request[rows], self.blend_mg[rows], self.requests)

    def by_planting(self, first: date, last: date) -> Ints:
        rows = self.due(first, last)
        return _sums(self.planting[rows], self.blend_mg[rows], len(self.specs))

    def frozen(self, planting: int) -> Frozen:
        """What a freeze keeps for this planting (`PlantingPlan.frozen`)."""
        table = self.tables[planting]
        if table is None:
            raise ValueError("this planting's bed could not be dosed")
        return Frozen(table.unit, table.feeds, self.intervals[planting])


def demand(requests: Iterable[Request]) -> Demand:
    """Every feed of every request. Never raises for one bed's input: see `Demand.problems`."""
    book = _Book()
    for at, request in enumerate(requests):
        book.enter(at, request)
    return book.close()


# Alike plantings share a calendar


@dataclass(frozen=True)
class _Calendar:
    """The slots of plantings alike but for area: their days, and which of a few amounts each brings."""

    table: Timetable
    interval: int
    days: Ints
    weeks: Ints
    which: Ints
    amounts: tuple[Fraction, ...]


@dataclass
class _Group:
    """The plantings on one calendar."""

    calendar: _Calendar
    plantings: list[int] = field(default_factory=list)
    areas: list[int] = field(default_factory=list)


@dataclass(frozen=True)
class _Bed:
    """A request that can be dosed: its plantings' places and caps; `plain` if running sums will do."""

    request: int
    source: Request
    plantings: range
    cap: int
    own_caps: tuple[int, ...]
    entered: int
    own_entered: tuple[int, ...]
    plain: bool


class _Book:
    """Collects requests, then works out all rows together."""

    def __init__(self) -> None:
        self.specs: list[PlantingSpec] = []
        self.tables: list[Timetable | None] = []
        self.intervals: list[int] = []
        self.request_of: list[int] = []
        self.item_of: list[int] = []
        self.beds: list[_Bed] = []
        self.problems: list[tuple[int, DoseError]] = []
        self.requests = 0
        self._analyses: list[Analysis] = []
        self._item_places: dict[BlendItem, int] = {}
        self._tables: dict[tuple[Any, ...], Timetable] = {}
        self._calendars: dict[tuple[Any, ...], _Group] = {}
        self._keep_alive: list[Request] = []

    def enter(self, at: int, request: Request) -> None:
        self.requests = at + 1
        first = len(self.specs)
        self._keep_alive.append(request)  # memo keys hold ids of what a request holds
        try:
            item = self._item(request.item)
            check(request.bed, request.plantings, request.given)
            found = [self._table(request, spec, self._analyses[item]) for spec in request.plantings]
            check_areas(request.bed, request.plantings, [table for table, _ in found])
        except DoseError as error:
            self.problems.append((at, error))
            self._list(
                at, request.plantings, 0, [None] * len(request.plantings), [1] * len(request.plantings)
            )
            return
        analysis = self._analyses[item]
        tables = [table for table, _ in found]
        intervals = [
            interval_of(table, spec.area_mm2, spec.frozen, analysis, request.rules)
            for spec, table in zip(request.plantings, tables, strict=True)
        ]
        self._list(at, request.plantings, item, tables, intervals)
        bed = _bed(at, request, range(first, len(self.specs)), tables, analysis)
        self.beds.append(bed)
        for place, spec, (table, key), interval in zip(
            bed.plantings, request.plantings, found, intervals, strict=True
        ):
            group = self._group(key, table, spec, interval, analysis, request.rules)
            group.plantings.append(place)
            group.areas.append(spec.area_mm2)

    def close(self) -> Demand:
        planting, day, weeks, planned = self._rows()
        kept = self._tended(planting, day)
        planting, day, weeks, planned = planting[kept], day[kept], weeks[kept], planned[kept]
        order = np.lexsort((day, planting))
        planting, day, weeks, planned = planting[order], day[order], weeks[order], planned[order]
        ug_n = self._after_soil(planting, day, planned)
        request_of = np.array(self.request_of, dtype=np.int64)
        assumed = np.array([bool(table and table.assumed) for table in self.tables], dtype=np.bool_)
        return Demand(
            request=request_of[planting] if planting.size else planting,
            planting=planting,
            day=day,
            weeks=weeks,
            ug_n=ug_n,
            blend_mg=self._masses(planting, ug_n),
            skipped=self._skipped(planting, day),
            assumed=assumed[planting] if planting.size else np.zeros(0, dtype=np.bool_),
            specs=tuple(self.specs),
            tables=tuple(self.tables),
            intervals=tuple(self.intervals),
            requests=self.requests,
            problems=tuple(self.problems),
        )

    def _list(
        self,
        at: int,
        specs: Sequence[PlantingSpec],
        item: int,
        tables: Sequence[Timetable | None],
        intervals: Sequence[int],
    ) -> None:
        self.specs.extend(specs)
        self.tables.extend(tables)
        self.intervals.extend(intervals)
        self.request_of.extend([at] * len(specs))
        self.item_of.extend([item] * len(specs))

    def _item(self, item: BlendItem) -> int:
        if item not in self._item_places:
            self._analyses.append(Analysis.of(item))
            self._item_places[item] = len(self._analyses) - 1
        return self._item_places[item]

    def _table(
        self, request: Request, spec: PlantingSpec, analysis: Analysis
    ) -> tuple[Timetable, tuple[Any, ...]]:
        """The planting's timetable, worked out once for all that are alike."""
        bed = request.bed
        what = (id(spec.crop), spec.day, spec.sown, spec.ends_on, spec.default, spec.needs, spec.legume_feed)
        decided = (id(spec.own_rate) if spec.own_rate else 0, spec.lift, spec.frozen, spec.interplant_of)
        where = (
            bed.drains,
            bed.pot,
            bed.feeding,
            bed.reason,
            request.season,
            id(analysis),
            id(request.rules),
        )
        key = (*what, *decided, *where)
        if key not in self._tables:
            self._tables[key] = timetable(spec, bed, request.season, analysis, request.rules)
        return self._tables[key], key

    def _group(
        self,
        key: tuple[Any, ...],
        table: Timetable,
        spec: PlantingSpec,
        interval: int,
        analysis: Analysis,
        rules: Rules,
    ) -> _Group:
        if (key, interval) not in self._calendars:
            given = slots(table, spec.area_mm2, spec.frozen, analysis, rules)
            by_share = {
                slot.share: amount(table, slot) for slot in {slot.share: slot for slot in given}.values()
            }
            shares = list(by_share)
            calendar = _Calendar(
                table,
                interval,
                np.array([slot.day.toordinal() for slot in given], dtype=np.int64),
                np.array([slot.weeks for slot in given], dtype=np.int64),
                np.array([shares.index(slot.share) for slot in given], dtype=np.int64),
                tuple(by_share.values()),
            )
            self._calendars[key, interval] = _Group(calendar)
        return self._calendars[key, interval]

    def _rows(self) -> tuple[Ints, Ints, Ints, Ints]:
        """Planting, day, weeks and planned micrograms of every slot, calendar by calendar."""
        columns: list[tuple[Ints, Ints, Ints, Ints]] = []
        for group in self._calendars.values():
            calendar = group.calendar
            if not calendar.amounts:
                continue
            many, each = len(group.plantings), len(calendar.days)
            planned = np.stack([_half_up_products(group.areas, n / MM2) for n in calendar.amounts], axis=1)
            columns.append(
                (
                    np.repeat(np.array(group.plantings, dtype=np.int64), each),
                    np.tile(calendar.days, many),
                    np.tile(calendar.weeks, many),
                    planned[:, calendar.which].reshape(-1),
                )
            )
        if not columns:
            empty = np.zeros(0, dtype=np.int64)
            return empty, empty, empty, empty
        planting, day, weeks, planned = (np.concatenate(column) for column in zip(*columns, strict=True))
        return planting, day, weeks, planned

    def _tended(self, planting: Ints, day: Ints) -> Flags:
        """The rows on whose day a household has the plot and no other planting has the feed."""
        spans = [_hull(spec) for spec in self.specs]
        first = np.array([span[0] for span in spans], dtype=np.int64)
        last = np.array([span[1] for span in spans], dtype=np.int64)
        kept = (
            (day >= first[planting]) & (day <= last[planting])
            if planting.size
            else np.zeros(0, dtype=np.bool_)
        )
        broken = {
            at for at, spec in enumerate(self.specs) if spec.active is not None and len(spec.active) > 1
        }
        for at in broken:
            rows = np.flatnonzero(planting == at)
            active = self.specs[at].active or ()
            inside = [
                (day[rows] >= a.toordinal()) & (day[rows] <= (b.toordinal() if b else EVER))
                for a, b in active
            ]
            kept[rows] &= np.logical_or.reduce(inside)
        return kept

    def _skipped(self, planting: Ints, day: Ints) -> Flags:
        skipped = np.zeros(planting.size, dtype=np.bool_)
        for at, spec in enumerate(self.specs):
            if spec.skipped:
                rows = slice(*np.searchsorted(planting, [at, at + 1]))
                skipped[rows] = np.isin(day[rows], [d.toordinal() for d in spec.skipped])
        return skipped

    def _masses(self, planting: Ints, ug_n: Ints) -> Ints:
        """Milligrams of blend, half up, item by item."""
        items = np.array(self.item_of, dtype=np.int64)
        masses = np.zeros(ug_n.size, dtype=np.int64)
        for item, analysis in enumerate(self._analyses):
            rows = np.flatnonzero(items[planting] == item) if planting.size else np.zeros(0, dtype=np.int64)
            masses[rows] = _half_up_products(ug_n[rows], 1 / (1000 * analysis.n))
        return masses

    # Step 7

    def _after_soil(self, planting: Ints, day: Ints, planned: Ints) -> Ints:
        """What the soil's account leaves: nearly always everything; else a running sum, or the long way."""
        got = planned.copy()
        asked = _sums(planting, planned, len(self.specs))
        contended = []
        for bed in self.beds:
            mine = asked[bed.plantings.start : bed.plantings.stop]
            within_own = all(
                int(n) + entered <= cap
                for n, entered, cap in zip(mine, bed.own_entered, bed.own_caps, strict=True)
            )
            has_extras = any(spec.extras for spec in bed.source.plantings)
            if within_own and int(mine.sum()) + bed.entered <= bed.cap and not has_extras:
                continue
            rows = slice(*np.searchsorted(planting, [bed.plantings.start, bed.plantings.stop]))
            long_season = rows.stop > rows.start and int(np.ptp(day[rows])) >= 7 * bed.source.rules.soil_weeks
            if bed.plain and not bed.entered and not long_season:
                contended.append((bed, rows))
            else:
                got[rows] = self._the_long_way(bed)
        if contended:
            self._running_sums(contended, planting, day, planned, got)
        return got

    def _the_long_way(self, bed: _Bed) -> list[int]:
        source = bed.source
        found = amounts_of(
            source.bed, source.plantings, source.season, source.item, source.rules, given=source.given
        )
        return [n for mine in found.got for n in mine]

    def _running_sums(
        self, contended: Sequence[tuple[_Bed, slice]], planting: Ints, day: Ints, planned: Ints, got: Ints
    ) -> None:
        """Day by day over the contended beds: own caps first, then the bed's room in proportion."""
        own_room = np.zeros(len(self.specs), dtype=np.int64)
        bed_room = np.array([bed.cap for bed, _ in contended], dtype=np.int64)
        bed_at = np.zeros(len(self.specs), dtype=np.int64)
        for at, (bed, _) in enumerate(contended):
            own_room[bed.plantings.start : bed.plantings.stop] = bed.own_caps
            bed_at[bed.plantings.start : bed.plantings.stop] = at
        rows = np.concatenate([np.arange(part.start, part.stop, dtype=np.int64) for _, part in contended])
        rows = rows[np.argsort(day[rows], kind="stable")]
        for todays in np.split(rows, np.flatnonzero(np.diff(day[rows])) + 1):
            who, where = planting[todays], bed_at[planting[todays]]
            wanted = np.minimum(planned[todays], own_room[who])
            asked = _sums(where, wanted, len(contended))
            room = bed_room[where]
            short = asked[where] > room
            share = np.where(short, wanted * np.where(short, room, 0) // np.maximum(asked[where], 1), wanted)
            got[todays] = share
            own_room[who] -= share
            np.subtract.at(bed_room, where, share)


def _bed(at: int, request: Request, places: range, tables: Sequence[Timetable], analysis: Analysis) -> _Bed:
    """The bed's caps in micrograms of nitrogen, the strictest of each; `plain` if running sums will do.

    They are not where a cap is lifted, where half the boron cap (which holds only while a sensitive crop
    stands) may bind, or where the room is too large for int64.
    """
    rules, bed = request.rules, request.bed
    n_cap = min(rules.soil_n.value, rules.soil_n_ceiling.value)
    boron_cap = min(rules.soil_boron.value, rules.soil_boron_ceiling.value)
    ratio = analysis.boron_per_n  # None or 0: no boron holds this item
    lifted = any(
        spec.lift is not None and spec.lift.cap in (Cap.SOIL_N, Cap.SOIL_BORON) for spec in request.plantings
    )
    sensitive = [spec.crop is not None and spec.crop.boron_sensitive for spec in request.plantings]
    by_boron = boron_cap / ratio if ratio else n_cap
    by_half = by_boron * rules.boron_sensitive_share.value
    halves_bind = bool(ratio) and any(sensitive) and by_half < n_cap

    def whole(area_mm2: int, halved: bool) -> int:
        return min(
            int(n_cap * area_mm2 / MM2),
            int((by_half if halved and ratio else by_boron) * area_mm2 / MM2),
        )

    cap = whole(bed.area_mm2, any(sensitive))
    own = tuple(whole(spec.area_mm2, own) for spec, own in zip(request.plantings, sensitive, strict=True))
    # What was given counts with whichever of its nitrogen, or its boron as nitrogen of this item, is more.
    entered = [(_as_n(g, ratio), g.planting) for g in request.given]
    plain = not lifted and not halves_bind and cap < LARGEST_SHARE
    return _Bed(
        at,
        request,
        places,
        cap,
        own,
        sum(n for n, _ in entered),
        tuple(sum(n for n, key in entered if key == spec.key) for spec in request.plantings),
        plain and not any(spec.extras for spec in request.plantings),
    )


def _as_n(given: Given, ratio: Fraction | None) -> int:
    boron = -(-(given.ug_boron or 0) * ratio.denominator // ratio.numerator) if ratio else 0
    return max(given.ug_n, boron)


def _hull(spec: PlantingSpec) -> tuple[int, int]:
    """First and last day (ordinals) that the planting can be fed on, whatever lies between."""
    if spec.active is None:
        first, last = NEVER, EVER
    elif not spec.active:
        return EVER, NEVER
    else:
        first = min(a.toordinal() for a, _ in spec.active)
        last = max(b.toordinal() if b else EVER for _, b in spec.active)
    if spec.feeds_from is not None:
        first = max(first, spec.feeds_from.toordinal())
    if spec.feeds_until is not None:
        last = min(last, spec.feeds_until.toordinal())
    return first, last


def _half_up_products(values: Sequence[int] | Ints, factor: Fraction) -> Ints:
    """Each value times an exact factor, half up: in int64 where that is exact, else in Python's integers."""
    n, d = factor.numerator, factor.denominator
    whole = np.asarray(values, dtype=np.int64)
    if not whole.size:
        return whole
    if 2 * int(whole.max()) * n + d < SAFE and 2 * d < SAFE:
        return (2 * whole * n + d) // (2 * d)
    return np.array([(2 * int(value) * n + d) // (2 * d) for value in values], dtype=np.int64)


def _sums(places: Ints, values: Ints, count: int) -> Ints:
    """Values summed by place, in integers."""
    sums = np.zeros(count, dtype=np.int64)
    np.add.at(sums, places, values)
    return sums
