"""Demand in bulk: sums that agree, and one bad bed that spoils nobody else's."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from schedules.crops import FeederClass, crop
from schedules.demand import Request, _half_up_products, demand
from schedules.doses import (
    HOUSE,
    BedSpec,
    BlendItem,
    Cap,
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
from tests.schedules.beds import BED, BLEND, FOUR_BY_EIGHT, SEASON, planting

ALWAYS = (date.min, date.max)


THIRD = FOUR_BY_EIGHT // 3
THREE_AND_A_GUESS = [
    *(planting(key=f"part {n}", area_mm2=THIRD - 7 * n, day=date(2026, 5, 11)) for n in range(3)),
    default_planting(BED, SEASON),
]
"""All four meet the bed's cap on the same Mondays, and share to the microgram."""
FIELD = [
    *(planting(key=f"part {n}", area_mm2=3 * 10**9 - 7 * n) for n in range(3)),
    replace(default_planting(BED, SEASON), area_mm2=10**10),
]
RICH = own_rate(Decimal(3), Basis.AREA, of_nitrogen=True, text="3 g N/m2", reason="trial")
LONG = GardenSeason(None, None, date(2026, 1, 5), date(2027, 6, 28))
AFTERWARDS = planting("spinach", day=date(2026, 7, 20), ends_on=date(2026, 9, 28))


def requests(*beds: tuple[BedSpec, list[PlantingSpec]]) -> list[Request]:
    return [Request(bed, plantings, SEASON, BLEND) for bed, plantings in beds]


def test_a_week_of_demand_is_the_sum_of_its_feeds() -> None:
    found = demand(requests((BED, [planting()]), (BED, [default_planting(BED, SEASON)])))
    week = (date(2026, 6, 8), date(2026, 6, 14))
    assert found.by_request(*week).tolist() == [21_772, 13_608]
    assert found.total_mg(*week) == 35_380
    assert found.total_mg(*week, assumed=True) == 13_608
    assert found.total_mg(*week, assumed=False) == 21_772


def test_plot_garden_and_programme_add_up_to_the_same_milligram() -> None:
    beds = [BedSpec(f"bed {n}", 1_234_567 + 98_765 * n) for n in range(40)]
    found = demand(requests(*[(bed, [default_planting(bed, SEASON)]) for bed in beds]))
    by_bed = found.by_request(*ALWAYS)
    assert by_bed.sum() == found.by_planting(*ALWAYS).sum() == found.total_mg(*ALWAYS)
    assert by_bed.dtype == np.int64 and len(by_bed) == 40


def test_demand_is_linear_in_plantings() -> None:
    one = (BED, [planting()])
    assert demand(requests(one, one, one)).total_mg(*ALWAYS) == 3 * demand(requests(one)).total_mg(*ALWAYS)


def test_a_skipped_feed_and_a_bed_on_none_are_not_due() -> None:
    day = date(2026, 6, 8)
    found = demand(
        requests(
            (BED, [planting(skipped=frozenset({day}))]), (replace(BED, feeding=Feeding.NONE), [planting()])
        )
    )
    assert found.total_mg(day, day) == 0
    assert found.skipped.sum() == 1 and found.blend_mg[found.skipped].tolist() == [21_772]
    assert found.by_request(*ALWAYS)[1] == 0


def test_one_bad_bed_is_named_and_spoils_nobody_elses() -> None:
    bad = planting(area_mm2=FOUR_BY_EIGHT + 1)
    found = demand(requests((BED, [planting()]), (BED, [bad]), (BED, [planting()])))
    assert [(at, error.code) for at, error in found.problems] == [(1, "areas_exceed_bed")]
    assert found.by_request(*ALWAYS).tolist()[1] == 0
    assert found.by_request(*ALWAYS)[0] == found.by_request(*ALWAYS)[2] > 0
    with pytest.raises(ValueError, match="could not be dosed"):
        found.frozen(1)


def test_a_blend_that_cannot_be_fed_is_a_problem_of_its_own_beds() -> None:
    slow = Request(BED, [planting()], SEASON, replace(BLEND, slow_release=True))
    found = demand([slow, *requests((BED, [planting()]))])
    assert [(at, error.code) for at, error in found.problems] == [(0, "slow_release")]
    assert found.by_request(*ALWAYS).tolist() == [0, 326_580]


def test_nothing_is_nothing() -> None:
    found = demand([])
    assert found.total_mg(*ALWAYS) == 0 and found.day.size == 0 and found.by_request(*ALWAYS).size == 0


def test_a_freeze_keeps_the_same_as_the_specification() -> None:
    found = demand(requests((BED, [planting(), planting("basil", interplant_of="tomato")])))
    plan = plan_bed(BED, [planting(), planting("basil", interplant_of="tomato")], SEASON, BLEND)
    assert [found.frozen(at) for at in (0, 1)] == [p.frozen for p in plan.plantings]


@pytest.mark.parametrize(
    "request_",
    [
        Request(BED, [planting(extras=(Extra(date(2026, 6, 10), 30_000),))], SEASON, BLEND),
        Request(BED, [planting(lift=Lift(Cap.SOIL_N, "trial"))], SEASON, BLEND),
        Request(BED, [planting()], SEASON, BLEND, given=[Given(date(2026, 3, 1), 20_000_000)]),
        Request(BED, [planting("onion")], SEASON, BlendItem("borated", Fraction(40, 3), Fraction(1, 2))),
        Request(BedSpec("field", 10**10), [planting(area_mm2=10**10)], SEASON, BLEND),
        Request(BED, [planting()], SEASON, BlendItem("odd", Fraction(123_456_789_012_345, 10**13))),
        Request(
            BED,
            [planting(active=((date(2026, 1, 1), date(2026, 6, 20)), (date(2026, 7, 6), None)))],
            SEASON,
            BLEND,
        ),
        Request(BED, [planting(active=())], SEASON, BLEND),
        Request(BED, [planting()], SEASON, BLEND, replace(HOUSE, scoop_mg=60_000)),
        Request(BED, [], SEASON, BLEND),
        Request(BED, [default_planting(BED, SEASON), planting()], SEASON, BLEND),
        Request(BED, THREE_AND_A_GUESS, SEASON, BLEND),
        Request(BedSpec("field", 10**10), FIELD, SEASON, BLEND),
        Request(BED, [planting(area_mm2=THIRD, own_rate=RICH), default_planting(BED, SEASON)], SEASON, BLEND),
        Request(BED, [planting(own_rate=RICH, ends_on=date(2027, 6, 1))], LONG, BLEND),
        Request(
            BED, [default_planting(BED, SEASON)], SEASON, BLEND, given=[Given(date(2026, 3, 1), 20_000_000)]
        ),
        Request(
            BED, [default_planting(BED, SEASON, extras=(Extra(date(2026, 6, 1), 9_000),))], SEASON, BLEND
        ),
        Request(BED, [planting("zucchini", ends_on=date(2026, 7, 20)), AFTERWARDS], SEASON, BLEND),
    ],
)
def test_the_long_ways_come_out_like_the_specification(request_: Request) -> None:
    found = demand([request_])
    plan = plan_bed(
        request_.bed, request_.plantings, request_.season, request_.item, request_.rules, given=request_.given
    )
    assert list(zip(found.day.tolist(), found.ug_n.tolist(), found.blend_mg.tolist(), strict=True)) == [
        (feed.day.toordinal(), feed.ug_n, feed.blend_mg) for p in plan.plantings for feed in p.feeds
    ]


def test_the_blend_caps_follow_each_tub() -> None:
    lettuce = Request(BED, [planting("lettuce", ends_on=date(2026, 6, 20))], SEASON, BLEND)
    weak = replace(lettuce, item=BlendItem("8-8-8", Decimal(8)))
    assert demand([lettuce, weak]).ug_n.max() > 1.6 * demand([weak]).ug_n.max()
    assert demand([lettuce, weak]).by_request(*ALWAYS)[1] == demand([weak]).total_mg(*ALWAYS)


@pytest.mark.parametrize(
    "change",
    [
        {"season": replace(SEASON, last_feed=date(2026, 8, 3))},
        {"item": BlendItem("8-8-8", Decimal(8))},
        {
            "rules": replace(
                HOUSE, default_weeks=8, needs={**HOUSE.needs, FeederClass.HEAVY: HOUSE.legume_feed}
            )
        },
        {"bed": replace(BED, drains=False)},
        {"bed": replace(BED, pot=True)},
        {"bed": replace(BED, feeding=Feeding.NOTHING)},
        {"plantings": [planting(frozen=Frozen(Fraction(700_000), 9, 1))]},
        {"plantings": [planting(sown=True)]},
        {"plantings": [planting(day=date(2026, 6, 8))]},
        {"plantings": [planting(ends_on=date(2026, 8, 1))]},
        {"plantings": [planting(needs=FeederClass.LIGHT)]},
        {"plantings": [planting(lift=Lift(Cap.FEED_N, "trial"), own_rate=RICH)]},
        {"plantings": [replace(planting(), crop=crop("lettuce"))]},
    ],
)
def test_what_differs_in_one_thing_only_shares_no_calendar(change: dict[str, Any]) -> None:
    usual = Request(BED, [planting()], SEASON, BLEND)
    other = replace(usual, **change)
    together = demand([usual, other, usual]).by_request(*ALWAYS).tolist()
    alone = [demand([request]).total_mg(*ALWAYS) for request in (usual, other)]
    assert together == [alone[0], alone[1], alone[0]] and alone[0] != alone[1]


@pytest.mark.parametrize(
    ("values", "factor", "expected"),
    [
        ([1, 2, 3], Fraction(1, 2), [1, 1, 2]),  # half up
        ([10**17], Fraction(3 * 10**9, 10**9 + 7), [299_999_997_900_000_015]),  # past int64 in between
        ([0, 5], Fraction(0), [0, 0]),
        ([], Fraction(7), []),
    ],
)
def test_products_are_exact(values: list[int], factor: Fraction, expected: list[int]) -> None:
    assert _half_up_products(values, factor).tolist() == expected


def test_five_thousand_plantings_take_seconds_at_most() -> None:
    beds = [BedSpec(f"b{n}", 2_000_000 + 1_000 * (n % 500)) for n in range(5_000)]
    many = requests(
        *[
            (bed, [default_planting(bed, SEASON) if n % 2 else planting(area_mm2=bed.area_mm2)])
            for n, bed in enumerate(beds)
        ]
    )
    start = time.perf_counter()
    found = demand(many)
    assert time.perf_counter() - start < 10  # about half a second on an idle machine
    assert found.day.size == 5_000 * 16
