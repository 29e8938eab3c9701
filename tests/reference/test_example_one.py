"""The first worked example, recipe and label, computed by hand before there was any code. Pure part."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal as D

import pytest

from blends.batching import KG, Part, split, weigh_outs
from blends.boron import BoronVerdict, heavy_season
from blends.catalogue import material
from blends.chemistry import blend, cost_per_kg, feeds_sentence, printable, printed_grade, too_little
from gardens.nutrients import Nutrient

Deviation = Callable[..., None]
BY_HAND = "worked example 1, by hand"

RECIPE = [
    ("compound-16-16-16", 10_000_000),
    ("magnesium-sulfate-heptahydrate", 1_500_000),
    ("trace-concentrate", 150_000),
    ("perlite", 350_000),
]
R = blend([(mass, material(code).analysis()) for code, mass in RECIPE])

# (what, by hand, half of its last digit)
LABEL: list[tuple[str, str, str]] = [
    ("N", "13.333", "0.0005"),
    ("P2O5", "13.333", "0.0005"),
    ("K2O", "13.333", "0.0005"),
]
ELEMENTS: list[tuple[str, str, str]] = [
    ("P", "5.82", "0.005"),
    ("K", "11.07", "0.005"),
    ("Mg", "1.233", "0.0005"),
    ("S", "1.626", "0.0005"),
    ("B", "0.0125", "0"),
    ("Zn", "0.0500", "0"),
    ("Mn", "0.0625", "0"),
    ("Fe", "0.0750", "0"),
    ("Cu", "0.01875", "0"),
    ("Mo", "0.000625", "0"),
]


@pytest.mark.parametrize(("key", "percent", "tolerance"), LABEL)
def test_on_label_basis(deviation: Deviation, key: str, percent: str, tolerance: str) -> None:
    deviation(
        f"{key} of R",
        D(percent),
        R.label[key],
        source=BY_HAND,
        confidence="DERIVED",
        tolerance=D(tolerance),
    )


@pytest.mark.parametrize(("symbol", "percent", "tolerance"), ELEMENTS)
def test_as_elements(deviation: Deviation, symbol: str, percent: str, tolerance: str) -> None:
    got = R.percent[Nutrient(symbol)]
    deviation(f"{symbol} of R", D(percent), got, source=BY_HAND, confidence="DERIVED", tolerance=D(tolerance))


def test_sulfur_is_at_least_and_nitrogen_is_exact() -> None:
    assert Nutrient.S in R.at_least
    assert Nutrient.N not in R.at_least
    assert {Nutrient.CA, Nutrient.CL} <= R.silent


def test_what_may_be_printed() -> None:
    assert [str(n) for n in printable(R)] == ["Mg", "S", "Mn", "Mo", "Zn"]
    assert [str(n) for n in too_little(R)] == ["B", "Cu", "Fe"]
    assert printed_grade(R) == (13, 13, 13)
    assert feeds_sentence(R) == (
        "It feeds eleven of the fourteen and says nothing of calcium, chlorine and nickel."
    )


def test_cost(deviation: Deviation) -> None:
    lots = [(2900, 25), (1250, 10), (1800, 1), (600, 2)]
    parts = [(mass, price, kg * KG) for (_, mass), (price, kg) in zip(RECIPE, lots, strict=True)]
    got = cost_per_kg(parts) / 100
    # 17.225 / 12 = 1.43541…, printed 1.435
    deviation("R per kg", D("1.435"), got, source=BY_HAND, confidence="DERIVED", tolerance=D("0.0005"))
    deviation("12 kg of R", D("17.225"), got * 12, source=BY_HAND, confidence="DERIVED", tolerance=D("1e-12"))


def test_boron_of_a_heavy_season(deviation: Deviation) -> None:
    season = heavy_season(R)
    assert season.verdict is BoronVerdict.FINE and season.kg_per_ha is not None
    # 14.6473 g N/m2 × 0.0125 / 13.3333 = 0.013732 g/m2
    deviation(
        "boron of a heavy season of R, kg/ha",
        D("0.1373"),
        season.kg_per_ha,
        source="3 lb N/1000 ft² (University of Maryland Extension) through worked example 1",
        confidence="DERIVED",
        tolerance=D("0.00005"),
    )


def test_two_pails_of_six_kilograms() -> None:
    parts = [
        Part(code, code, mass, 100 if material(code).is_trace else 1000, inert=material(code).is_inert)
        for code, mass in RECIPE
    ]
    pails = split(12 * KG)
    assert pails.masses_mg == (6 * KG, 6 * KG)
    assert {t.part.key: t.target_mg for t in weigh_outs(parts, pails.masses_mg[0])} == {
        "compound-16-16-16": 5_000_000,
        "magnesium-sulfate-heptahydrate": 750_000,
        "trace-concentrate": 75_000,
        "perlite": 175_000,
    }
