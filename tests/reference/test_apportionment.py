"""Largest remainder beside printed answers and beside PyPI's `apportionment`."""

from __future__ import annotations

import random
from collections.abc import Callable
from decimal import Decimal as D

import pytest

from blends.sharing import largest_remainder

Deviation = Callable[..., None]

BALINSKI = "Balinski & Young 1975, quoted in the tests of apportionment 1.0"
HOMEWORK = "homework solution, Hamilton's method"

PRINTED: list[tuple[list[int | D], int, list[int], str, str]] = [
    ([5117, 4400, 162, 161, 160], 100, [51, 44, 2, 2, 1], BALINSKI, "FOUND (2nd)"),
    ([9061, 7179, 5259, 3319, 1182], 26, [9, 7, 5, 4, 1], BALINSKI, "FOUND (2nd)"),
    ([2, 1, 1, 2, 2], 2, [1, 0, 0, 1, 0], "tests of apportionment 1.0", "LIBRARY"),
    ([11, 11, 11], 4, [2, 1, 1], "tests of apportionment 1.0", "LIBRARY"),
    ([14, 28, 7, 35], 12, [2, 4, 1, 5], "tests of apportionment 1.0", "LIBRARY"),
    ([247, 185, 459, 400, 413], 42, [6, 5, 11, 10, 10], HOMEWORK, "FOUND (2nd)"),
    ([153, 411, 81, 92, 163], 40, [7, 18, 4, 4, 7], HOMEWORK, "FOUND (2nd)"),
    ([D("33.7"), D("559.5"), D("141.3"), D("89.1")], 116, [5, 79, 20, 12], HOMEWORK, "FOUND (2nd)"),
    ([500, 300, 110, 20], 4, [2, 1, 1, 0], HOMEWORK, "FOUND (2nd)"),
    ([162310, 538479, 197145], 41, [7, 25, 9], "Delaware counties, textbook", "DERIVED"),
    ([47000, 16000, 15800, 12000, 6100, 3100], 10, [5, 2, 1, 1, 1, 0], "CRAN proporz 1.5.2", "LIBRARY"),
    ([1, 2, 3], 10, [2, 3, 5], "PyPI largest-remainder, its example", "LIBRARY"),
]


@pytest.mark.parametrize(("weights", "seats", "printed", "source", "confidence"), PRINTED)
def test_printed_answers(
    deviation: Deviation, weights: list[int | D], seats: int, printed: list[int], source: str, confidence: str
) -> None:
    amounts = largest_remainder(weights, seats).amounts
    off = sum(abs(got - expected) for got, expected in zip(amounts, printed, strict=True))
    deviation(
        f"{seats} among {len(weights)}: seats misplaced",
        0,
        off,
        source=source,
        confidence=confidence,
        tolerance=0,
    )


def test_the_alabama_paradox_is_the_methods_own(deviation: Deviation) -> None:
    """One seat more in the House of 1880 cost Alabama one. The weights are the quotas printed for 300."""
    quotas = [D("7.67117"), D("9.67158"), D("18.70159")]
    weights = [*quotas, 300 - sum(quotas)]
    for seats, alabama in ((299, 8), (300, 7)):
        deviation(
            f"seats of Alabama in a House of {seats}",
            alabama,
            largest_remainder(weights, seats).amounts[0],
            source="COMAP, For All Practical Purposes, chapter 14; B. Cipra, American Scientist",
            confidence="FOUND",
            tolerance=0,
        )


def test_the_same_as_the_library_on_many(deviation: Deviation) -> None:
    """But for ties: the library serves tied remainders in order, before larger ones further down."""
    import apportionment.methods

    chance = random.Random(1880)
    off = compared = 0
    for _ in range(300):
        weights = [chance.randint(1, 5_000) for _ in range(chance.randint(2, 40))]
        seats = chance.randint(1, 400)
        ours = largest_remainder(weights, seats)
        theirs = apportionment.methods.largest_remainder(weights, seats, fractions=True)
        if not ours.ties:
            off += list(ours.amounts) != theirs
            compared += 1
    assert compared > 290
    deviation(
        f"{compared} drawn cases: answers that differ",
        0,
        off,
        source="PyPI apportionment 1.0",
        confidence="LIBRARY",
        tolerance=0,
    )


def test_a_larger_remainder_goes_before_a_tie() -> None:
    """Found among such cases: two tied at 0.67, and one with 0.83 listed after both."""
    weights = [4095, 987, 1899, 52392 - 4095 - 987 - 1899]
    assert largest_remainder(weights, 354).amounts == (28, 6, 13, 307)


def test_where_we_tell_a_tie_the_library_refuses() -> None:
    import apportionment.methods

    with pytest.raises(apportionment.methods.TiesException):
        apportionment.methods.largest_remainder([11, 11, 11], 4, tiesallowed=False)
    assert largest_remainder([11, 11, 11], 4).ties == (0, 1, 2)
