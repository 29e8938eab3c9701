"""The working of a planting's dose: one line, then the numbered steps, with figures that can be recomputed by
hand.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from schedules.crops import FeederClass, Sourced
from schedules.feeding import MIDPOINT_KINDS, Analysis
from schedules.plans import MM2, Feed, PlantingPlan
from schedules.rules import GRAM, Rules, Value
from schedules.seasons import GardenSeason
from schedules.specs import BedSpec, Cap
from schedules.working import HOUSE, Figure, Step, Working, grams, printed, square_metres

CLASS_WORDS = {
    FeederClass.HEAVY: "heavy feeder",
    FeederClass.MEDIUM: "medium feeder",
    FeederClass.LIGHT: "light feeder",
    FeederClass.LEGUME: "peas and beans, on request",
}
CAP_WORDS = {
    Cap.FEED_N.value: "the most nitrogen in one feed",
    Cap.FEED_BLEND.value: "the most blend in one feed",
}
ALGORITHM = "the default algorithm"
BORON_BEFORE = "cannot be checked: a feed before it did not declare its boron"
ARITHMETIC = "arithmetic"
G_M2 = "g N/m2"


def explained(
    plan: PlantingPlan, bed: BedSpec, season: GardenSeason, analysis: Analysis, rules: Rules
) -> PlantingPlan:
    """The plan with its line, its steps, a line on each feed, and what to know beside it."""
    full = max((feed.blend_mg for feed in plan.feeds), default=0)
    return replace(
        plan,
        feeds=tuple(replace(feed, line=_line(plan, bed, feed.blend_mg, feed)) for feed in plan.feeds),
        working=Working(_line(plan, bed, full, None), tuple(_steps(plan, bed, season, analysis, rules))),
        notes=tuple(_notes(plan, bed, analysis)),
    )


def _line(plan: PlantingPlan, bed: BedSpec, blend_mg: int, feed: Feed | None) -> str:
    """`18 g = heavy feeder, 2.97 m2, 16 feeds, batch 12`, or why there is nothing."""
    if not plan.feeds:
        return f"nothing = {plan.reason or 'no feed falls into this season'}"
    words = [_who(plan), f"{square_metres(plan.spec.area_mm2)} m2", _how_many(plan)]
    if feed is not None and feed.share < 1 and plan.table.kind == "weekly":
        words.insert(1, "half a feed to begin with")
    if not bed.drains:
        words.append("half: no drainage")
    if feed.cut_by_soil if feed is not None else any(f.cut_by_soil for f in plan.feeds):
        words.append("cut by what the soil may get")
    amount = f"{grams(blend_mg)} g" if blend_mg else "nothing"
    return f"{amount} = {', '.join([*words, plan.item.name])}"


def _who(plan: PlantingPlan) -> str:
    if plan.spec.own_rate is not None:
        return f"own rate {plan.spec.own_rate.text}"
    words = CLASS_WORDS[plan.table.needs or FeederClass.MEDIUM]
    if plan.spec.default:
        return f"no crop registered, taken as a {words} (assumed)"
    return f"{words} (assumed)" if plan.assumed else words


def _how_many(plan: PlantingPlan) -> str:
    count = len(plan.feeds)
    feeds = "1 feed" if count == 1 else f"{count} feeds"
    if plan.table.kind == "fixed":
        return f"{feeds} on fixed dates"
    if plan.interval > 1 and count > 1:
        return f"{feeds}, each for {plan.interval} weeks"
    return feeds


def _steps(
    plan: PlantingPlan, bed: BedSpec, season: GardenSeason, analysis: Analysis, rules: Rules
) -> Iterator[Step]:
    """In the order of the computation; 2, 3 and 10 are not built."""
    if plan.table.kind == "own":
        yield _own(plan, rules)
    else:
        yield _need(plan, rules)
    if plan.table.refused and plan.table.refused != "no_window":
        return
    if plan.table.window is not None or plan.table.kind == "fixed":
        yield _window(plan, season, rules)
    if not plan.table.days:
        return
    if plan.table.kind != "own":
        yield _feeds(plan, rules)
    yield _caps(plan, bed, analysis, rules)
    yield _soil(plan, bed, analysis, rules)
    if not bed.drains:
        yield _drainage(plan, rules)
    yield _mass(plan, analysis, rules)


def _need(plan: PlantingPlan, rules: Rules) -> Step:
    table, crop = plan.table, plan.spec.crop
    needs = table.needs or rules.unknown_class
    result = Figure("need S", printed(table.need / GRAM), G_M2)
    if table.kind == "fixed" and crop is not None and crop.fixed_dates_from is not None:
        given = crop.fixed_dates_from
        inputs = tuple(
            Figure(day.isoformat(), printed(share * table.asked / GRAM), G_M2)
            for day, share in zip(table.days, plan.table.shares, strict=True)
        )
        return Step(
            1,
            "need",
            "Need",
            "S = sum of the crop's own dates",
            inputs,
            result,
            given.source,
            given.confidence,
        )
    if table.kind == "legume":
        value, formula = rules.legume_feed, "S = one feed, on request"
    else:
        value, formula = rules.needs[needs], "S = nitrogen of its class"
    note = f"class by {_class_source(plan)}"
    figure = (Figure("class", str(needs)),)
    return Step(1, "need", "Need", formula, figure, result, value.source, value.confidence, note)


def _class_source(plan: PlantingPlan) -> str:
    if plan.spec.needs is not None:
        return "the programme's choice"
    if plan.spec.crop is None:
        return (
            "assumption, since nobody has said what grows here"
            if plan.spec.default
            else "assumption: unknown crop"
        )
    given: Sourced[FeederClass] = plan.spec.crop.needs
    return f"{given.source} ({given.confidence})"


def _window(plan: PlantingPlan, season: GardenSeason, rules: Rules) -> Step:
    table, spec, crop = plan.table, plan.spec, plan.spec.crop
    weeks = (
        Figure("first feeding week begins", season.first_day(week_starts=rules.week_starts).isoformat()),
        Figure("last feeding week ends", season.last_day(week_starts=rules.week_starts).isoformat()),
    )
    if table.kind == "fixed":
        days = ", ".join(day.isoformat() for day in table.days)
        source, confidence = ALGORITHM, HOUSE
        if crop is not None and crop.fixed_dates_from is not None:
            source, confidence = crop.fixed_dates_from.source, crop.fixed_dates_from.confidence
        planted = (Figure("planted", table.start.isoformat()), Figure("end", table.end.isoformat()))
        dates = Figure("feeds on", days or "no day")
        return Step(
            4,
            "window",
            "Fixed dates",
            "the crop's own dates after planting",
            planted,
            dates,
            source,
            confidence,
        )
    if table.window is None:
        raise AssertionError("a timetable without fixed dates has a window")
    first, last = table.window
    result = Figure(
        "feeding days", f"{first.isoformat()} to {last.isoformat()}" if first <= last else "no day"
    )
    if spec.default:
        formula = "the first day of each feeding week"
        return Step(4, "window", "Window", formula, weeks, result, ALGORITHM, HOUSE)
    inputs = [Figure("sown" if spec.sown else "transplanted", spec.day.isoformat())]
    if spec.sown:
        known = crop.emergence_days if crop is not None else None
        emergence = known.value if known is not None else int(rules.unknown_emergence.value)
        inputs += [
            Figure("days to emergence", str(emergence), "days"),
            Figure("first feed after emergence", str(rules.first_after_emergence.value), "days"),
        ]
    else:
        inputs.append(
            Figure("first feed after transplanting", str(rules.first_after_transplanting.value), "days")
        )
    inputs.append(Figure("expected end", table.end.isoformat()))
    if crop is not None and crop.harvest.value in MIDPOINT_KINDS:
        formula, rule = (
            "first = start + days; last = midpoint of start and end",
            rules.first_after_transplanting,
        )
    else:
        rule = rules.unknown_stop_days
        if crop is not None:
            rule = rules.stop_days.get(crop.harvest.value, rule)
        formula = "first = start + days; last = end - days; both inside the garden's feeding weeks"
        inputs.append(Figure("last feed before the end", str(rule.value), "days"))
    return Step(4, "window", "Window", formula, (*inputs, *weeks), result, rule.source, rule.confidence)


def _feeds(plan: PlantingPlan, rules: Rules) -> Step:
    table = plan.table
    need = Figure("need S", printed(table.need / GRAM), G_M2)
    unit = Figure("full feed u", printed(table.asked / GRAM), G_M2)
    count = Figure("feeds n", str(table.feeds))
    if table.kind == "default":
        sixteen = Figure("weeks", str(rules.default_weeks))
        return Step(
            5,
            "feeds",
            "Feeds",
            "u = S / 16 each week, no half feeds",
            (need, sixteen),
            unit,
            ALGORITHM,
            HOUSE,
        )
    if table.kind == "fixed":
        return Step(5, "feeds", "Feeds", "each date brings its own amount", (count,), unit, ALGORITHM, HOUSE)
    if table.kind == "legume":
        return Step(5, "feeds", "Feeds", "one feed on the first feeding day", (need,), unit, ALGORITHM, HOUSE)
    formula = "n = whole weeks + 1; u = S / (n - 1): u/2, u/2, then u" if table.feeds >= 3 else "u = S / n"
    note = "what is skipped, cut or dropped is never caught up"
    return Step(5, "feeds", "Feeds", formula, (need, count), unit, ALGORITHM, HOUSE, note)


def _caps(plan: PlantingPlan, bed: BedSpec, analysis: Analysis, rules: Rules) -> Step:
    table, crop = plan.table, plan.spec.crop
    sensitive = crop is not None and crop.salt_sensitive
    blend: Value = rules.feed_blend_sensitive if sensitive else rules.feed_blend
    inputs = (
        Figure("full feed u", printed(table.asked / GRAM), G_M2),
        Figure("most nitrogen", printed(rules.feed_n.value / GRAM), G_M2),
        Figure("most blend", printed(blend.value / GRAM), "g/m2"),
        Figure("soluble nitrogen", printed(analysis.n * 100), "%"),
    )
    drained = Fraction(1) if bed.drains else rules.no_drainage_share.value
    result = Figure("full feed u", printed(min(table.asked, table.cap / drained) / GRAM), G_M2)
    cut = f"cut by {CAP_WORDS[table.bound]}" if table.bound else "no cap binds"
    if sensitive and crop is not None:
        salt = crop.salt_threshold
        cut += (
            f"; salt-sensitive: threshold {salt.value} dS/m ({salt.source})"
            if salt is not None
            else "; rated salt-sensitive"
        )
    if plan.spec.lift is not None and plan.spec.lift.cap in (Cap.FEED_N, Cap.FEED_BLEND):
        cut += f"; lifted: {CAP_WORDS[plan.spec.lift.cap.value]} ({plan.spec.lift.reason})"
    formula = "u = smaller of u, most nitrogen, most blend x nitrogen"
    rule = blend if table.bound == Cap.FEED_BLEND.value else rules.feed_n
    return Step(6, "caps", "Caps per feed", formula, inputs, result, rule.source, rule.confidence, cut)


def _soil(plan: PlantingPlan, bed: BedSpec, analysis: Analysis, rules: Rules) -> Step:
    area = Fraction(plan.spec.area_mm2, MM2)
    planned = sum(feed.planned_ug_n for feed in plan.feeds)
    got = sum(feed.ug_n for feed in plan.feeds)
    inputs = [
        Figure("planned in all", printed(Fraction(planned) / area / GRAM), G_M2),
        Figure("soil may get in 48 weeks", printed(rules.soil_n.value / GRAM), G_M2),
        Figure("left for it before its first feed", printed(plan.room_n / GRAM), G_M2),
    ]
    note = "boron is not declared: this cap cannot be checked for it"
    if analysis.boron is not None:
        boron = sum(feed.ug_boron or 0 for feed in plan.feeds)
        inputs.append(Figure("its boron", printed(Fraction(boron) / area / GRAM * 10, digits=4), "kg/ha"))
        note = f"boron left for it {BORON_BEFORE}"
    if plan.room_boron is not None:
        inputs.append(Figure("boron left for it", printed(plan.room_boron / GRAM * 10, digits=4), "kg/ha"))
        note = ""
    if plan.spec.lift is not None and plan.spec.lift.cap in (Cap.SOIL_N, Cap.SOIL_BORON):
        note = f"lifted: {plan.spec.lift.cap.value} ({plan.spec.lift.reason}). {note}".strip()
    result = Figure("in all", printed(Fraction(got) / area / GRAM), G_M2)
    formula = "in date order, all crops of the bed together, never above the cap in any 48 weeks"
    rule = rules.soil_n
    return Step(
        7, "soil", "Cap of the soil", formula, tuple(inputs), result, rule.source, rule.confidence, note
    )


def _drainage(plan: PlantingPlan, rules: Rules) -> Step:
    rule = rules.no_drainage_share
    inputs = (Figure("share", printed(rule.value)),)
    result = Figure("full feed u", printed(plan.unit / GRAM), G_M2)
    note = "flush with plain water once a month"
    return Step(
        8, "drainage", "No drainage", "u = u x share", inputs, result, rule.source, rule.confidence, note
    )


def _mass(plan: PlantingPlan, analysis: Analysis, rules: Rules) -> Step:
    """Unit times area over nitrogen, in grams of blend; how weeks are taken together."""
    area = Fraction(plan.spec.area_mm2, MM2)
    inputs = (
        Figure("full feed u", printed(plan.unit / GRAM), G_M2),
        Figure("area", printed(area), "m2"),
        Figure("soluble nitrogen", printed(analysis.n * 100), "%"),
    )
    mass = plan.unit * area / analysis.n / GRAM
    result = Figure("full feed", _hundredths(mass), "g")
    formula = "grams = u x area / (nitrogen / 100)"
    note = ""
    if plan.interval > 1 and plan.table.regroups:
        note = (
            f"a full feed is too small to measure: every {plan.interval} weeks together, "
            f"the sum in the first of them, at most {_hundredths(plan.cap_blend * area / GRAM)} g"
        )
    elif Fraction(1, 2) in plan.table.shares:
        note = f"the first two feeds are half: {_hundredths(mass / 2)} g"
    grouped = plan.interval > 1
    if any(why == "frozen" for why, _ in plan.table.cut):
        note = "; ".join(
            filter(None, (note, "u was fixed when its first round was frozen, and is never raised"))
        )
    source, confidence = (rules.least_blend.source, HOUSE) if grouped else (ARITHMETIC, ARITHMETIC)
    return Step(9, "mass", "Mass", formula, inputs, result, source, confidence, note)


def _own(plan: PlantingPlan, rules: Rules) -> Step:
    own, table = plan.spec.own_rate, plan.table
    if own is None:
        raise AssertionError("an own-rate timetable has an own rate")
    area = Fraction(plan.spec.area_mm2, MM2)
    heavy = rules.needs[FeederClass.HEAVY].value
    asked = table.need
    got = Fraction(sum(feed.ug_n for feed in plan.feeds)) / area
    grams_not_given = max(asked - got, Fraction(0)) * area / _n_of(plan) / GRAM
    inputs = (
        Figure("rate as entered", own.text),
        Figure("one feed", printed(table.asked / GRAM), G_M2),
        Figure("feeds", str(table.feeds)),
        Figure("of a heavy season", printed(asked / heavy, digits=3), "times"),
        Figure("blend not given", _hundredths(grams_not_given), "g"),
    )
    cut = [f"cut by {CAP_WORDS[table.bound]}"] if table.bound else []
    if any(feed.cut_by_soil for feed in plan.feeds):
        cut.append("cut by what the soil may get in 48 weeks")
    note = "; ".join([*cut, own.reason])
    result = Figure("asked in all", printed(asked / GRAM), G_M2)
    formula = "the organiser's rate instead of steps 1 to 5"
    return Step(11, "own_rate", "Own rate", formula, inputs, result, "the organiser", "own rate", note)


def _n_of(plan: PlantingPlan) -> Fraction:
    return Analysis.of(plan.item).n


def _notes(plan: PlantingPlan, bed: BedSpec, analysis: Analysis) -> Iterator[str]:
    if not plan.feeds:
        return
    if plan.assumed:
        yield "Assumed: nobody has said yet what grows here."
    if not bed.drains:
        yield "No water drains out below: half the dose, and flush with plain water once a month."
    if analysis.boron is None:
        yield "The blend's boron is not declared: its cap cannot be checked."
    elif plan.room_boron is None:
        yield f"Boron left for it {BORON_BEFORE}."
    if plan.spec.crop is not None and plan.spec.crop.boron_sensitive:
        yield "This crop is sensitive to boron: half the cap."
    yield "Nothing on frozen, saturated or bone-dry soil."


def _hundredths(value: Fraction) -> str:
    """Half up, always two decimals: "21.77"."""
    cents = (200 * value.numerator + value.denominator) // (2 * value.denominator)
    return f"{cents // 100}.{cents % 100:02d}"
