"""The dose of one bed: when, how much, what is not fed and why, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from schedules.crops import FeederClass
from schedules.doses import (
    HOUSE,
    BedSpec,
    BlendItem,
    Cap,
    DoseError,
    Extra,
    Feeding,
    Frozen,
    GardenSeason,
    Given,
    Lift,
    PlantingSpec,
    default_planting,
    plan_bed,
)
from schedules.rates import Basis, own_rate
from schedules.rules import pounds_per_1000_ft2
from schedules.scoops import nearest
from tests.schedules.beds import BED, BLEND, FOUR_BY_EIGHT, SEASON, grams, plan, planting

MM2 = 1_000_000
LONG = GardenSeason(None, None, date(2026, 1, 5), date(2027, 6, 28))
SIXTEENTH_UG = 1_814_369
"""2 lb/1000 ft2 over sixteen weeks on 4 x 8 ft: 1 814 369.31 ug of nitrogen."""


def test_tomatoes_get_two_half_feeds_and_fourteen_full_ones() -> None:
    found = plan(planting())
    assert grams(found) == [10.89, 10.89, *[21.77] * 14]
    assert (found.first, found.stop) == (date(2026, 5, 25), date(2026, 9, 7))
    assert [feed.number for feed in found.feeds] == list(range(1, 17))
    assert not found.not_fed and not found.assumed


def test_the_one_line_says_why_that_much() -> None:
    found = plan(planting())
    assert found.line == "22 g = heavy feeder, 2.97 m2, 16 feeds, batch 12"
    assert (
        found.feeds[0].line == "11 g = heavy feeder, half a feed to begin with, 2.97 m2, 16 feeds, batch 12"
    )


def test_the_working_can_be_recomputed_from_the_paper() -> None:
    steps = {step.number: step for step in plan(planting()).working.steps}
    assert list(steps) == [1, 4, 5, 6, 7, 9]  # 2, 3, 8 and 10 are not built or not needed
    figures = {figure.name: Decimal(figure.value) for figure in steps[9].inputs}
    by_hand = figures["full feed u"] * figures["area"] / (figures["soluble nitrogen"] / 100)
    assert abs(by_hand - Decimal(steps[9].result.value)) <= Decimal("0.01")
    cut = plan(planting("lettuce", ends_on=date(2026, 7, 1))).working.step(9)
    assert cut is not None and cut.result.value == "37.16"  # after the caps, not before
    need, count = Decimal(steps[1].result.value), int(steps[5].inputs[1].value)
    assert abs(need / (count - 1) - Decimal(steps[5].result.value)) <= Decimal("0.000001")


@pytest.mark.parametrize("code", ["tomato", "lettuce", "garlic", "snap-bean", None])
def test_every_step_has_a_source_and_a_confidence(code: str | None) -> None:
    spec = planting(code, legume_feed=True, sown=code == "garlic")
    for step in plan(replace(spec, day=date(2025, 10, 20)) if code == "garlic" else spec).working.as_json()[
        "steps"
    ]:
        assert step["source"] and step["confidence"] and step["formula"] and step["result"]["value"], step


def test_a_salt_sensitive_crop_gets_at_most_half_the_blend_per_feed() -> None:
    found = plan(planting("lettuce", day=date(2026, 5, 1), ends_on=date(2026, 6, 20)))
    assert grams(found) == [18.58, 18.58, 37.16, 37.16]
    (cut,) = found.not_fed
    assert (cut.code, round(cut.ug_n / FOUR_BY_EIGHT, 2)) == ("feed_blend", 4.76)


def test_beans_get_nothing_unless_somebody_asks_and_then_once() -> None:
    nothing = plan(planting("snap-bean", sown=True))
    asked = plan(planting("snap-bean", sown=True, legume_feed=True))
    assert (nothing.feeds, nothing.refused) == ((), "legume")
    assert nothing.line == "nothing = peas and beans take their nitrogen from the air"
    assert grams(asked) == [37.16]
    assert asked.first == date(2026, 5, 11) + timedelta(days=9 + 21)  # emergence, then three weeks


def test_garlic_keeps_its_own_dates_outside_the_feeding_weeks() -> None:
    found = plan(planting("garlic", day=date(2025, 10, 20), sown=True))
    assert [feed.day for feed in found.feeds] == [date(2026, 4, 15), date(2026, 5, 15)]
    assert grams(found) == [54.43, 54.43]
    assert SEASON.first_feed > date(2026, 4, 15)


@pytest.mark.parametrize(("planted", "feeds"), [(date(2026, 4, 14), 2), (date(2026, 4, 15), 1)])
def test_a_fixed_date_counts_from_the_day_after_planting(planted: date, feeds: int) -> None:
    assert len(plan(planting("garlic", day=planted, sown=True)).feeds) == feeds


def test_garlic_planted_this_autumn_is_fed_next_spring() -> None:
    found = plan(planting("garlic", day=date(2026, 10, 20), sown=True))
    assert [feed.day for feed in found.feeds] == [date(2027, 4, 15), date(2027, 5, 15)]


def test_a_bed_without_a_crop_gets_sixteen_even_feeds_marked_assumed() -> None:
    found = plan(default_planting(BED, SEASON))
    assert {feed.ug_n for feed in found.feeds} == {SIXTEENTH_UG} and len(found.feeds) == 16
    assert found.assumed and found.feeds[0].day == date(2026, 4, 27)
    assert (
        found.line
        == "14 g = no crop registered, taken as a medium feeder (assumed), 2.97 m2, 16 feeds, batch 12"
    )


def test_a_short_season_cuts_weeks_off_and_nobodys_scoop_grows() -> None:
    short = replace(SEASON, last_feed=date(2026, 6, 28))
    found = plan(default_planting(BED, short), season=short)
    assert len(found.feeds) == 9 and {feed.ug_n for feed in found.feeds} == {SIXTEENTH_UG}
    (cut,) = found.not_fed
    assert (cut.code, cut.ug_n) == ("season", 12_700_585)


def test_an_unknown_crop_is_a_medium_feeder_and_assumed() -> None:
    found = plan(planting(None, ends_on=date(2026, 9, 28)))
    assert found.assumed and found.table.needs is FeederClass.MEDIUM
    assert found.stop == date(2026, 9, 7)


@pytest.mark.parametrize(
    ("code", "changes", "first", "last"),
    [
        ("tomato", {}, date(2026, 5, 25), date(2026, 9, 7)),
        ("tomato", {"sown": True}, date(2026, 5, 11) + timedelta(29), date(2026, 9, 7)),
        ("lettuce", {"ends_on": date(2026, 7, 1)}, date(2026, 5, 25), date(2026, 6, 21)),
        ("carrot", {"sown": True, "ends_on": date(2026, 8, 29)}, date(2026, 6, 15), date(2026, 7, 5)),
        (
            "tomato",
            {"day": date(2026, 3, 1)},
            date(2026, 4, 27),
            date(2026, 9, 7),
        ),  # drawn in to the first week
        ("tomato", {"ends_on": date(2026, 12, 1)}, date(2026, 5, 25), date(2026, 10, 4)),  # and to the last
        ("tomato", {"ends_on": None}, date(2026, 5, 25), date(2026, 9, 12)),  # the catalogue's 145 days
        (None, {"ends_on": None}, date(2026, 5, 25), date(2026, 9, 13)),  # nobody's days: the season's end
    ],
)
def test_the_window(code: str | None, changes: dict[str, Any], first: date, last: date) -> None:
    found = plan(planting(code, **changes))
    assert found.table.window == (first, last)
    assert found.first == first
    assert found.stop is not None and last - timedelta(days=6) <= found.stop <= last


def test_an_empty_window_feeds_nothing_and_says_so() -> None:
    found = plan(planting("lettuce", ends_on=date(2026, 5, 30)))
    assert (found.feeds, found.refused) == ((), "no_window")
    assert "no day is left to feed" in found.line
    assert found.not_fed[0].ug_n == round(pounds_per_1000_ft2(2) * FOUR_BY_EIGHT / MM2)


@pytest.mark.parametrize(
    ("days_to_end", "feeds"),
    [(34, 0), (35, 1), (41, 1), (42, 2), (49, 3)],
)
def test_one_or_two_feeds_are_full_ones(days_to_end: int, feeds: int) -> None:
    found = plan(planting("zucchini", ends_on=date(2026, 5, 11) + timedelta(days=days_to_end)))
    assert [feed.share for feed in found.feeds] == ([Fraction(1, 2)] * 2 + [1] if feeds == 3 else [1] * feeds)


def test_no_drainage_is_half_and_says_to_flush() -> None:
    wicking = replace(BED, drains=False)
    found = plan(planting(), bed=wicking)
    assert found.interval == 2  # 3.66 g/m2 a week is too thin to spread
    assert sum(feed.blend_mg for feed in found.feeds) == pytest.approx(326_586 / 2, abs=10)
    assert found.working.step(8) is not None and any("flush" in note for note in found.notes)
    assert [(n.code, n.ug_n) for n in found.not_fed] == [("no_drainage", 21_772_432)]


def test_pots_get_none_until_a_rate_per_litre_is_given() -> None:
    pot = BedSpec("pot", 70_000, pot=True)
    rate = own_rate(
        Decimal("0.02"),
        Basis.LITRE,
        of_nitrogen=False,
        text="0.02 g/L",
        reason="trial",
        area_mm2=70_000,
        litres=Decimal(20),
    )
    assert plan(default_planting(pot, SEASON), bed=pot).refused == "pot"
    fed = plan(planting(area_mm2=70_000, own_rate=rate), bed=pot)
    assert {feed.blend_mg for feed in fed.feeds} == {400}
    assert plan(planting(area_mm2=70_000), bed=pot).feeds == ()


@pytest.mark.parametrize(("feeding", "refused"), [(Feeding.NONE, "none"), (Feeding.NOTHING, "nothing_grows")])
def test_a_bed_may_get_none_with_its_reason(feeding: Feeding, refused: str) -> None:
    found = plan_bed(replace(BED, feeding=feeding, reason="organic only"), [planting()], SEASON, BLEND)
    assert (found.refused, found.reason, found.feeds) == (refused, "organic only", ())
    assert found.plantings[0].line == "nothing = organic only"


# Taking weeks together


@pytest.mark.parametrize(
    ("area_mm2", "scoop_mg", "interval"),
    [
        (FOUR_BY_EIGHT, None, 1),
        (FOUR_BY_EIGHT, 14_048, 1),  # 13.6 g is more than half of 14.0 g
        (1_000_000, 14_048, 2),  # 4.58 g a week, 7.02 g wanted
        (700_000, 14_048, 3),
        (500_000, 14_048, 4),  # 2.3 g a week: four weeks reach it
        (100_000, 14_048, 4),  # and four it stays
    ],
)
def test_feeds_too_small_for_the_scoop_are_taken_together(
    area_mm2: int, scoop_mg: int | None, interval: int
) -> None:
    bed = BedSpec("b", area_mm2)
    found = plan(default_planting(bed, SEASON), bed=bed, rules=replace(HOUSE, scoop_mg=scoop_mg))
    assert found.interval == interval
    assert [feed.weeks for feed in found.feeds] == [interval] * (16 // interval) + [16 % interval] * (
        16 % interval > 0
    )
    assert all(
        b.day - a.day == timedelta(weeks=interval) for a, b in zip(found.feeds, found.feeds[1:], strict=False)
    )
    assert sum(feed.ug_n for feed in found.feeds) == pytest.approx(9.764855 * area_mm2, abs=10)


def test_feeds_too_thin_to_spread_are_taken_together() -> None:
    strong = BlendItem("urea", Decimal(46))
    found = plan(default_planting(BED, SEASON), item=strong)
    assert found.interval == 4 and len(found.feeds) == 4  # 1.33 g/m2 a week: four weeks are 5.3
    assert found.feeds[0].ug_n == 7_257_477


def test_a_sum_of_weeks_is_still_capped_as_one_feed() -> None:
    herb = BedSpec("square foot", 92_903)
    spec = planting("lettuce", area_mm2=92_903, day=date(2026, 5, 1), ends_on=date(2026, 6, 20))
    found = plan(spec, bed=herb, rules=replace(HOUSE, scoop_mg=14_048))
    assert [feed.blend_mg for feed in found.feeds] == [1_161]  # 12.5 g/m2, not three full feeds of it
    assert "grouped" in {cut.code for cut in found.not_fed}


def test_an_interval_once_frozen_is_not_changed_by_a_new_scoop() -> None:
    frozen = Frozen(Fraction(600_000), feeds=16, interval=2)
    found = plan(default_planting(BED, SEASON, frozen=frozen), rules=replace(HOUSE, scoop_mg=40_000))
    assert found.interval == 2 and found.feeds[0].weeks == 2


# The soil's account


def test_two_crops_share_one_soil() -> None:
    bed, half = BED, FOUR_BY_EIGHT // 2
    early = planting("zucchini", key="early", ends_on=date(2026, 7, 20))
    late = planting("spinach", key="late", day=date(2026, 7, 20), ends_on=date(2026, 9, 28))
    found = plan_bed(bed, [early, late], SEASON, BLEND)
    total = sum(feed.ug_n for feed in found.feeds)
    assert total == int(pounds_per_1000_ft2(3) * FOUR_BY_EIGHT / MM2)
    assert not any(feed.cut_by_soil for feed in found.plantings[0].feeds)
    assert found.plantings[1].not_fed[-1].code == "soil"
    assert half  # the halves are another test's


def test_those_that_meet_the_cap_on_one_day_share_in_proportion() -> None:
    third = FOUR_BY_EIGHT // 3
    specs = [planting(key="a", area_mm2=third), planting(key="b", area_mm2=2 * third)]
    before = Given(date(2026, 5, 1), ug_n=30_000_000)
    found = plan_bed(BED, specs, SEASON, BLEND, given=[before])
    small, large = found.plantings
    assert any(feed.cut_by_soil for feed in small.feeds)
    for one, two in zip(small.feeds, large.feeds, strict=True):
        assert abs(2 * one.ug_n - two.ug_n) <= 2
    cap = int(pounds_per_1000_ft2(3) * FOUR_BY_EIGHT / MM2)
    assert cap - 2 <= before.ug_n + sum(feed.ug_n for feed in found.feeds) <= cap  # rounding passes no cap


def test_no_planting_passes_the_cap_on_its_own_area() -> None:
    part = FOUR_BY_EIGHT // 4
    on_it = Given(date(2026, 5, 1), ug_n=10 * part, planting="tomato")
    found = plan(planting(area_mm2=part), given=[on_it])
    assert sum(feed.ug_n for feed in found.feeds) + 10 * part == int(pounds_per_1000_ft2(3) * part / MM2)


@pytest.mark.parametrize(("weeks", "counts"), [(48, False), (47, True)])
def test_the_first_day_of_the_48_weeks_is_left_out(weeks: int, counts: bool) -> None:
    last_year = Given(date(2026, 9, 7) - timedelta(weeks=weeks), ug_n=5_000_000)
    assert plan(planting(), given=[last_year]).feeds[-1].cut_by_soil is counts


def test_boron_is_capped_and_halved_under_a_sensitive_crop() -> None:
    rich = BlendItem("borated", Fraction(40, 3), Fraction(1, 5))  # 0.2 % B: 0.15 kg/ha in every 7.5 g/m2
    tomatoes, onions = planting(), planting("onion", ends_on=date(2026, 9, 28))
    boron = [sum(f.ug_boron or 0 for f in plan(spec, item=rich).feeds) for spec in (tomatoes, onions)]
    assert boron[0] == pytest.approx(110_000 * FOUR_BY_EIGHT / MM2, abs=20)
    assert boron[1] == pytest.approx(55_000 * FOUR_BY_EIGHT / MM2, abs=20)


def test_boron_that_is_not_declared_is_not_taken_for_zero() -> None:
    silent = replace(BLEND, boron_percent=None)
    found = plan(planting(), item=silent)
    assert found.room_boron is None and any("not declared" in note for note in found.notes)
    assert grams(found) == grams(plan(planting()))


def test_of_a_feed_before_that_did_not_declare_its_boron_no_room_is_told() -> None:
    silent = [Given(date(2026, 4, 1), ug_n=2 * FOUR_BY_EIGHT, ug_boron=None)]
    found = plan(planting(), given=silent)
    said = "cannot be checked: a feed before it did not declare its boron"
    assert found.room_boron is None and any(said in note for note in found.notes)
    soil = next(step for step in found.working.steps if step.code == "soil")
    assert said in soil.note and "boron left for it" not in [i.name for i in soil.inputs]
    assert plan_bed(BED, [planting()], SEASON, BLEND, given=silent).soil(date(2026, 5, 25))[1] is None


def test_a_feed_before_that_did_not_declare_its_boron_lets_no_more_through() -> None:
    """What is known holds as before: 600 g/ha a feed meets the cap whatever stands beside it."""
    rich = replace(BLEND, boron_percent=Decimal("0.5"))
    silent = [Given(date(2026, 4, 1), ug_n=1, ug_boron=None)]
    assert grams(plan(planting(), item=rich, given=silent)) == grams(plan(planting(), item=rich))
    assert grams(plan(planting(), item=rich)) < grams(plan(planting()))


def test_what_seven_leaves_is_told_for_the_freeze() -> None:
    found = plan(
        planting(), given=[Given(date(2026, 4, 1), ug_n=2 * FOUR_BY_EIGHT, ug_boron=FOUR_BY_EIGHT // 100)]
    )
    assert float(found.room_n) == pytest.approx(12_647_283, abs=2)
    assert found.room_boron is not None and float(found.room_boron) == pytest.approx(100_000, abs=1)


@pytest.mark.parametrize(("weeks", "second_g_n"), [(48, "10.000"), (47, "4.647")])
def test_the_48_weeks_move_with_the_plan(weeks: int, second_g_n: str) -> None:
    rate = own_rate(
        Decimal(10), Basis.AREA, of_nitrogen=True, text="10 g N/m2", reason="trial", every_weeks=weeks
    )
    spec = planting(
        own_rate=rate, lift=Lift(Cap.FEED_N, "trial"), day=date(2026, 1, 1), ends_on=date(2027, 6, 1)
    )
    found = plan(spec, season=LONG, item=BlendItem("urea", Decimal(46)))
    assert [f"{feed.ug_n / FOUR_BY_EIGHT:.3f}" for feed in found.feeds] == ["10.000", second_g_n]


# Logs


def test_a_skipped_feed_is_reported_and_never_caught_up() -> None:
    usual, skipped = plan(planting()), plan(planting(skipped=frozenset({date(2026, 6, 8)})))
    assert [feed.blend_mg for feed in skipped.feeds] == [feed.blend_mg for feed in usual.feeds]
    assert [feed.day for feed in skipped.feeds if feed.due_mg == 0] == [date(2026, 6, 8)]
    assert [(cut.code, cut.ug_n) for cut in skipped.not_fed] == [("skipped", usual.feeds[2].ug_n)]


def test_a_skipped_feed_is_not_in_the_soils_account() -> None:
    day = date(2026, 6, 8)
    fed = plan_bed(BED, [planting()], SEASON, BLEND).soil(day)
    left_out = plan_bed(BED, [planting(skipped=frozenset({day}))], SEASON, BLEND).soil(day)
    assert fed[0] - left_out[0] == Fraction(plan(planting()).feeds[2].ug_n * MM2, FOUR_BY_EIGHT)
    assert left_out[1] is not None and fed[1] is not None and left_out[1] < fed[1]


def test_an_extra_is_taken_off_the_last_feeds() -> None:
    usual = plan(planting())
    found = plan(planting(extras=(Extra(date(2026, 6, 10), 30_000),)))
    assert grams(found)[:-2] == grams(usual)[:-2]
    assert grams(found)[-2:] == [13.54, 0.0]
    assert sum(f.blend_mg for f in found.feeds) + 30_000 == pytest.approx(
        sum(f.blend_mg for f in usual.feeds), abs=8
    )


def test_an_extra_after_the_last_feed_takes_nothing_back() -> None:
    assert grams(plan(planting(extras=(Extra(date(2026, 9, 20), 30_000),)))) == grams(plan(planting()))


def test_an_extra_long_ago_gives_its_neighbour_nothing_more() -> None:
    """In 77 weeks the extra has left the soil's window when the last feeds, which it is taken off, come."""
    rate = own_rate(Decimal("0.25"), Basis.AREA, of_nitrogen=True, text="0.25 g N/m2", reason="trial")
    half = FOUR_BY_EIGHT // 2
    dates = {"day": date(2025, 12, 1), "ends_on": date(2027, 12, 1), "area_mm2": half, "own_rate": rate}
    one, two = planting(key="one", **dates), planting(key="two", **dates)
    weak, compost = BlendItem("weak", Decimal(2)), [Given(date(2027, 6, 7), 28 * FOUR_BY_EIGHT // 10)]
    logged = replace(one, extras=(Extra(date(2026, 1, 6), 100_000),))
    before = plan_bed(BED, [one, two], LONG, weak, given=compost).plantings[1].feeds
    after = plan_bed(BED, [logged, two], LONG, weak, given=compost).plantings[1].feeds
    assert [feed.day for feed in before if feed.cut_by_soil] == [date(2027, 6, 7)]
    assert all(now.ug_n <= was.ug_n for was, now in zip(before, after, strict=True))


# People's decisions


def test_weeks_without_a_tenancy_are_lost() -> None:
    spans = ((date(2026, 1, 1), date(2026, 6, 20)), (date(2026, 7, 6), None))
    found = plan(planting(active=spans))
    lost = {date(2026, 6, 22), date(2026, 6, 29)}
    assert {feed.day for feed in plan(planting()).feeds} - {feed.day for feed in found.feeds} == lost
    assert found.not_fed[0].code == "no_tenancy"
    assert plan(planting(active=())).refused == "no_tenancy"


def test_a_crop_registered_later_takes_over_at_the_next_feed() -> None:
    day = date(2026, 7, 1)
    before = default_planting(BED, SEASON, feeds_until=day - timedelta(days=1))
    found = plan_bed(BED, [before, planting(feeds_from=day)], SEASON, BLEND)
    guess, tomatoes = found.plantings
    assert guess.stop == date(2026, 6, 29) and tomatoes.first == date(2026, 7, 6)
    assert tomatoes.feeds[0].blend_mg == 21_772  # its own unit: nothing is caught up
    assert tomatoes.not_fed[0].code == "taken_over"


def test_interplants_share_the_main_crops_dose() -> None:
    found = plan_bed(BED, [planting(), planting("basil", interplant_of="tomato")], SEASON, BLEND)
    assert found.plantings[1].refused == "interplant" and found.plantings[1].feeds == ()
    assert found.feeds == found.plantings[0].feeds


@pytest.mark.parametrize(
    "change",
    [
        {"ends_on": date(2026, 7, 27)},  # shorter: the same need in fewer feeds would be a larger unit
        {"ends_on": date(2026, 10, 12)},  # longer: more feeds would be more than the need
        {"needs": FeederClass.HEAVY},
        {"day": date(2026, 6, 1)},
    ],
)
def test_a_later_edit_never_raises_a_frozen_unit_or_adds_feeds(change: dict[str, Any]) -> None:
    frozen = plan(planting("zucchini", ends_on=date(2026, 9, 28))).frozen
    found = plan(replace(planting("zucchini", ends_on=date(2026, 9, 28), frozen=frozen), **change))
    assert found.unit <= frozen.unit and len(found.feeds) <= frozen.feeds


def test_another_bag_may_lower_a_frozen_dose_only() -> None:
    frozen = plan(planting("lettuce", day=date(2026, 5, 1), ends_on=date(2026, 6, 20))).frozen
    spec = planting("lettuce", day=date(2026, 5, 1), ends_on=date(2026, 6, 20), frozen=frozen)
    weak, strong = BlendItem("8-8-8", Decimal(8)), BlendItem("20-20-20", Decimal(20))
    assert plan(spec, item=weak).unit == Fraction(1_000_000)  # 12.5 g of 8 %
    assert plan(spec, item=strong).unit == frozen.unit
    assert Fraction(str(frozen.unit)) == frozen.unit


# Own rates and lifts


@pytest.mark.parametrize(
    ("per", "extra", "expected_g_m2"),
    [
        (Basis.AREA, {}, 10),
        (Basis.ROW, {"row_width_mm": 500}, 20),
        (Basis.PLANT, {"plants": 2, "area_mm2": 1_000_000}, 20),
        (Basis.LITRE, {"litres": Decimal("0.5"), "area_mm2": 500_000}, 10),
    ],
)
def test_own_rates_come_to_one_square_metre(per: Basis, extra: dict[str, Any], expected_g_m2: int) -> None:
    rate = own_rate(Decimal(10), per, of_nitrogen=False, text="10 g", reason="trial", **extra)
    assert rate.ug_per_m2 == expected_g_m2 * 1_000_000


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"grams": Decimal(0)}, "rate_not_positive"),
        ({"grams": Decimal(-1)}, "rate_not_positive"),
        ({"grams": Decimal("NaN")}, "rate_not_positive"),
        ({"grams": Decimal("Infinity")}, "rate_not_positive"),
        ({"per": Basis.ROW}, "width_needed"),
        ({"per": Basis.PLANT}, "plants_needed"),
        ({"per": Basis.PLANT, "plants": 3}, "area_needed"),
        ({"per": Basis.LITRE}, "litres_needed"),
        ({"reason": "  "}, "reason_needed"),
        ({"every_weeks": 0}, "interval_not_positive"),
        ({"first": date(2026, 6, 2), "last": date(2026, 6, 1)}, "last_before_first"),
    ],
)
def test_own_rates_that_are_none_are_refused(change: dict[str, Any], code: str) -> None:
    usual: dict[str, Any] = {"of_nitrogen": False, "text": "x", "reason": "trial"}
    amount, per = change.pop("grams", Decimal(10)), change.pop("per", Basis.AREA)
    with pytest.raises(DoseError) as refused:
        own_rate(amount, per, **(usual | change))
    assert refused.value.code == code and refused.value.field


def test_an_own_rate_is_cut_by_the_caps_and_says_so() -> None:
    rate = own_rate(Decimal(40), Basis.AREA, of_nitrogen=False, text="40 g/m2", reason="county table")
    found = plan(planting(own_rate=rate))
    assert found.feeds[0].blend_mg == round(
        pounds_per_1000_ft2(Fraction(1, 2)) * FOUR_BY_EIGHT / MM2 * Fraction(15, 2) / 1000
    )
    own = found.working.step(11)
    assert own is not None and found.working.step(1) is None
    told = {figure.name: figure.value for figure in own.inputs}
    assert told["of a heavy season"] == "5.83"  # 16 x 40 g x 13.33 % over 14.65 g
    assert Decimal(told["blend not given"]) == Decimal("1576.07")
    assert "most nitrogen in one feed" in own.note and "what the soil may get" in own.note
    assert {cut.code for cut in found.not_fed} == {"feed_n", "soil"}


def test_a_season_rate_is_spread_evenly_over_the_window() -> None:
    rate = own_rate(
        Decimal(10), Basis.AREA, of_nitrogen=True, text="10 g N/m2", reason="table", per_season=True
    )
    found = plan(planting(own_rate=rate))
    assert len(found.feeds) == 16 and {feed.ug_n for feed in found.feeds} == {1_858_061}


@pytest.mark.parametrize(
    ("cap", "most_g_n"),
    [(None, "14.647"), (Cap.SOIL_N, "22.4"), (Cap.FEED_N, "14.647"), (Cap.SOIL_BORON, "14.647")],
)
def test_no_reason_lifts_nitrogen_over_the_ceiling(cap: Cap | None, most_g_n: str) -> None:
    rate = own_rate(Decimal(5), Basis.AREA, of_nitrogen=True, text="5 g N/m2", reason="table")
    lift = Lift(cap, "hungry corn") if cap else None
    found = plan(planting(own_rate=rate, lift=lift))
    assert round(sum(f.ug_n for f in found.feeds) / FOUR_BY_EIGHT, 3) == float(most_g_n)


def test_a_lift_serves_its_own_planting_only() -> None:
    half = FOUR_BY_EIGHT // 2
    rate = own_rate(Decimal(5), Basis.AREA, of_nitrogen=True, text="5 g N/m2", reason="table")
    lifted = planting(key="lifted", area_mm2=half, own_rate=rate, lift=Lift(Cap.SOIL_N, "trial"))
    usual = planting(key="usual", area_mm2=half, own_rate=rate)

    def season_of(*specs: PlantingSpec) -> list[int]:
        found = plan_bed(BED, specs, SEASON, BLEND, given=[Given(date(2026, 5, 1), 5 * FOUR_BY_EIGHT)])
        return [sum(feed.ug_n for feed in p.feeds) for p in found.plantings]

    with_lift, without = season_of(lifted, usual), season_of(replace(lifted, lift=None), usual)
    assert with_lift[1] == pytest.approx(without[1], abs=10)  # rounding down alone
    assert without[0] < with_lift[0] <= Fraction("22.4") * half


# Refusals


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"soluble_n_percent": Decimal(0)}, "no_soluble_nitrogen"),
        ({"slow_release": True}, "slow_release"),
        ({"soluble_n_percent": Decimal("NaN")}, "not_a_percentage"),
        ({"soluble_n_percent": Decimal("Infinity")}, "not_a_percentage"),
        ({"soluble_n_percent": Decimal(101)}, "not_a_percentage"),
        ({"soluble_n_percent": Decimal(-1)}, "not_a_percentage"),
        ({"boron_percent": Decimal("NaN")}, "not_a_percentage"),
    ],
)
def test_a_blend_that_cannot_be_fed_is_refused(change: dict[str, Any], code: str) -> None:
    with pytest.raises(DoseError) as refused:
        plan(planting(), item=replace(BLEND, **change))
    assert refused.value.code == code and refused.value.message and refused.value.field


@pytest.mark.parametrize(
    ("change", "code", "field"),
    [
        ({"day": date(1989, 12, 31)}, "day_out_of_range", "day"),
        ({"ends_on": date(2026, 5, 11)}, "ends_before_start", "ends_on"),
        ({"ends_on": date(2026, 5, 1)}, "ends_before_start", "ends_on"),
        ({"area_mm2": 0}, "area_out_of_range", "area"),
        ({"area_mm2": -1}, "area_out_of_range", "area"),
        ({"area_mm2": 10**12}, "area_out_of_range", "area"),
        ({"area_mm2": 2.5}, "area_not_whole", "area"),
        ({"area_mm2": float("nan")}, "area_not_whole", "area"),
        ({"area_mm2": True}, "area_not_whole", "area"),
        ({"area_mm2": FOUR_BY_EIGHT + 1}, "areas_exceed_bed", "area"),
        ({"extras": (Extra(date(2026, 6, 1), 0),)}, "extra_not_positive", "extra"),
        ({"frozen": Frozen(Fraction(-1), 1, 1)}, "frozen_not_possible", "frozen"),
    ],
)
def test_a_planting_that_cannot_be_is_refused(change: dict[str, Any], code: str, field: str) -> None:
    with pytest.raises(DoseError) as refused:
        plan(planting(**change))
    assert (refused.value.code, refused.value.field) == (code, field) and refused.value.message


def test_part_areas_never_exceed_the_bed_on_any_day() -> None:
    half = FOUR_BY_EIGHT // 2
    early = planting("lettuce", ends_on=date(2026, 6, 20))
    beside = planting("beet", key="beside", area_mm2=half, day=date(2026, 6, 19))
    after = replace(beside, day=date(2026, 6, 20))
    with pytest.raises(DoseError, match="On 2026-06-19"):
        plan_bed(BED, [early, beside], SEASON, BLEND)
    assert len(plan_bed(BED, [early, after], SEASON, BLEND).plantings) == 2


@pytest.mark.parametrize(
    ("season", "code"),
    [
        (replace(SEASON, last_feed=date(2026, 4, 1)), "season_backwards"),
        (replace(SEASON, first_frost=date(2026, 4, 1)), "frost_backwards"),
        (replace(SEASON, first_feed=date(1980, 4, 1)), "season_out_of_range"),
    ],
)
def test_a_season_that_cannot_be_is_refused(season: GardenSeason, code: str) -> None:
    with pytest.raises(DoseError) as refused:
        plan(planting(), season=season)
    assert refused.value.code == code


def test_one_planting_cannot_stand_twice_and_soil_cannot_have_got_less_than_nothing() -> None:
    small = planting(area_mm2=1000)
    with pytest.raises(DoseError, match="twice"):
        plan_bed(BED, [small, small], SEASON, BLEND)
    with pytest.raises(DoseError, match="less than nothing"):
        plan(planting(), given=[Given(date(2026, 5, 1), -1)])


# The calendar's edges


def test_a_southern_season_runs_over_new_year() -> None:
    south = GardenSeason(date(2026, 9, 20), date(2027, 4, 20), date(2026, 10, 5), date(2027, 3, 29))
    tomatoes = plan(planting(day=date(2026, 11, 9), ends_on=date(2027, 3, 29)), season=south)
    assert (tomatoes.first, tomatoes.stop) == (date(2026, 11, 23), date(2027, 3, 8))
    assert grams(tomatoes) == [10.89, 10.89, *[21.77] * 14]
    garlic = plan(
        planting("garlic", day=date(2026, 4, 20), sown=True, ends_on=date(2027, 1, 10)), season=south
    )
    assert [feed.day for feed in garlic.feeds] == [date(2026, 10, 15), date(2026, 11, 15)]
    rhubarb = plan(planting("rhubarb", day=date(2020, 8, 1)), season=south)
    assert [feed.day for feed in rhubarb.feeds] == [date(2026, 10, 15), date(2026, 12, 25)]


def test_perennials_are_fed_every_year_on_their_dates() -> None:
    found = plan(planting("rhubarb", day=date(2019, 10, 1)))
    assert [feed.day for feed in found.feeds] == [date(2026, 4, 15), date(2026, 6, 25)]


def test_leap_day_and_week_53_are_days_like_others() -> None:
    leap = GardenSeason(None, None, date(2028, 2, 1), date(2028, 8, 1))
    found = plan(planting("zucchini", day=date(2028, 2, 15), ends_on=date(2028, 8, 1)), season=leap)
    assert found.first == date(2028, 2, 29)
    over = GardenSeason(None, None, date(2026, 12, 21), date(2027, 1, 11))  # 2026 has an ISO week 53
    assert [f.day for f in plan(default_planting(BED, over), season=over).feeds] == [
        date(2026, 12, 21), date(2026, 12, 28), date(2027, 1, 4), date(2027, 1, 11)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("week_starts", "first"), [(0, date(2026, 4, 27)), (6, date(2026, 4, 26)), (2, date(2026, 4, 22))]
)
def test_default_feeds_fall_on_the_first_day_of_the_programmes_week(week_starts: int, first: date) -> None:
    found = plan(default_planting(BED, SEASON), rules=replace(HOUSE, week_starts=week_starts))
    assert found.first == first and len(found.feeds) == 16


# Scoops beside the grams


@pytest.mark.parametrize(
    ("blend_mg", "at_most", "quarters", "words"),
    [
        (21_772, None, 6, "1 1/2"),
        (14_048, None, 4, "1"),
        (13_608, None, 4, "1"),
        (3_600, None, 1, "1/4"),
        (1_700, None, 0, "0"),
        (0, None, 0, "0"),
        (13_608, 13_608, 3, "3/4"),
        (1_756, None, 0, "0"),  # exactly between: down
    ],
)
def test_the_nearest_quarter_scoop(blend_mg: int, at_most: int | None, quarters: int, words: str) -> None:
    scoops = nearest(blend_mg, 14_048, at_most_mg=at_most)
    assert (scoops.quarters, str(scoops), scoops.mg) == (quarters, words, quarters * 3_512)


@pytest.mark.parametrize(("blend_mg", "scoop_mg"), [(1, 0), (1, -5), (-1, 10)])
def test_a_scoop_that_is_none_is_refused(blend_mg: int, scoop_mg: int) -> None:
    with pytest.raises(ValueError, match="a scoop holds something"):
        nearest(blend_mg, scoop_mg)


def test_scoops_go_up_only_where_the_season_has_room() -> None:
    scoop = replace(HOUSE, scoop_mg=24_000)
    heavy = plan(
        planting(), rules=scoop
    )  # 21.77 g is nearest to a whole scoop, but the soil has no room for it
    guess = plan(
        default_planting(BED, SEASON), rules=replace(HOUSE, scoop_mg=14_048)
    )  # 13.6 g, and room to spare
    assert str(heavy.feeds[-1].scoops) == "3/4"
    assert str(guess.feeds[-1].scoops) == "1"
    assert plan(planting()).feeds[0].scoops is None


def test_scoops_stay_under_the_cap_of_one_feed() -> None:
    lettuce = planting("lettuce", day=date(2026, 5, 1), ends_on=date(2026, 6, 20))
    feed = plan(lettuce, rules=replace(HOUSE, scoop_mg=14_048)).feeds[-1]
    assert str(feed.scoops) == "2 1/2"  # 2 3/4 are nearer to 37.2 g, and more than 12.5 g/m2


def test_the_plan_of_a_planting_spec_needs_no_order_of_days() -> None:
    found = plan_bed(BED, [planting("lettuce", ends_on=date(2026, 6, 20)), _after()], SEASON, BLEND)
    assert [feed.day for feed in found.feeds] == sorted(feed.day for feed in found.feeds)
    june = found.due_mg(date(2026, 6, 1), date(2026, 6, 30))
    assert june == sum(feed.blend_mg for feed in found.feeds if feed.day.month == 6)


def _after() -> PlantingSpec:
    return planting("beet", day=date(2026, 6, 20))
