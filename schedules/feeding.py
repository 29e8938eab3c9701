"""One planting's season per square metre: steps 1, 4, 5, 6, 8, 9 and 11, before the soil's account.

Amounts are ug N/m2 as exact fractions. Nothing here knows the planting's neighbours (step 7 is in
`schedules.soil`) or rounds anything; the area only decides in step 9 whether a feed is too small to measure.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from math import ceil

from gardens.numerals import half_up
from schedules.crops import Crop, FeederClass, Harvest
from schedules.rules import Rules, pounds_per_1000_ft2
from schedules.seasons import EARLIEST, LATEST, WEEK, GardenSeason
from schedules.specs import BedSpec, BlendItem, Cap, DoseError, Feeding, Frozen, OwnRate, PlantingSpec

HALF = Fraction(1, 2)
ONE = Fraction(1)
MIDPOINT_KINDS = frozenset({Harvest.ROOT, Harvest.BULB, Harvest.TUBER})


@dataclass(frozen=True)
class Analysis:
    """A blend item as exact mass fractions: nitrogen, and boron (None where not declared: not known, never
    taken for none).
    """

    n: Fraction
    boron: Fraction | None

    @property
    def boron_per_n(self) -> Fraction | None:
        return None if self.boron is None else self.boron / self.n

    def boron_in(self, ug_n: int) -> int | None:
        """What comes with this nitrogen, half up to the microgram; None where it is not known."""
        ratio = self.boron_per_n
        return None if ratio is None else half_up(ug_n * ratio)

    @classmethod
    def of(cls, item: BlendItem) -> Analysis:
        """Refuses what cannot be fed weekly: no soluble or slow-release nitrogen, or no number."""
        n = _percent(item.soluble_n_percent, "soluble_n_percent")
        boron = None if item.boron_percent is None else _percent(item.boron_percent, "boron_percent")
        if n == 0:
            raise DoseError("no_soluble_nitrogen", f"{item.name} has no soluble nitrogen to dose by.", "item")
        if item.slow_release:
            raise DoseError(
                "slow_release", f"{item.name} has slow-release nitrogen: it is not fed weekly.", "item"
            )
        return cls(n, boron)


@dataclass(frozen=True)
class Slot:
    """One planned feed: the day it is given, the weeks it stands for, its share of a full feed."""

    day: date
    weeks: int
    share: Fraction


@dataclass(frozen=True)
class Timetable:
    """A planting's feeds per square metre. `shares` are of `unit`: 1/2, 1/2, 1, 1 ... one for each of `days`.

    `need` is S (or what an own rate asks in all), `asked` the unit before the caps, `unit` after 6 and 8 and
    what a freeze fixed; `cap` is the most that one feed may bring; `bound` names the cap that cut the unit;
    `cut` says what is not fed and why, in ug N/m2 over the season. `refused` says why there is nothing to
    give.
    """

    kind: str
    needs: FeederClass | None
    need: Fraction
    assumed: bool
    start: date
    end: date
    days: tuple[date, ...] = ()
    shares: tuple[Fraction, ...] = ()
    asked: Fraction = Fraction(0)
    unit: Fraction = Fraction(0)
    cap: Fraction = Fraction(0)
    bound: str = ""
    every_weeks: int = 1
    regroups: bool = False
    window: tuple[date, date] | None = None
    cut: tuple[tuple[str, Fraction], ...] = ()
    refused: str = ""
    reason: str = ""

    @property
    def feeds(self) -> int:
        return len(self.days)


def timetable(
    spec: PlantingSpec, bed: BedSpec, season: GardenSeason, analysis: Analysis, rules: Rules
) -> Timetable:
    """The planting's season. Of `bed` drainage, pot and feeding matter; of `spec` all but area and log."""
    start, end = span(spec, season, rules)
    needs = _class_of(spec, rules)
    own = spec.own_rate
    base = Timetable("", needs, Fraction(0), spec.default or spec.crop is None, start, end)
    if refusal := _refusal(spec, bed, needs, own):
        need = Fraction(0) if refusal[0] == "legume" else rules.needs[needs].value
        return replace(base, kind="none", need=need, refused=refusal[0], reason=refusal[1])
    if own is not None:
        plan = _own_rate(base, own, spec, season, analysis, rules)
    elif spec.default:
        plan = _default(base, season, rules)
    elif spec.crop is not None and spec.crop.fixed_dates:
        plan = _fixed_dates(base, spec.crop, spec.ends_on, season)
    else:
        plan = _weekly(base, spec, season, rules)
    if not plan.days:
        return replace(plan, refused="no_window", reason=_no_window(plan))
    return _capped(plan, spec, bed, analysis, rules)


def slots(
    plan: Timetable, area_mm2: int, frozen: Frozen | None, analysis: Analysis, rules: Rules
) -> tuple[Slot, ...]:
    """Step 9: the feeds as given, weeks taken together from the first on where a full feed is too small."""
    interval = interval_of(plan, area_mm2, frozen, analysis, rules)
    if interval == 1 or not plan.regroups:
        return tuple(
            Slot(day, plan.every_weeks, share) for day, share in zip(plan.days, plan.shares, strict=True)
        )
    groups = range(0, plan.feeds, interval)
    return tuple(
        Slot(
            plan.days[at],
            len(plan.days[at : at + interval]),
            sum(plan.shares[at : at + interval], Fraction(0)),
        )
        for at in groups
    )


def interval_of(
    plan: Timetable, area_mm2: int, frozen: Frozen | None, analysis: Analysis, rules: Rules
) -> int:
    """Weeks between feeds: the first of 1 to 4 that brings a full feed to 4 g/m2 and half a scoop, else 4."""
    if not plan.regroups or not plan.unit:
        return plan.every_weeks
    if frozen is not None:
        return frozen.interval
    blend_ug_m2 = plan.unit / analysis.n
    weeks = ceil(rules.least_blend.value / blend_ug_m2)
    if rules.scoop_mg:
        least_ug = rules.least_scoop_share.value * rules.scoop_mg * 1000
        weeks = max(weeks, ceil(least_ug / (blend_ug_m2 * area_mm2 / 1_000_000)))
    return min(max(weeks, 1), rules.longest_interval)


def amount(plan: Timetable, slot: Slot) -> Fraction:
    """What the slot brings, ug N/m2, under the caps of 6 (a sum of weeks is capped as one feed)."""
    return min(plan.unit * slot.share, plan.cap)


def is_active(day: date, spec: PlantingSpec) -> bool:
    """Whether a household tends the plot on that day."""
    return spec.active is None or any(
        first <= day and (last is None or day <= last) for first, last in spec.active
    )


def is_taken_over(day: date, spec: PlantingSpec) -> bool:
    """Whether the feed of that day belongs to the planting before, or after, this one."""
    before = spec.feeds_from is not None and day < spec.feeds_from
    return before or (spec.feeds_until is not None and day > spec.feeds_until)


# The steps --------------------------------------------------------------------------------------------------


def _weekly(base: Timetable, spec: PlantingSpec, season: GardenSeason, rules: Rules) -> Timetable:
    """Steps 1, 4 and 5: S over the weeks of the window, first two feeds half; or a legume's one feed."""
    needs = _class_of(spec, rules)
    window = _window(base, spec, season, rules)
    if needs is FeederClass.LEGUME:
        plan = replace(base, kind="legume", need=rules.legume_feed.value, window=window)
        return (
            replace(plan, days=(window[0],), shares=(ONE,), asked=plan.need)
            if window[0] <= window[1]
            else plan
        )
    plan = replace(base, kind="weekly", need=rules.needs[needs].value, window=window, regroups=True)
    days = _every(window[0], window[1], 1)
    if not days:
        return plan
    full = len(days) - 1 if len(days) >= 3 else len(days)
    shares = (HALF, HALF, *[ONE] * (len(days) - 2)) if len(days) >= 3 else (ONE,) * len(days)
    return replace(plan, days=days, shares=shares, asked=plan.need / full)


def _default(base: Timetable, season: GardenSeason, rules: Rules) -> Timetable:
    """The default planting: an even sixteenth on the first day of each feeding week, none after the last."""
    first = season.first_day(week_starts=rules.week_starts)
    last = season.last_day(week_starts=rules.week_starts)
    need = rules.needs[base.needs or rules.unknown_class].value
    days = _every(first, last, 1)[: rules.default_weeks]
    plan = replace(base, kind="default", need=need, window=(first, last), regroups=True)
    return replace(plan, days=days, shares=(ONE,) * len(days), asked=need / rules.default_weeks)


def _fixed_dates(base: Timetable, crop: Crop, ends_on: date | None, season: GardenSeason) -> Timetable:
    """A crop's own dates: all between planting and end, or, for what stays for years, the garden year's."""
    years = season.year
    bounded = ends_on is not None or crop.harvest.value is not Harvest.PERENNIAL
    from_day, to_day = (base.start, base.end) if bounded else (max(base.start, years[0]), years[1])
    dated = sorted(
        (day, pounds_per_1000_ft2(feed.pounds_n))
        for feed in crop.fixed_dates
        for day in _yearly(feed.month, feed.day, from_day, to_day, southern=season.southern)
    )
    unit = max((n for _, n in dated), default=Fraction(0))
    plan = replace(base, kind="fixed", need=sum((n for _, n in dated), Fraction(0)))
    return replace(
        plan, days=tuple(d for d, _ in dated), shares=tuple(n / unit for _, n in dated), asked=unit
    )


def _own_rate(
    base: Timetable, own: OwnRate, spec: PlantingSpec, season: GardenSeason, analysis: Analysis, rules: Rules
) -> Timetable:
    """Step 11 instead of 1 to 5: the same amount at every feed, on the organiser's days or the crop's own."""
    rate = own.ug_per_m2 if own.of_nitrogen else own.ug_per_m2 * analysis.n
    dates = spec.crop.fixed_dates if spec.crop is not None else ()
    if dates and spec.crop is not None and own.first is None and own.last is None:
        days = _fixed_dates(base, spec.crop, spec.ends_on, season).days
        window = None
    else:
        drawn = (
            (season.first_day(week_starts=rules.week_starts), season.last_day(week_starts=rules.week_starts))
            if spec.default
            else _window(base, spec, season, rules)
        )
        window = (own.first or drawn[0], own.last or drawn[1])
        days = _every(window[0], window[1], own.every_weeks)
    asked = rate / len(days) if own.per_season and days else rate
    regroups = window is not None and own.every_weeks == 1
    plan = replace(
        base,
        kind="own",
        need=asked * len(days),
        window=window,
        every_weeks=own.every_weeks,
        regroups=regroups,
    )
    return replace(plan, days=days, shares=(ONE,) * len(days), asked=asked)


def _capped(plan: Timetable, spec: PlantingSpec, bed: BedSpec, analysis: Analysis, rules: Rules) -> Timetable:
    """Steps 6 and 8, and what a freeze fixed: the unit may be lower, the feeds fewer, never more."""
    lifted = spec.lift.cap if spec.lift is not None else None
    sensitive = spec.crop is not None and spec.crop.salt_sensitive
    blend = rules.feed_blend_sensitive if sensitive else rules.feed_blend
    limits = []
    if lifted is not Cap.FEED_N:
        limits.append((rules.feed_n.value, Cap.FEED_N.value))
    if lifted is not Cap.FEED_BLEND:
        limits.append((blend.value * analysis.n, Cap.FEED_BLEND.value))
    cap, name = min(limits)
    drained = ONE if bed.drains else rules.no_drainage_share.value
    capped = min(plan.asked, cap)
    shares = plan.shares
    if plan.kind == "fixed":  # each date has its own amount: cap them one by one
        shares = tuple(min(share * plan.asked, cap) / capped for share in shares)
    unit, days, kept = capped * drained, plan.days, shares
    if spec.frozen is not None:
        unit, days, kept = min(unit, spec.frozen.unit), days[: spec.frozen.feeds], shares[: spec.frozen.feeds]
    asked = plan.asked * sum(plan.shares, Fraction(0))
    after_6 = asked if plan.asked <= cap else capped * sum(shares, Fraction(0))
    after_8 = after_6 * drained
    after_freeze = after_8 if spec.frozen is None else unit * sum(kept, Fraction(0))
    cut = (
        ("season", plan.need - asked),
        (name, asked - after_6),
        ("no_drainage", after_6 - after_8),
        ("frozen", after_8 - after_freeze),
    )
    return replace(
        plan,
        unit=unit,
        cap=cap * drained,
        bound=name if plan.asked > cap else "",
        days=days,
        shares=kept,
        cut=tuple((why, n) for why, n in cut if n > 0),
    )


def _window(base: Timetable, spec: PlantingSpec, season: GardenSeason, rules: Rules) -> tuple[date, date]:
    """Step 4: first and last possible day within the garden's feeding weeks; empty if last < first."""
    crop = spec.crop
    if spec.sown:
        emergence = (
            crop.emergence_days.value if crop and crop.emergence_days else int(rules.unknown_emergence.value)
        )
        first = base.start + timedelta(days=emergence + int(rules.first_after_emergence.value))
    else:
        first = base.start + timedelta(days=int(rules.first_after_transplanting.value))
    if crop is not None and crop.harvest.value in MIDPOINT_KINDS:
        last = base.start + (base.end - base.start) // 2
    else:
        known = rules.stop_days.get(crop.harvest.value) if crop is not None else None
        last = base.end - timedelta(days=int((known or rules.unknown_stop_days).value))
    return (
        max(first, season.first_day(week_starts=rules.week_starts)),
        min(last, season.last_day(week_starts=rules.week_starts)),
    )


# The parts --------------------------------------------------------------------------------------------------


def span(spec: PlantingSpec, season: GardenSeason, rules: Rules) -> tuple[date, date]:
    """Start and expected end: as entered, else the catalogue's days, else the garden's last feeding week."""
    season_end = season.last_day(week_starts=rules.week_starts)
    if season.last_feed < season.first_feed:
        raise DoseError("season_backwards", "The last feeding week lies before the first.", "last_feed")
    if not EARLIEST <= season.first_feed <= season.last_feed <= LATEST:
        raise DoseError("season_out_of_range", "Feeding weeks lie between 1990 and 2199.", "first_feed")
    if season.last_frost and season.first_frost and season.first_frost <= season.last_frost:
        raise DoseError("frost_backwards", "The first frost comes after the last of spring.", "first_frost")
    if spec.default:
        return season.first_day(week_starts=rules.week_starts), season_end
    if not EARLIEST <= spec.day <= LATEST:
        raise DoseError("day_out_of_range", "A planting day lies between 1990 and 2199.", "day")
    if spec.ends_on is not None:
        if spec.ends_on <= spec.day:
            raise DoseError("ends_before_start", "The planting ends before it begins.", "ends_on")
        return spec.day, spec.ends_on
    days = None
    if spec.crop is not None:
        days = spec.crop.end_from_sowing if spec.sown else spec.crop.end_from_transplanting
        if (
            days is None and spec.crop.harvest.value is not Harvest.PERENNIAL
        ):  # garlic and potato are only "sown"
            days = spec.crop.end_from_sowing or spec.crop.end_from_transplanting
    return spec.day, spec.day + timedelta(days=days.value) if days is not None else max(season_end, spec.day)


def _class_of(spec: PlantingSpec, rules: Rules) -> FeederClass:
    if spec.needs is not None:
        return spec.needs
    return rules.unknown_class if spec.crop is None else spec.crop.needs.value


def _refusal(
    spec: PlantingSpec, bed: BedSpec, needs: FeederClass, own: OwnRate | None
) -> tuple[str, str] | None:
    if bed.feeding is Feeding.NOTHING:
        return "nothing_grows", bed.reason or "nothing grows here"
    if bed.feeding is Feeding.NONE:
        return "none", bed.reason or "this bed gets none of the blend"
    if spec.interplant_of:
        return "interplant", "it shares the dose of the crop it stands between"
    if bed.pot and own is None:
        return "pot", "pots get no dose of this blend unless the organiser gives a rate per litre of mix"
    if needs is FeederClass.LEGUME and own is None and not spec.legume_feed:
        return "legume", "peas and beans take their nitrogen from the air"
    return None


def _no_window(plan: Timetable) -> str:
    if plan.window is None:
        return "none of its dates lies between planting and end"
    return f"no day is left to feed: the first would be {plan.window[0]}, the last {plan.window[1]}"


def _every(first: date, last: date, weeks: int) -> tuple[date, ...]:
    if last < first:
        return ()
    return tuple(first + WEEK * weeks * k for k in range((last - first).days // (7 * weeks) + 1))


def _yearly(month: int, day: int, first: date, last: date, *, southern: bool) -> Iterable[date]:
    """Each year's day of that name after `first` and up to `last`; half a year later in the south."""
    month = (month + 5) % 12 + 1 if southern else month
    for year in range(first.year, last.year + 1):
        if first < (found := date(year, month, day)) <= last:
            yield found


def _percent(value: Decimal | Fraction, field: str) -> Fraction:
    """A mass fraction out of per cent; refuses NaN, infinite, negative and above 100."""
    try:
        share = Fraction(value) / 100
    except (ValueError, OverflowError, TypeError):
        raise DoseError("not_a_percentage", "A percentage is a number from 0 to 100.", field) from None
    if not 0 <= share <= 1:
        raise DoseError("not_a_percentage", "A percentage is a number from 0 to 100.", field)
    return share
