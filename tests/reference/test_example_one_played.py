"""The first worked example played through the acts: bags typed, delivered, a recipe as written, weighed, released."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from blends import ledger
from blends.queries.analyses import sheet
from blends.queries.pails import pail_analysis, pail_state
from blends.queries.store import cost_of_revision
from gardens.nutrients import Nutrient
from tests.blends.shed import Shed, fill_shed, start_weighing

pytestmark = pytest.mark.django_db
EXAMPLE = "worked example 1, computed by hand independently of any code"
Deviation = Callable[..., None]


@pytest.fixture
def shed(cast: Any) -> Shed:
    return fill_shed(cast)


LABEL_BASIS = [("N", "13.333"), ("P2O5", "13.333"), ("K2O", "13.333")]
ELEMENTS = [
    (Nutrient.P, "5.82", "0.005"),
    (Nutrient.K, "11.07", "0.005"),
    (Nutrient.MG, "1.233", "0.0005"),
    (Nutrient.S, "1.626", "0.0005"),
    (Nutrient.B, "0.0125", "0.00005"),
    (Nutrient.ZN, "0.0500", "0.00005"),
    (Nutrient.MN, "0.0625", "0.00005"),
    (Nutrient.FE, "0.0750", "0.00005"),
    (Nutrient.CU, "0.01875", "0.000005"),
    (Nutrient.MO, "0.000625", "0.0000005"),
]


@pytest.mark.parametrize("key, percent", LABEL_BASIS)
def test_the_label_basis(shed: Shed, deviation: Deviation, key: str, percent: str) -> None:
    got = shed.revision.analysis().label[key]
    deviation(
        f"blend R, {key} %", Decimal(percent), got, source=EXAMPLE, confidence="DERIVED", tolerance="0.0005"
    )


@pytest.mark.parametrize("nutrient, percent, tolerance", ELEMENTS)
def test_the_elements(
    shed: Shed, deviation: Deviation, nutrient: Nutrient, percent: str, tolerance: str
) -> None:
    got = shed.revision.analysis().percent[nutrient]
    deviation(
        f"blend R, {nutrient} %",
        Decimal(percent),
        got,
        source=EXAMPLE,
        confidence="DERIVED",
        tolerance=tolerance,
    )


def test_what_it_says_and_does_not_say(shed: Shed) -> None:
    told = sheet(shed.revision.analysis())
    assert {Nutrient.CA, Nutrient.CL} <= told.analysis.silent and Nutrient.S in told.analysis.at_least
    assert told.grade == "13-13-13"
    assert told.printable == ("Mg", "S", "Mn", "Mo", "Zn")  # zinc exactly at its minimum
    assert told.too_little == ("B", "Cu", "Fe")


COSTS = [
    ("Compound 16-16-16", "1160"),
    ("Magnesium salt", "187.5"),
    ("Trace concentrate", "270"),
    ("Drying agent", "105"),
]


@pytest.mark.parametrize("name, cents", COSTS)
def test_each_component_costs_its_share_of_its_bag(
    shed: Shed, deviation: Deviation, name: str, cents: str
) -> None:
    line = next(line for line in cost_of_revision(shed.revision).lines if line.name == name)
    deviation(
        f"cost of {name} in 12 kg, cents",
        Decimal(cents),
        line.minor,
        source=EXAMPLE,
        confidence="DERIVED",
        tolerance=0,
    )


def test_a_kilogram_costs_what_the_example_says(shed: Shed, deviation: Deviation) -> None:
    got = (cost_of_revision(shed.revision).minor_per_kg or Fraction(0)) / 100
    deviation(
        "blend R, money per kg",
        Decimal("1.435"),
        got,
        source=EXAMPLE,
        confidence="DERIVED",
        tolerance="0.0005",
    )


def test_a_pail_of_it_weighed_and_released_is_the_design(cast: Any, deviation: Deviation) -> None:
    weighing = start_weighing(cast, 6_000_000)
    weighing.weigh_all()
    weighing.release()
    got = pail_analysis(weighing.pail).percent[Nutrient.N]
    deviation(
        "pail of 6 kg, N as made, %",
        Decimal("13.333"),
        got,
        source=EXAMPLE,
        confidence="DERIVED",
        tolerance="0.0005",
    )
    assert pail_state(weighing.pail).released and weighing.place().balance_mg == 6_000_000
    assert ledger.disagreement_mg(cast.programme) == 0


def test_an_exchange_of_659_and_65_9_grams_is_ten_times_the_boron(cast: Any, deviation: Deviation) -> None:
    """Total and nitrogen are right, boron is ten times too high: kept readings show it, release never comes."""
    from blends.actions import days
    from blends.batching import Never
    from gardens.refusals import InTheWay

    weighing = start_weighing(cast, 5_272_000)
    weighing.weigh("compound")
    weighing.weigh("drying")
    shed = weighing.shed
    weighing.weigh("magnesium", lot=shed.lot("trace"), witness=shed.witness, question_reason="as it happened")
    weighing.weigh("trace", lot=shed.lot("magnesium"), question_reason="as it happened")
    state = pail_state(weighing.pail)
    assert state.made is not None and weighing.place().balance_mg == pytest.approx(5_272_000, abs=100)
    off = Fraction(state.made.percent[Nutrient.N]) / Fraction(state.design.percent[Nutrient.N])
    deviation(
        "exchanged, N beside the design", 1, off, source=EXAMPLE, confidence="DERIVED", tolerance="0.001"
    )
    boron = Fraction(state.made.percent[Nutrient.B]) / Fraction(state.design.percent[Nutrient.B])
    deviation(
        "exchanged, boron beside the design",
        10,
        boron,
        source=EXAMPLE,
        confidence="DERIVED",
        tolerance="0.05",
    )
    assert isinstance(state.verdict, Never)
    with pytest.raises(InTheWay, match="never handed out"):
        days.release_pail(pail=weighing.pail, by=cast.organiser, accept=True, reason="please")
