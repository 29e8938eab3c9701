"""Largest remainder to a division."""

from __future__ import annotations

from decimal import Decimal as D
from fractions import Fraction as F

import pytest

from blends.sharing import Shares, SharingError, largest_remainder

WORKED: list[tuple[list[int | D | F], int, int, Shares]] = [
    ([1, 2, 3], 10, 1, Shares((2, 3, 5), 0, ())),
    ([1, 2], 10, 1, Shares((3, 7), 0, ())),
    ([11, 11, 11], 4, 1, Shares((2, 1, 1), 0, (0, 1, 2))),
    ([2, 1, 1, 2, 2], 2, 1, Shares((1, 0, 0, 1, 0), 0, (0, 3, 4))),
    ([F(1, 3), F(1, 3)], 2, 1, Shares((1, 1), 0, ())),
    ([D("0.1"), D("0.2")], 300, 10, Shares((100, 200), 0, ())),
    ([1, 1], 1005, 10, Shares((500, 500), 5, ())),
    ([5], 7, 1, Shares((7,), 0, ())),
    ([0, 3, 0], 7, 2, Shares((0, 6, 0), 1, ())),
    ([1, 1], 0, 1, Shares((0, 0), 0, ())),
]


@pytest.mark.parametrize(("weights", "total", "division", "shares"), WORKED)
def test_shares(weights: list[int | D | F], total: int, division: int, shares: Shares) -> None:
    assert largest_remainder(weights, total, division) == shares


def test_a_tie_that_decides_nothing_is_not_told() -> None:
    """Two equal remainders that both get one: nobody lost by order."""
    assert largest_remainder([3, 3, 2], 10) == Shares((4, 4, 2), 0, ())


REFUSED: list[tuple[list[object], object, object, str]] = [
    ([], 1, 1, "nobody"),
    ([0, 0], 1, 1, "all_zero"),
    ([1, -1], 1, 1, "negative"),
    ([1.0], 1, 1, "weight"),
    ([D("NaN")], 1, 1, "weight"),
    ([D("Infinity")], 1, 1, "weight"),
    ([1], -1, 1, "total"),
    ([1], 1.5, 1, "total"),
    ([1], 1, 0, "division"),
    ([1], 1, D(1), "division"),
]


@pytest.mark.parametrize(("weights", "total", "division", "code"), REFUSED)
def test_a_question_without_an_answer_is_refused(
    weights: list[object], total: object, division: object, code: str
) -> None:
    with pytest.raises(SharingError) as refusal:
        largest_remainder(weights, total, division)  # type: ignore[arg-type]
    assert refusal.value.code == code
