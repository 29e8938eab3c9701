"""The boron that a heavy season of a blend brings."""

from __future__ import annotations

from decimal import Decimal as D
from fractions import Fraction

import pytest

from blends.boron import HEAVY_SEASON_N, BoronVerdict, heavy_season
from blends.chemistry import Slow, blend, from_label


def _of(label: dict[str, D | int], slow: Slow = Slow.NO) -> tuple[BoronVerdict, Fraction | None, bool]:
    season = heavy_season(blend([(1, from_label({k: D(v) for k, v in label.items()}, slow=slow))]))
    return season.verdict, season.kg_per_ha, season.at_least


def test_it_grows_with_boron_and_falls_with_nitrogen() -> None:
    one, boron, nitrogen = (_of(x)[1] for x in ({"N": 10, "B": 1}, {"N": 10, "B": 2}, {"N": 20, "B": 1}))
    assert one == HEAVY_SEASON_N  # 1 % B beside 10 % N: g/m2 × 0.1 × 10
    assert (boron, nitrogen) == (2 * HEAVY_SEASON_N, HEAVY_SEASON_N / 2)


VERDICTS: list[tuple[D, BoronVerdict]] = [
    (D("0.0125"), BoronVerdict.FINE),
    (D("0.0075"), BoronVerdict.FINE),
    (D("0.08"), BoronVerdict.NEEDS_REASON),
    (D("0.23"), BoronVerdict.NEEDS_REASON),
    (D("0.24"), BoronVerdict.CANNOT_BE_MIXED),
]


@pytest.mark.parametrize(("boron", "verdict"), VERDICTS)
def test_limits_ask_for_a_reason_and_then_forbid(boron: D, verdict: BoronVerdict) -> None:
    assert _of({"N": 10, "B": boron})[0] is verdict


EXACT: list[tuple[str, BoronVerdict, BoronVerdict]] = [
    ("1.1", BoronVerdict.FINE, BoronVerdict.NEEDS_REASON),
    ("3.4", BoronVerdict.NEEDS_REASON, BoronVerdict.CANNOT_BE_MIXED),
]


@pytest.mark.parametrize(("limit", "at", "above"), EXACT)
def test_exactly_at_a_limit_is_still_under_it(limit: str, at: BoronVerdict, above: BoronVerdict) -> None:
    """Beside 3 × 4.5359237 % N, 0.09290304 % B are one kilogram a hectare: the pound and the square foot."""
    nitrogen, boron = D("13.6077711"), D("0.09290304") * D(limit)
    assert _of({"N": nitrogen, "B": boron})[:2] == (at, Fraction(limit))
    assert _of({"N": nitrogen, "B": boron + D("1e-20")})[0] is above


def test_no_boron_declared_is_no_verdict() -> None:
    assert _of({"N": 10}) == (BoronVerdict.NOT_DECLARED, None, True)


def test_boron_declared_as_none_is_fine() -> None:
    assert _of({"N": 10, "B": 0}) == (BoronVerdict.FINE, 0, False)
    assert _of({"K2O": 10, "B": 0})[0] is BoronVerdict.FINE


def test_without_soluble_nitrogen_a_season_cannot_be_told() -> None:
    assert _of({"K2O": 10, "B": 1})[0] is BoronVerdict.NO_NITROGEN
    assert _of({"N": 10, "B": 1}, Slow.UNKNOWN)[0] is BoronVerdict.NO_NITROGEN


def test_a_component_that_says_nothing_makes_it_at_least() -> None:
    silent = from_label({"N": D(10)}, slow=Slow.NO)
    spoken = from_label({"N": D(10), "B": D("0.05")}, slow=Slow.NO)
    season = heavy_season(blend([(1, silent), (1, spoken)]))
    assert season.at_least
    assert (
        season.sentence
        == "A heavy season of it brings at least 0.37 kg of boron a hectare; up to 1.1 is fine."
    )
