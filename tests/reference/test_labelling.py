"""Labelling minimums as printed in a state's rule."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal as D

import pytest

from blends.chemistry import LABEL_MINIMUMS, Slow, from_label, printable, too_little
from gardens.nutrients import Nutrient

MINIMUMS: list[tuple[str, str, str, str]] = [
    *(
        (symbol, percent, "WAC 16-200-711 (Washington)", "FOUND")
        for symbol, percent in [
            ("Ca", "1.0000"),
            ("Mg", "0.5000"),
            ("S", "1.0000"),
            ("B", "0.0200"),
            ("Cl", "0.1000"),
            ("Cu", "0.0500"),
            ("Fe", "0.1000"),
            ("Mn", "0.0500"),
            ("Mo", "0.0005"),
            ("Na", "0.1000"),
            ("Zn", "0.0500"),
        ]
    ),
    ("Ni", "0.0010", "AAPFCO Official Publication", "MEMORY"),
]


@pytest.mark.parametrize(("symbol", "percent", "source", "confidence"), MINIMUMS)
def test_minimums(
    deviation: Callable[..., None], symbol: str, percent: str, source: str, confidence: str
) -> None:
    nutrient = Nutrient(symbol)
    got = LABEL_MINIMUMS[nutrient]
    deviation(
        f"least {symbol} on a label, percent",
        D(percent),
        got,
        source=source,
        confidence=confidence,
        tolerance=0,
    )
    exactly = from_label({symbol: D(percent)}, slow=Slow.NO)
    below = from_label({symbol: D(percent) - D("0.0000001")}, slow=Slow.NO)
    assert (printable(exactly), too_little(exactly)) == ((nutrient,), ())
    assert (printable(below), too_little(below)) == ((), (nutrient,))


def test_there_are_no_others() -> None:
    assert {str(n) for n in LABEL_MINIMUMS} == {symbol for symbol, *_ in MINIMUMS}
