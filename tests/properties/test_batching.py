"""Splitting, weighing out and sharing never lose or make a milligram."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from blends.batching import Part, question, scaled, split, tolerance, weigh_outs
from blends.sharing import largest_remainder

masses = st.integers(min_value=1, max_value=2_000_000_000)
divisions = st.sampled_from([1, 10, 100, 1_000, 2_000, 5_000, 20_000])
weights = st.lists(st.integers(min_value=0, max_value=10**6), min_size=1, max_size=30).filter(any)


@st.composite
def recipes(draw: st.DrawFn) -> list[Part]:
    count = draw(st.integers(min_value=1, max_value=8))
    return [
        Part(
            key=str(place),
            name=f"Component {place}",
            mass_mg=draw(st.integers(min_value=1, max_value=25_000_000)),
            division_mg=draw(divisions),
            inert=draw(st.booleans()),
            trace=draw(st.booleans()),
        )
        for place in range(count)
    ]


@given(masses, st.integers(min_value=1, max_value=60), st.integers(min_value=100_000, max_value=30_000_000))
def test_pails_are_equal_fewest_and_sum_to_the_batch(mass: int, litres: int, lift: int) -> None:
    pails = split(mass, pail_litres=Decimal(litres), lift_mg=lift)
    assert sum(pails.masses_mg) == mass
    assert max(pails.masses_mg) - min(pails.masses_mg) <= 1
    assert max(pails.masses_mg) <= pails.limit_mg
    assert (pails.count - 1) * pails.limit_mg < mass


@given(recipes(), st.integers(min_value=1_000, max_value=23_000_000))
def test_weigh_outs_sum_to_the_pail_and_all_but_one_stand_on_their_scale(
    parts: list[Part], pail: int
) -> None:
    targets = weigh_outs(parts, pail)
    exact = dict(zip([p.key for p in parts], scaled([p.mass_mg for p in parts], pail), strict=True))
    assert sum(t.target_mg for t in targets) == pail
    off = [t for t in targets if t.target_mg not in (t.shown_mg, exact[t.part.key])]
    assert len(off) <= 1
    assert all((t.target_mg > 0) == (exact[t.part.key] > 0) for t in targets)
    allowed = sum(t.part.division_mg for t in targets)
    assert all(abs(t.target_mg - exact[t.part.key]) <= allowed for t in targets)


@given(recipes(), st.integers(min_value=1_000_000, max_value=23_000_000))
def test_what_the_sheet_asks_for_is_never_questioned(parts: list[Part], pail: int) -> None:
    targets = weigh_outs(parts, pail)
    assert all(question(t.target_mg, t, targets) is None for t in targets)
    assert all(question(t.shown_mg, t, targets) is None for t in targets)


@given(masses, divisions, st.booleans(), st.integers(min_value=-(10**9), max_value=10**9))
def test_a_reading_is_asked_about_exactly_when_it_is_outside(
    mass: int, division: int, trace: bool, off: int
) -> None:
    (target,) = weigh_outs([Part("a", "A", 1, division, trace=trace)], mass)
    outside = abs(off) > tolerance(mass, division, trace=trace)
    assert (question(mass + off, target) is not None) == outside


@given(weights, st.integers(min_value=0, max_value=10**9), divisions)
def test_shares_sum_exactly_and_lie_within_a_division_of_the_quota(
    shares: list[int], total: int, division: int
) -> None:
    result = largest_remainder(shares, total, division)
    steps = (total - result.left) // division
    assert sum(result.amounts) + result.left == total
    assert 0 <= result.left < division
    for weight, amount in zip(shares, result.amounts, strict=True):
        assert amount % division == 0
        assert abs(Fraction(weight * steps, sum(shares)) - amount // division) < 1


@given(weights, st.integers(min_value=0, max_value=10**6), divisions)
def test_who_has_more_weight_never_gets_less(shares: list[int], total: int, division: int) -> None:
    amounts = largest_remainder(shares, total, division).amounts
    ranked = sorted(zip(shares, amounts, strict=True))
    assert all(low[1] <= high[1] for low, high in pairwise(ranked) if low[0] < high[0])


@given(weights, st.integers(min_value=0, max_value=10**6))
def test_without_a_tie_the_order_of_people_does_not_matter(shares: list[int], total: int) -> None:
    straight, reversed_ = largest_remainder(shares, total), largest_remainder(shares[::-1], total)
    if not straight.ties:
        assert straight.amounts == reversed_.amounts[::-1]
    else:
        assert len(straight.ties) >= 2
        assert len(straight.ties) == len(reversed_.ties)
