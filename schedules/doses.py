"""The dose: how much of the blend each planting of a bed gets at each feeding, and why that much.

`plan_bed` is the specification: pure, exact, and with its working. `schedules.demand` does the same for
thousands of beds at once and is proven equal to it. The steps have the numbers of the algorithm that an
adviser signs; 2 (soil test), 3 (planting dose) and 10 (scoop interval) are kept free.

Rounding, in this order and nowhere else: one exact fraction per planting and feed, half up to whole
micrograms of nitrogen; a cut by the soil's account down to a microgram; then half up to whole milligrams of
blend.

Logs never make a feed larger. A past feed that nobody logged counts as fed. A skipped feed keeps its claim on
the soil's account in this plan, so that nobody's scoop grows by it; `BedPlan.soil` leaves it out. A logged
extra is taken off the planting's last feeds.

    >>> plan = plan_bed(bed, [tomato], season, BlendItem("batch 12", Fraction(40, 3)))
    >>> plan.plantings[0].line
    '22 g = heavy feeder, 2.97 m2, 16 feeds, batch 12'
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction

from gardens.numerals import half_up
from schedules import soil as soils
from schedules.crops import FeederClass
from schedules.explain import explained
from schedules.feeding import (
    Analysis,
    Slot,
    Timetable,
    amount,
    interval_of,
    is_active,
    is_taken_over,
    slots,
    timetable,
)
from schedules.plans import DUST_UG, MM2, BedPlan, Feed, NotFed, PlantingPlan
from schedules.rules import HOUSE, Rules
from schedules.scoops import nearest
from schedules.seasons import GardenSeason
from schedules.specs import (
    BedSpec,
    BlendItem,
    Cap,
    DoseError,
    Extra,
    Feeding,
    Frozen,
    Given,
    Lift,
    OwnRate,
    PlantingSpec,
)

__all__ = [
    "HOUSE",
    "BedPlan",
    "BedSpec",
    "BlendItem",
    "Cap",
    "DoseError",
    "Extra",
    "Feed",
    "Feeding",
    "Frozen",
    "GardenSeason",
    "Given",
    "Lift",
    "NotFed",
    "OwnRate",
    "PlantingPlan",
    "PlantingSpec",
    "Rules",
    "default_planting",
    "first_feed",
    "plan_bed",
]

DAY = timedelta(days=1)
MAX_AREA_MM2 = 10**11
"""Ten hectares: nobody feeds more by the scoop."""
NO_BLEND = {
    Feeding.NONE: ("none", "this bed gets none of the blend"),
    Feeding.NOTHING: ("nothing_grows", "nothing grows here"),
}


def plan_bed(
    bed: BedSpec,
    plantings: Sequence[PlantingSpec],
    season: GardenSeason,
    item: BlendItem,
    rules: Rules = HOUSE,
    *,
    given: Iterable[Given] = (),
) -> BedPlan:
    """Every feed of the bed's plantings in this season. The order of `plantings` and `given` changes nothing.

    Raises DoseError for input that can be no dose. A bed or planting that simply gets nothing is a plan with
    `refused` and a reason.
    """
    amounts = amounts_of(bed, plantings, season, item, rules, given=given)
    analysis, account = amounts.analysis, amounts.account
    rows = zip(
        plantings, amounts.tables, amounts.offered, amounts.kept, amounts.planned, amounts.got, strict=True
    )
    plans = [_plan(item, analysis, rules, *row) for row in rows]
    plans = [_with_room(account, plans, at) for at in range(len(plans))]
    plans = [_with_scoops(account, plans, at, analysis, rules) for at in range(len(plans))]
    told = tuple(explained(plan, bed, season, analysis, rules) for plan in plans)
    if bed.feeding is Feeding.DEFAULT:
        return BedPlan(bed, told, account)
    refused, usual = NO_BLEND[bed.feeding]
    return BedPlan(bed, told, account, refused, bed.reason or usual)


@dataclass(frozen=True)
class Amounts:
    """The plan's figures without words, one list per planting: every slot offered by the steps before 7,
    those kept (somebody tends the plot, no other planting has them), what they ask and get (ug N).
    """

    analysis: Analysis
    account: soils.Soil
    tables: list[Timetable]
    offered: list[tuple[Slot, ...]]
    kept: list[tuple[Slot, ...]]
    planned: list[list[int]]
    got: list[list[int]]


def amounts_of(
    bed: BedSpec,
    plantings: Sequence[PlantingSpec],
    season: GardenSeason,
    item: BlendItem,
    rules: Rules = HOUSE,
    *,
    given: Iterable[Given] = (),
) -> Amounts:
    """The figures of `plan_bed`, for whoever needs no words. Raises the same errors."""
    analysis = Analysis.of(item)
    given = tuple(given)
    check(bed, plantings, given)
    tables = [timetable(spec, bed, season, analysis, rules) for spec in plantings]
    check_areas(bed, plantings, tables)
    account = soil_of(bed, plantings, tables, given, analysis, rules)
    offered = [
        slots(t, spec.area_mm2, spec.frozen, analysis, rules)
        for spec, t in zip(plantings, tables, strict=True)
    ]
    kept = [
        tuple(slot for slot in every if is_active(slot.day, spec) and not is_taken_over(slot.day, spec))
        for spec, every in zip(plantings, offered, strict=True)
    ]
    planned = [
        [half_up(amount(table, slot) * spec.area_mm2 / MM2) for slot in mine]
        for spec, table, mine in zip(plantings, tables, kept, strict=True)
    ]
    got = _shared(account, plantings, kept, planned, analysis)
    return Amounts(analysis, account, tables, offered, kept, planned, got)


def default_planting(
    bed: BedSpec,
    season: GardenSeason,
    *,
    key: str = "",
    needs: FeederClass | None = None,
    active: tuple[tuple[date, date | None], ...] | None = None,
    skipped: frozenset[date] = frozenset(),
    extras: tuple[Extra, ...] = (),
    feeds_until: date | None = None,
    frozen: Frozen | None = None,
) -> PlantingSpec:
    """The default planting of a bed without a planting this season: all of it, medium unless told else."""
    return PlantingSpec(
        key or f"{bed.key}:default",
        None,
        bed.area_mm2,
        season.first_feed,
        default=True,
        needs=needs,
        active=active,
        skipped=skipped,
        extras=extras,
        feeds_until=feeds_until,
        frozen=frozen,
    )


def first_feed(
    bed: BedSpec, spec: PlantingSpec, season: GardenSeason, item: BlendItem, rules: Rules = HOUSE
) -> date | None:
    """The day of its first feed, before the soil's account; None if it gets none. Raises DoseError."""
    analysis = Analysis.of(item)
    table = timetable(spec, bed, season, analysis, rules)
    days = (slot.day for slot in slots(table, spec.area_mm2, spec.frozen, analysis, rules))
    return next((day for day in days if is_active(day, spec) and not is_taken_over(day, spec)), None)


def check(bed: BedSpec, plantings: Sequence[PlantingSpec], given: Sequence[Given]) -> None:
    """What can be refused without knowing any date."""
    _area(bed.area_mm2, "The bed", "bed_area")
    for spec in plantings:
        _area(spec.area_mm2, "The planting", "area")
        if any(extra.blend_mg <= 0 for extra in spec.extras):
            raise DoseError("extra_not_positive", "An extra feed is more than nothing.", "extra")
        if spec.frozen is not None and (
            spec.frozen.unit < 0 or spec.frozen.feeds < 0 or spec.frozen.interval < 1
        ):
            raise DoseError("frozen_not_possible", "A frozen dose cannot be below nothing.", "frozen")
    if len({spec.key for spec in plantings}) < len(plantings):
        raise DoseError("planting_twice", "One planting stands twice on this bed.", "plantings")
    if any(entry.ug_n < 0 or (entry.ug_boron or 0) < 0 for entry in given):
        raise DoseError("given_negative", "Soil cannot have got less than nothing.", "given")


def check_areas(bed: BedSpec, plantings: Sequence[PlantingSpec], tables: Sequence[Timetable]) -> None:
    """Part areas never exceed the bed on any day; interplants and default plantings take none."""
    standing = [
        (
            table.start,
            min(table.end, spec.feeds_until + DAY if spec.feeds_until else table.end),
            spec.area_mm2,
        )
        for spec, table in zip(plantings, tables, strict=True)
        if not spec.default and not spec.interplant_of
    ]
    for day, _, _ in standing:
        if sum(area for start, end, area in standing if start <= day < end) > bed.area_mm2:
            raise DoseError(
                "areas_exceed_bed", f"On {day} the plantings together are larger than the bed.", "area"
            )
    if any(spec.area_mm2 > bed.area_mm2 for spec in plantings):
        raise DoseError("areas_exceed_bed", "The planting is larger than the bed.", "area")


def soil_of(
    bed: BedSpec,
    plantings: Sequence[PlantingSpec],
    tables: Sequence[Timetable],
    given: Sequence[Given],
    analysis: Analysis,
    rules: Rules,
) -> soils.Soil:
    """The bed's account before this plan: its parts, what was given, and the logged extras."""
    grounds = tuple(
        soils.Ground(
            spec.key,
            spec.area_mm2,
            table.start,
            table.end,
            spec.crop is not None and spec.crop.boron_sensitive,
            spec.lift.cap if spec.lift is not None else None,
        )
        for spec, table in zip(plantings, tables, strict=True)
    )
    ratio = analysis.boron_per_n
    extras = tuple(
        soils.Entry(extra.day, n := extra_ug_n(extra, analysis), None if ratio is None else n * ratio, at)
        for at, spec in enumerate(plantings)
        for extra in spec.extras
    )
    entries = soils.given_entries(given, grounds) + extras
    return soils.Soil(bed.area_mm2, grounds, entries, ratio, rules)


def less_extras(
    spec: PlantingSpec, days: Sequence[date], planned: Sequence[int], analysis: Analysis
) -> list[int]:
    """The planned feeds with each logged extra taken off the last of those after it that are not skipped."""
    left = list(planned)
    for extra in sorted(spec.extras, key=lambda extra: extra.day):
        owed = extra_ug_n(extra, analysis)
        for at in reversed(range(len(days))):
            if days[at] > extra.day and days[at] not in spec.skipped:
                taken = min(owed, left[at])
                left[at] -= taken
                owed -= taken
    return left


def extra_ug_n(extra: Extra, analysis: Analysis) -> int:
    return half_up(extra.blend_mg * 1000 * analysis.n)


def blend_mg(ug_n: int, analysis: Analysis) -> int:
    """The blend that brings this nitrogen, half up to the milligram."""
    return half_up(ug_n / (1000 * analysis.n))


def _shared(
    account: soils.Soil,
    plantings: Sequence[PlantingSpec],
    kept: Sequence[Sequence[Slot]],
    planned: Sequence[Sequence[int]],
    analysis: Analysis,
) -> list[list[int]]:
    """Step 7, with and without the logged extras: the smaller counts: no log makes any feed larger."""

    def share(soil: soils.Soil, amounts: Sequence[Sequence[int]]) -> list[list[int]]:
        claims = [
            soils.Claim(at, slot.day, n)
            for at, mine in enumerate(kept)
            for slot, n in zip(mine, amounts[at], strict=True)
        ]
        flat = iter(soils.shared(soil, claims))
        return [[next(flat) for _ in mine] for mine in kept]

    if not any(spec.extras for spec in plantings):
        return share(account, planned)
    logged = len([extra for spec in plantings for extra in spec.extras])
    before = share(replace(account, entries=account.entries[: len(account.entries) - logged]), planned)
    reduced = [
        less_extras(spec, [slot.day for slot in mine], amounts, analysis)
        for spec, mine, amounts in zip(plantings, kept, planned, strict=True)
    ]
    after = share(account, reduced)
    return [[min(pair) for pair in zip(*both, strict=True)] for both in zip(before, after, strict=True)]


def _plan(
    item: BlendItem,
    analysis: Analysis,
    rules: Rules,
    spec: PlantingSpec,
    table: Timetable,
    offered: Sequence[Slot],
    kept: Sequence[Slot],
    planned: Sequence[int],
    got: Sequence[int],
) -> PlantingPlan:
    feeds = tuple(
        Feed(
            number=number,
            day=slot.day,
            weeks=slot.weeks,
            share=slot.share,
            planned_ug_n=wanted,
            ug_n=n,
            blend_mg=blend_mg(n, analysis),
            ug_boron=analysis.boron_in(n),
            skipped=slot.day in spec.skipped,
            cut_by_soil=n + DUST_UG < less,
        )
        for number, (slot, wanted, less, n) in enumerate(
            zip(
                kept,
                planned,
                less_extras(spec, [slot.day for slot in kept], planned, analysis),
                got,
                strict=True,
            ),
            1,
        )
    )
    refused, reason = table.refused, table.reason
    if offered and not kept:
        gone = any(is_taken_over(slot.day, spec) for slot in offered)
        refused = "taken_over" if gone else "no_tenancy"
        reason = "another planting has its feeds" if gone else "nobody has the plot on its feeding days"
    return PlantingPlan(
        spec=spec,
        table=table,
        item=item,
        feeds=feeds,
        interval=interval_of(table, spec.area_mm2, spec.frozen, analysis, rules),
        cap_blend=table.cap / analysis.n,
        not_fed=_not_fed(spec, table, offered, feeds, analysis),
        refused=refused,
        reason=reason,
    )


def _not_fed(
    spec: PlantingSpec, table: Timetable, offered: Sequence[Slot], feeds: Sequence[Feed], analysis: Analysis
) -> tuple[NotFed, ...]:
    """Where the rest of the need went, in the order of the steps. With what is due and what an extra
    replaced, it is the whole need, but for what rounding leaves.
    """
    per_m2 = dict(table.cut)
    if table.refused in ("no_window", "pot", "none"):
        per_m2[table.refused] = table.need
    grouped = sum((table.unit * slot.share - amount(table, slot) for slot in offered), Fraction(0))
    lost = [slot for slot in offered if not is_active(slot.day, spec)]
    taken = [slot for slot in offered if is_active(slot.day, spec) and is_taken_over(slot.day, spec)]
    per_m2["grouped"] = grouped
    per_m2["no_tenancy"] = sum((amount(table, slot) for slot in lost), Fraction(0))
    per_m2["taken_over"] = sum((amount(table, slot) for slot in taken), Fraction(0))
    amounts = {why: half_up(n * spec.area_mm2 / MM2) for why, n in per_m2.items()}
    reduced = less_extras(spec, [f.day for f in feeds], [f.planned_ug_n for f in feeds], analysis)
    amounts["soil"] = sum(max(less - feed.ug_n, 0) for less, feed in zip(reduced, feeds, strict=True))
    amounts["skipped"] = sum(feed.ug_n for feed in feeds if feed.skipped)
    return tuple(NotFed(why, NOT_FED[why], n) for why, n in amounts.items() if n >= DUST_UG)


NOT_FED = {
    "season": "the garden's feeding weeks are fewer than the sixteen",
    Cap.FEED_N.value: "cut by the most nitrogen in one feed",
    Cap.FEED_BLEND.value: "cut by the most blend in one feed",
    "no_drainage": "half, because no water drains out below",
    "frozen": "the dose was fixed when its first round was frozen, and is not raised",
    "no_window": "no day is left to feed",
    "pot": "pots get no dose of this blend",
    "none": "this bed gets none of the blend",
    "grouped": "weeks taken together are capped as one feed",
    "no_tenancy": "nobody has the plot on those days",
    "taken_over": "another planting of the bed has those feeds",
    "soil": "cut by what the soil may get in 48 weeks",
    "skipped": "skipped, and not caught up",
}


def _with_room(account: soils.Soil, plans: Sequence[PlantingPlan], at: int) -> PlantingPlan:
    """What step 7 leaves it on the day of its first feed, ug/m2: the smaller of own area and bed. No room of
    boron is told where a feed before one of its own did not declare its boron.
    """
    plan = plans[at]
    if not plan.feeds:
        return plan
    day = plan.feeds[0].day
    out = soils.after_window_start(day, account.rules)
    earlier = [(p, f.ug_n) for p, other in enumerate(plans) for f in other.feeds if out < f.day < day]
    entered = soils.entries_in_window(account, day)
    ground = account.grounds[at]
    known = account.boron_per_n is not None and all(
        entry.ug_boron is not None
        for feed in plan.feeds
        for entry in soils.entries_in_window(account, feed.day)
    )
    rooms_n, rooms_boron = [], []
    for area, sensitive, fed, entries in (
        (account.area_mm2, account.sensitive_on(day), sum(n for _, n in earlier), entered),
        (
            ground.area_mm2,
            ground.boron_sensitive,
            sum(n for p, n in earlier if p == at),
            [entry for entry in entered if entry.planting == at],
        ),
    ):
        n = fed + sum(entry.ug_n for entry in entries)
        boron = account.boron(fed, entries)
        rooms_n.append(account.n_cap(ground.lifted) - Fraction(n * MM2, area))
        if boron is not None:
            rooms_boron.append(account.boron_cap(ground.lifted, sensitive=sensitive) - boron * MM2 / area)
    return replace(
        plan,
        room_n=max(min(rooms_n), Fraction(0)),
        room_boron=max(min(rooms_boron), Fraction(0)) if known else None,
    )


def _with_scoops(
    account: soils.Soil, plans: Sequence[PlantingPlan], at: int, analysis: Analysis, rules: Rules
) -> PlantingPlan:
    """Scoops beside the grams: the nearest quarter if feed and season stay under every cap, else below."""
    plan = plans[at]
    if rules.scoop_mg is None or not plan.feeds:
        return plan
    scoop = rules.scoop_mg
    most = int(plan.cap_blend * plan.spec.area_mm2 / MM2 / 1000)

    def scooped(*, up: bool) -> list[Feed]:
        limits = [most if up and not feed.cut_by_soil else feed.blend_mg for feed in plan.feeds]
        return [
            replace(feed, scoops=nearest(feed.blend_mg, scoop, at_most_mg=limit))
            for feed, limit in zip(plan.feeds, limits, strict=True)
        ]

    rounded = scooped(up=True)
    over = sum(max(feed.scoops.mg - feed.blend_mg, 0) for feed in rounded if feed.scoops is not None)
    if over * 1000 * analysis.n > _slack(account, plans, at):
        rounded = scooped(up=False)
    return replace(plan, feeds=tuple(rounded))


def _slack(account: soils.Soil, plans: Sequence[PlantingPlan], at: int) -> int:
    """Micrograms of N that a planting's feeds together may still grow by: its share of the room."""
    claims = [soils.Claim(p, f.day, f.ug_n) for p, plan in enumerate(plans) for f in plan.feeds]
    got = [claim.ug_n for claim in claims]
    own = min(soils.own_room(account, claims, got, at, feed.day) for feed in plans[at].feeds)
    lifted = account.grounds[at].lifted
    bed = min(soils.bed_room(account, claims, got, lifted, claim.day) for claim in claims)
    total = sum(got)
    mine = sum(feed.ug_n for feed in plans[at].feeds)
    return min(own, bed * mine // total if total else 0)


def _area(area_mm2: int, what: str, field: str) -> None:
    if isinstance(area_mm2, bool) or not isinstance(area_mm2, int):
        raise DoseError("area_not_whole", f"{what}'s area is whole square millimetres.", field)
    if not 0 < area_mm2 <= MAX_AREA_MM2:
        raise DoseError("area_out_of_range", f"{what} has an area above zero and up to ten hectares.", field)
