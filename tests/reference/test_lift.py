"""Safe lift, and the least a scale may weigh, beside their publications."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal as D
from fractions import Fraction

import pytest

from blends.batching import KG, LIFT_MG, Fitness, Scale, fitness, split

Deviation = Callable[..., None]

LIFTS: list[tuple[str, str, str]] = [
    ("NIOSH lifting equation, load constant", "23", "FOUND"),
    ("48 CFR 552.211-86: no shipping container above 23 kilograms", "23", "FOUND"),
]


@pytest.mark.parametrize(("source", "kilograms", "confidence"), LIFTS)
def test_no_pail_is_heavier_than_the_safe_lift(
    deviation: Deviation, source: str, kilograms: str, confidence: str
) -> None:
    heaviest = max(
        mass for litres in (20, 60, 200) for mass in split(920 * KG, pail_litres=D(litres)).masses_mg
    )
    deviation(
        "heaviest pail, kg",
        D(kilograms),
        Fraction(heaviest, KG),
        source=source,
        confidence=confidence,
        tolerance=0,
    )


def test_the_same_in_pounds(deviation: Deviation) -> None:
    pounds = Fraction(LIFT_MG) / Fraction("453592.37")
    deviation("safe lift, lb", 51, pounds, source=LIFTS[0][0], confidence="FOUND", tolerance=D("0.5"))


LEAST: list[tuple[str, int, bool, str, str]] = [
    (
        "120 mg at 5 % for a sensitivity of 6 mg: 200 mg at our 3 %",
        200,
        True,
        "UNC pharmacy laboratories",
        "DERIVED",
    ),
    (
        "120 mg at 5 % for a sensitivity of 6 mg: 300 mg at our 2 %",
        300,
        False,
        "UNC pharmacy laboratories",
        "DERIVED",
    ),
]


@pytest.mark.parametrize(("what", "least", "trace", "source", "confidence"), LEAST)
def test_least_weighable_quantity(
    deviation: Deviation, what: str, least: int, trace: bool, source: str, confidence: str
) -> None:
    """Sensitivity / error."""
    scale = Scale(division_mg=6, minimum_mg=1, maximum_mg=10_000)
    got = next(mass for mass in range(1, 1_000) if fitness(mass, scale, trace=trace) is Fitness.FINE)
    deviation(what, least, got, source=source, confidence=confidence, tolerance=0)


def test_a_5_gram_scale_may_not_weigh_below_100_grams(deviation: Deviation) -> None:
    scale = Scale(division_mg=5_000, minimum_mg=20 * 5_000, maximum_mg=30 * KG)
    got = next(g for g in range(1, 200) if fitness(g * 1000, scale, trace=False) is not Fitness.BELOW_MINIMUM)
    deviation(
        "least net load of a 5 g scale, g",
        100,
        got,
        source="Measurement Canada STP-1: 20 × e",
        confidence="FOUND",
        tolerance=0,
    )
