"""What holds for every bed, however odd: caps, no catch-up, order, and the bulk sums against the
specification.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from schedules.crops import catalogue
from schedules.demand import Request, demand
from schedules.doses import (
    HOUSE,
    BedPlan,
    BedSpec,
    BlendItem,
    Cap,
    Extra,
    GardenSeason,
    Given,
    Lift,
    PlantingSpec,
    default_planting,
    plan_bed,
)
from schedules.rates import Basis, own_rate

settings.register_profile("doses", derandomize=True, max_examples=100, deadline=None)
settings.load_profile("doses")

MM2 = 1_000_000
NORTH = GardenSeason(date(2026, 4, 20), date(2026, 10, 10), date(2026, 4, 13), date(2026, 10, 5))
SOUTH = GardenSeason(date(2026, 9, 20), date(2027, 4, 20), date(2026, 9, 28), date(2027, 4, 5))
LONG = GardenSeason(None, None, date(2026, 1, 5), date(2027, 6, 28))
DAYS = st.dates(date(2025, 10, 1), date(2027, 3, 1))
ITEMS = st.builds(
    BlendItem,
    st.just("batch 12"),
    st.one_of(
        st.just(Fraction(40, 3)),
        st.decimals("0.5", "46", places=2).map(Decimal),
        st.fractions(Fraction(1, 2), 46, max_denominator=10**9),
    ),
    st.one_of(st.none(), st.fractions(0, Fraction(1, 2), max_denominator=10**4)),
)
LIFTS = st.one_of(st.none(), st.none(), st.builds(Lift, st.sampled_from(list(Cap)), st.just("trial")))
EXTRAS = st.lists(st.builds(Extra, DAYS, st.integers(1, 500_000)), max_size=2).map(tuple)
SPANS = st.one_of(
    st.none(),
    st.lists(st.tuples(DAYS, st.one_of(st.none(), DAYS)), max_size=2).map(tuple),
)


@st.composite
def plantings(draw: st.DrawFn, key: str, area_mm2: int) -> PlantingSpec:
    day = draw(DAYS)
    rate = draw(st.one_of(st.none(), st.none(), st.integers(1, 80)))
    return PlantingSpec(
        key=key,
        crop=draw(st.one_of(st.none(), st.sampled_from(catalogue()))),
        area_mm2=area_mm2,
        day=day,
        sown=draw(st.booleans()),
        ends_on=draw(st.one_of(st.none(), st.integers(1, 300).map(lambda n: day + timedelta(days=n)))),
        legume_feed=draw(st.booleans()),
        skipped=frozenset(draw(st.lists(DAYS, max_size=3))),
        extras=draw(EXTRAS),
        own_rate=own_rate(Decimal(rate), Basis.AREA, of_nitrogen=False, text="r", reason="trial")
        if rate
        else None,
        lift=draw(LIFTS),
        active=draw(SPANS),
        feeds_from=draw(st.one_of(st.none(), DAYS)),
    )


@st.composite
def requests(draw: st.DrawFn) -> Request:
    """One to three plantings side by side on a bed of a hand's breadth to a hectare, with what the soil got
    before.
    """
    bed = BedSpec(
        "bed",
        draw(st.one_of(st.integers(10_000, 50_000_000), st.integers(1, 10**10))),
        drains=draw(st.booleans()),
    )
    season = draw(st.sampled_from([NORTH, SOUTH, LONG]))
    count = draw(st.integers(1, 3))
    parts = [
        draw(plantings(f"p{n}", max(bed.area_mm2 // (count + draw(st.integers(0, 2))), 1)))
        for n in range(count)
    ]
    if draw(st.booleans()):
        parts.append(default_planting(bed, season, feeds_until=draw(DAYS)))
    if sum(p.area_mm2 for p in parts if not p.default) > bed.area_mm2:
        parts = parts[:1]
    before = [
        Given(
            day,
            per_m2 * bed.area_mm2 // MM2,
            None if boron is None else boron * bed.area_mm2 // MM2,
            planting,
        )
        for day, per_m2, boron, planting in draw(
            st.lists(
                st.tuples(
                    DAYS,
                    st.integers(0, 9_000_000),
                    st.one_of(st.none(), st.integers(0, 60_000)),
                    st.sampled_from(["", "p0"]),
                ),
                max_size=2,
            )
        )
    ]
    if draw(st.booleans()):  # a plain bed: what a running sum can tell
        before, parts = [], [replace(spec, extras=(), lift=None) for spec in parts]
    rules = replace(
        HOUSE, scoop_mg=draw(st.sampled_from([None, 1_000, 14_048])), week_starts=draw(st.integers(0, 6))
    )
    return Request(bed, parts, season, draw(ITEMS), rules, before)


def planned(request: Request) -> BedPlan:
    return plan_bed(
        request.bed, request.plantings, request.season, request.item, request.rules, given=request.given
    )


@given(requests())
def test_no_feed_passes_a_cap(request: Request) -> None:
    analysis = Fraction(request.item.soluble_n_percent) / 100
    for plan in planned(request).plantings:
        crop, lift = plan.spec.crop, plan.spec.lift.cap if plan.spec.lift else None
        sensitive = crop is not None and crop.salt_sensitive
        blend = (
            (HOUSE.feed_blend_sensitive if sensitive else HOUSE.feed_blend).value * plan.spec.area_mm2 / MM2
        )
        for feed in plan.feeds:
            if lift is not Cap.FEED_N:
                assert feed.ug_n <= HOUSE.feed_n.value * plan.spec.area_mm2 / MM2 + Fraction(1, 2)
            if lift is not Cap.FEED_BLEND:
                assert feed.ug_n <= blend * analysis + Fraction(1, 2)
                assert 1000 * feed.blend_mg <= blend + 500 + Fraction(1, 2) / analysis


@given(requests())
def test_no_48_weeks_bring_the_soil_more_than_its_cap(request: Request) -> None:
    """Counted as if nothing was skipped, what was given before with it: nothing more than the cap, or no more
    than that.
    """
    plan = planned(request)
    lifted = {p.spec.lift.cap for p in plan.plantings if p.spec.lift}
    cap = (HOUSE.soil_n_ceiling if Cap.SOIL_N in lifted else HOUSE.soil_n).value * request.bed.area_mm2 / MM2
    for last in plan.feeds:
        if not last.ug_n:
            continue
        begins = last.day - timedelta(weeks=48)
        fed = sum(feed.ug_n for feed in plan.feeds if begins < feed.day <= last.day)
        before = sum(entry.ug_n for entry in request.given if begins < entry.day <= last.day)
        assert fed + before <= cap
        boron = HOUSE.soil_boron_ceiling if Cap.SOIL_BORON in lifted else HOUSE.soil_boron
        fed_boron = fed * (plan.account.boron_per_n or 0) + sum(
            e.ug_boron or 0 for e in request.given if begins < e.day <= last.day
        )
        assert fed_boron <= boron.value * request.bed.area_mm2 / MM2


@given(requests())
def test_what_did_not_declare_its_boron_opens_no_room_and_closes_none(request: Request) -> None:
    """As far as boron is known it holds; where it is not, no room of it is told."""
    silent = replace(request, given=[replace(entry, ug_boron=None) for entry in request.given])
    without = replace(request, given=[replace(entry, ug_boron=0) for entry in request.given])
    for plan, other in zip(planned(silent).plantings, planned(without).plantings, strict=True):
        assert [feed.ug_n for feed in plan.feeds] == [feed.ug_n for feed in other.feeds]
        begins = [feed.day - timedelta(weeks=48) for feed in plan.feeds]
        met = any(
            out < entry.day <= feed.day
            for entry in request.given
            for out, feed in zip(begins, plan.feeds, strict=True)
        )
        assert plan.room_boron is None if met else plan.room_boron == other.room_boron


@given(requests(), st.randoms())
def test_the_order_of_entry_changes_nothing(request: Request, random: object) -> None:
    shuffled = list(request.plantings)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    again = replace(request, plantings=shuffled, given=list(reversed(request.given)))
    assert {p.key: p.feeds for p in planned(request).plantings} == {
        p.key: p.feeds for p in planned(again).plantings
    }


@given(requests(), st.lists(DAYS, min_size=1, max_size=4), st.data())
def test_skipping_never_raises_anybodys_feed(request: Request, days: list[date], data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(request.plantings) - 1))
    before = planned(request)
    own = [feed.day for feed in before.plantings[at].feeds]
    more = frozenset(days) | frozenset(data.draw(st.lists(st.sampled_from(own), max_size=4)) if own else [])
    spec = request.plantings[at]
    parts = [*request.plantings]
    parts[at] = replace(spec, skipped=spec.skipped | more)
    _nobody_gets_more(before, planned(replace(request, plantings=parts)))


@given(requests(), EXTRAS, st.data())
def test_an_extra_never_raises_anybodys_feed(
    request: Request, extras: tuple[Extra, ...], data: st.DataObject
) -> None:
    at = data.draw(st.integers(0, len(request.plantings) - 1))
    bare = [replace(spec, extras=()) for spec in request.plantings]
    logged = [replace(spec, extras=extras if n == at else ()) for n, spec in enumerate(bare)]
    _nobody_gets_more(planned(replace(request, plantings=bare)), planned(replace(request, plantings=logged)))


@given(requests(), st.data())
def test_a_later_edit_never_raises_a_frozen_unit(request: Request, data: st.DataObject) -> None:
    first = planned(request)
    at = data.draw(st.integers(0, len(request.plantings) - 1))
    frozen = first.plantings[at].frozen
    spec = request.plantings[at]
    edited = replace(
        data.draw(plantings(spec.key, spec.area_mm2)),
        frozen=frozen,
        default=spec.default,
        own_rate=spec.own_rate,
    )
    found = plan_bed(request.bed, [edited], request.season, data.draw(ITEMS), request.rules)
    assert found.plantings[0].unit <= frozen.unit
    assert found.plantings[0].table.feeds <= frozen.feeds


@given(requests())
def test_what_is_needed_is_fed_or_named(request: Request) -> None:
    """Need = due + not fed + what an extra replaced, within what rounding and unnamed dust leave."""
    for plan in planned(request).plantings:
        if plan.refused in ("interplant", "legume"):
            continue
        need = plan.table.need * plan.spec.area_mm2 / MM2
        fed = sum(feed.due_ug_n for feed in plan.feeds)
        named = sum(cut.ug_n for cut in plan.not_fed)
        off = need - fed - named
        dust = 1_000 * 8 + len(plan.feeds)
        assert -dust <= off, (plan.not_fed, float(off))
        if not plan.spec.extras:
            assert off <= dust, (plan.not_fed, float(off))


@given(st.sampled_from(catalogue()), DAYS, st.booleans(), st.integers(2, 20), st.integers(10_000, 5_000_000))
def test_area_is_additive(crop: object, day: date, sown: bool, parts: int, area_mm2: int) -> None:
    """A planting of n equal parts gets what its parts get, but for half a microgram in each."""
    spec = PlantingSpec("p", crop, area_mm2, day, sown=sown)  # type: ignore[arg-type]
    item = BlendItem("batch 12", Fraction(40, 3), Fraction(1, 80))
    one = plan_bed(BedSpec("bed", area_mm2), [spec], NORTH, item).plantings[0]
    whole = plan_bed(
        BedSpec("bed", parts * area_mm2), [replace(spec, area_mm2=parts * area_mm2)], NORTH, item
    ).plantings[0]
    assert [feed.day for feed in one.feeds] == [feed.day for feed in whole.feeds]
    for small, large in zip(one.feeds, whole.feeds, strict=True):
        assert abs(parts * small.ug_n - large.ug_n) <= parts * (len(one.feeds) + 2)


@given(st.lists(requests(), min_size=1, max_size=6))
def test_bulk_equals_the_specification(many: list[Request]) -> None:
    found = demand(many)
    assert not found.problems
    rows = list(
        zip(
            found.request.tolist(),
            found.planting.tolist(),
            found.day.tolist(),
            found.weeks.tolist(),
            found.ug_n.tolist(),
            found.blend_mg.tolist(),
            found.skipped.tolist(),
            found.assumed.tolist(),
            strict=True,
        )
    )
    expected, place = [], 0
    for at, request in enumerate(many):
        for plan in planned(request).plantings:
            expected += [
                (at, place, f.day.toordinal(), f.weeks, f.ug_n, f.blend_mg, f.skipped, plan.assumed)
                for f in plan.feeds
            ]
            assert found.frozen(place) == plan.frozen
            place += 1
    assert rows == expected


@given(requests())
def test_scoops_stay_under_the_caps_of_the_season(request: Request) -> None:
    analysis = Fraction(request.item.soluble_n_percent) / 100
    bed = replace(request, plantings=[replace(s, extras=(), skipped=frozenset()) for s in request.plantings])
    plan = planned(bed)
    if any(p.spec.lift for p in plan.plantings) or request.rules.scoop_mg is None:
        return
    for last in plan.feeds:
        begins = last.day - timedelta(weeks=48)
        window = [feed for feed in plan.feeds if begins < feed.day <= last.day]
        before = sum(entry.ug_n for entry in request.given if begins < entry.day <= last.day)
        scooped = sum(feed.scoops.mg for feed in window if feed.scoops) * 1000 * analysis
        exact = sum(feed.blend_mg for feed in window) * 1000 * analysis
        cap = HOUSE.soil_n.value * request.bed.area_mm2 / MM2
        assert scooped + before <= cap + 1000 * len(window) or scooped <= exact


def _nobody_gets_more(before: BedPlan, after: BedPlan) -> None:
    for was, now in zip(before.plantings, after.plantings, strict=True):
        for old, new in zip(was.feeds, now.feeds, strict=True):
            assert new.due_ug_n <= old.due_ug_n or old.skipped
            assert new.day == old.day
