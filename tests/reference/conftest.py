"""Outside checks: every row names its source and how sure we are of it; the deviations are printed as a table."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

CONFIDENCE = {"FOUND", "FOUND (2nd)", "LIBRARY", "DERIVED", "MEMORY", "common practice, no source"}
ROWS: list[dict[str, str]] = []

type_number = int | float | Decimal | Fraction


def _fraction(value: Any) -> Fraction:
    return Fraction(value) if not isinstance(value, float) else Fraction(repr(value))


@pytest.fixture
def deviation(request: pytest.FixtureRequest) -> Callable[..., None]:
    def check(
        what: str,
        expected: type_number,
        got: type_number,
        *,
        source: str,
        confidence: str,
        tolerance: type_number,
    ) -> None:
        assert confidence in CONFIDENCE, confidence
        assert source.strip(), "an outside check names its source"
        off = _fraction(got) - _fraction(expected)
        ROWS.append(
            {
                "what": what,
                "expected": str(expected),
                "got": f"{float(_fraction(got)):.6g}",
                "off": f"{float(off):+.3g}",
                "tolerance": str(tolerance),
                "confidence": confidence,
                "source": source,
            }
        )
        assert abs(off) <= _fraction(tolerance), f"{what}: expected {expected}, got {got} ({source})"

    return check


@pytest.fixture(scope="session", autouse=True)
def _table_of_deviations() -> Iterator[None]:
    """Write the rows where CI asks for them (DEVIATIONS=path); the path gets the worker's name."""
    yield
    target = os.environ.get("DEVIATIONS")
    if target and ROWS:
        worker = os.environ.get("PYTEST_XDIST_WORKER", "main")
        Path(f"{target}.{worker}.json").write_text(json.dumps(ROWS))
