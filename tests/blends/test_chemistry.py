"""Declarations, formulas, blends and what may be said of them on paper."""

from __future__ import annotations

from decimal import Decimal as D
from fractions import Fraction

import pytest

from blends.chemistry import (
    Analysis,
    ChemistryError,
    Slow,
    blend,
    cost_per_kg,
    feeds_sentence,
    from_formula,
    from_label,
    nutrient_in,
    printable,
    printed_grade,
    product_for,
    to_element,
    to_label,
    too_little,
)
from gardens.nutrients import ESSENTIAL, Nutrient

COMPOUND = from_label({"N": D(16), "P2O5": D(16), "K2O": D(16)}, slow=Slow.NO)
MAGNESIUM = from_formula("MgSO4·7H2O")
INERT = from_label({}, slow=Slow.NO)


def test_a_label_is_kept_on_element_basis_and_told_as_on_the_bag() -> None:
    assert round(COMPOUND.percent[Nutrient.P], 3) == D("6.983")
    assert round(COMPOUND.percent[Nutrient.K], 3) == D("13.282")
    assert COMPOUND.label == {"N": 16, "P2O5": 16, "K2O": 16}


def test_what_a_label_does_not_say_has_no_figure() -> None:
    assert set(COMPOUND.percent) == {Nutrient.N, Nutrient.P, Nutrient.K}
    assert from_label({"N": D(0)}, slow=Slow.NO).percent == {Nutrient.N: 0}
    assert INERT.percent == {}
    assert INERT.soluble_n is None


def test_keys_are_read_as_people_type_them() -> None:
    typed = from_label({"n": D(5), "P₂O₅": D(10), " n  SLOW": D(1)}, slow=Slow.YES)
    assert typed.label == {"N": 5, "P2O5": 10}
    assert typed.soluble_n == 4


def test_a_slow_part_answers_the_question() -> None:
    assert from_label({"N": D(16), "N slow": D(4)}, slow=Slow.UNKNOWN).slow is Slow.YES
    assert from_label({"N": D(16), "N slow": D(0)}, slow=Slow.UNKNOWN).slow is Slow.UNKNOWN


BAD_LABELS: list[tuple[dict[str, D], Slow, str, str]] = [
    ({"N": D(-1)}, Slow.NO, "negative", "N"),
    ({"B": D("100.1")}, Slow.NO, "over_hundred", "B"),
    ({"N": D(60), "S": D(41)}, Slow.NO, "over_hundred", ""),
    ({"N": D("NaN")}, Slow.NO, "not_a_number", "N"),
    ({"N": D("sNaN")}, Slow.NO, "not_a_number", "N"),
    ({"N": D("Infinity")}, Slow.NO, "not_a_number", "N"),
    ({"N": D("-Infinity")}, Slow.NO, "not_a_number", "N"),
    ({"N": 1.5}, Slow.NO, "not_a_number", "N"),  # type: ignore[dict-item]
    ({"P2O5": D(16), "P": D(16)}, Slow.NO, "disagree", "P2O5"),
    ({"MgO": D(16), "Mg": D(5)}, Slow.NO, "disagree", "MgO"),
    ({"Pb": D(1)}, Slow.NO, "unknown_nutrient", "Pb"),
    ({"N": D(1), "n": D(1)}, Slow.NO, "twice", ""),
    ({"N slow": D(1)}, Slow.YES, "no_total", "N"),
    ({"N": D(10), "N urea": D(8), "N nitrate": D(3)}, Slow.NO, "forms", "N"),
    ({"N": D(10), "N slow": D(8)}, Slow.NO, "slow", "N slow"),
]


@pytest.mark.parametrize(("values", "slow", "code", "field"), BAD_LABELS)
def test_a_label_that_cannot_be_is_refused_in_a_sentence(
    values: dict[str, D], slow: Slow, code: str, field: str
) -> None:
    with pytest.raises(ChemistryError) as refusal:
        from_label(values, slow=slow)
    assert (refusal.value.code, refusal.value.field) == (code, field)
    assert refusal.value.message.endswith(".")


def test_an_oxide_and_its_rounded_element_may_stand_together() -> None:
    both = from_label({"P2O5": D(12), "P": D("5.2"), "SO3": D(25), "S": D(10)}, slow=Slow.NO)
    assert both.label["P2O5"] == 12
    assert round(both.percent[Nutrient.S], 2) == D("10.01")


def test_potash_and_chloride_may_pass_a_hundred_as_oxides() -> None:
    """63 K2O + 47 Cl is 110 on the bag and 99.3 in the salt."""
    assert from_label({"K2O": D(63), "Cl": D(47)}, slow=Slow.NO).percent[Nutrient.CL] == 47


SLOW_LABELS: list[tuple[dict[str, D], Slow, D | None, bool]] = [
    ({"N": D(16)}, Slow.NO, D(16), False),
    ({"N": D(16)}, Slow.YES, D(0), True),
    ({"N": D(16)}, Slow.UNKNOWN, D(0), True),
    ({"N": D(16), "N slow": D(4)}, Slow.YES, D(12), True),
    ({"N": D(16), "N slow": D(4)}, Slow.UNKNOWN, D(12), True),
    ({"N": D(16), "N nitrate": D(7), "N ammoniacal": D(9)}, Slow.NO, D(16), False),
    ({"N": D(0), "K2O": D(20)}, Slow.YES, D(0), False),  # coated potash slows no nitrogen
    ({"K2O": D(20)}, Slow.UNKNOWN, None, False),
    ({"K2O": D(20)}, Slow.YES, None, True),
]


@pytest.mark.parametrize(("values", "slow", "soluble", "has_slow"), SLOW_LABELS)
def test_only_the_soluble_part_counts(
    values: dict[str, D], slow: Slow, soluble: D | None, has_slow: bool
) -> None:
    analysis = from_label(values, slow=slow)
    assert analysis.soluble_n == soluble
    assert analysis.slow_nitrogen is has_slow
    assert blend([(1, analysis)]).weekly is (bool(soluble) and not has_slow)


SAME_FORMULA = ["MgSO4·7H2O", "MgSO4.7H2O", "MgSO4*7H2O", "MgSO₄·7H₂O", " MgSO4 · 7 H2O ", "Mg(SO4)·7(H2O)"]


@pytest.mark.parametrize("written", SAME_FORMULA)
def test_a_formula_is_read_however_it_is_written(written: str) -> None:
    assert from_formula(written).percent == MAGNESIUM.percent


def test_a_hydrate_may_be_half() -> None:
    half, whole = from_formula("CaSO4·0.5H2O"), from_formula("2CaSO4·H2O")
    assert abs(half.percent[Nutrient.CA] - whole.percent[Nutrient.CA]) < D("1e-20")


BAD_FORMULAS = [
    *("", " ", "·", "MgSO4·", "·H2O", "MgSO4··H2O", "(NH4", "NH4)2", "(NH4]2", "Mg0", "2", "5·H2O", "()2"),
    *("mgso4", "MgSO4 99 %", "EtOH!", "H2O+", "[2H]2O", "Xx2", "x" * 500, "MgSO4;DROP", "Mg\x00", "H99999"),
]


@pytest.mark.parametrize("formula", BAD_FORMULAS)
def test_a_formula_that_is_none_is_refused_in_a_sentence(formula: str) -> None:
    with pytest.raises(ChemistryError) as refusal:
        from_formula(formula)
    assert (refusal.value.code, refusal.value.field) == ("formula", "formula")
    assert len(refusal.value.message) < 140


@pytest.mark.parametrize("purity", [D(0), D(-1), D("100.1"), D("NaN"), D("Infinity"), 0.99])
def test_a_purity_outside_a_hundred_percent_is_refused(purity: D) -> None:
    with pytest.raises(ChemistryError) as refusal:
        from_formula("KNO3", purity)
    assert refusal.value.field == "purity"


def test_a_pure_salt_knows_what_it_does_not_hold_and_an_impure_one_does_not() -> None:
    pure, technical = from_formula("ZnSO4·H2O", D(98)), from_formula("ZnSO4·H2O", D("97.9"))
    assert pure.percent[Nutrient.CU] == 0
    assert pure.soluble_n == 0
    assert set(technical.percent) == {Nutrient.S, Nutrient.ZN}
    assert technical.soluble_n is None


def test_a_blend_is_the_mean_by_mass() -> None:
    mixed = blend([(3_000, COMPOUND), (1_000, MAGNESIUM)])
    assert mixed.percent[Nutrient.N] == 12
    assert mixed.percent[Nutrient.MG] == MAGNESIUM.percent[Nutrient.MG] / 4
    assert mixed.soluble_n == 12


def test_each_nutrient_is_fed_or_none_or_silent() -> None:
    mixed = blend([(3_000, COMPOUND), (1_000, MAGNESIUM)])
    assert mixed.fed == (Nutrient.N, Nutrient.P, Nutrient.K, Nutrient.MG, Nutrient.S)
    assert mixed.at_least == {Nutrient.MG, Nutrient.S}
    assert Nutrient.B in mixed.silent
    assert not mixed.none
    assert Nutrient.B not in mixed.percent
    assert {*mixed.fed, *mixed.none, *mixed.silent} == set(Nutrient)


def test_one_that_says_zero_does_not_speak_for_one_that_says_nothing() -> None:
    alone, together = blend([(1, MAGNESIUM)]), blend([(1, MAGNESIUM), (1, INERT)])
    assert Nutrient.B in alone.none
    assert Nutrient.B in together.silent
    assert Nutrient.MG not in alone.at_least
    assert Nutrient.MG in together.at_least


def test_a_component_of_no_mass_says_nothing() -> None:
    assert blend([(1, MAGNESIUM), (0, INERT)]) == blend([(1, MAGNESIUM)])


@pytest.mark.parametrize("parts", [[], [(0, COMPOUND)], [(-1, COMPOUND), (2, COMPOUND)]])
def test_a_blend_of_nothing_is_refused(parts: list[tuple[int, Analysis]]) -> None:
    with pytest.raises(ChemistryError):
        blend(parts)


GRADES: list[tuple[dict[str, D], tuple[int, int, int]]] = [
    ({"N": D(16), "P2O5": D(16), "K2O": D(16)}, (16, 16, 16)),
    ({"N": D("6.8"), "P2O5": D("18.4"), "K2O": D(24)}, (6, 18, 24)),
    ({"N": D("9.9999")}, (9, 0, 0)),
    ({}, (0, 0, 0)),
]


@pytest.mark.parametrize(("values", "grade"), GRADES)
def test_a_grade_is_printed_rounded_down(values: dict[str, D], grade: tuple[int, int, int]) -> None:
    assert printed_grade(from_label(values, slow=Slow.NO)) == grade


@pytest.mark.parametrize("whole", range(1, 53))
@pytest.mark.parametrize("times", [1, 3, 7])
def test_a_whole_grade_stays_whole_through_the_element(whole: int, times: int) -> None:
    """Dividing in 28 digits would print a 15 for some 16s."""
    one = from_label({"P2O5": D(whole), "K2O": D(100 - 2 * whole if whole < 45 else 10)}, slow=Slow.NO)
    assert printed_grade(blend([(times, one), (11, one)]))[1] == whole


def test_only_what_reaches_the_minimum_may_be_printed() -> None:
    label = {"Zn": D("0.05"), "Fe": D("0.0999999"), "B": D("0.02"), "Mn": D(0), "Mg": D("0.4")}
    analysis = from_label(label, slow=Slow.NO)
    assert printable(analysis) == (Nutrient.B, Nutrient.ZN)
    assert too_little(analysis) == (Nutrient.MG, Nutrient.FE)


def test_to_label_and_to_element_undo_each_other() -> None:
    assert to_label(Nutrient.K, to_element("K2O", D(50))) == 50
    assert to_label(Nutrient.MG, D("9.86")) == D("9.86")


def test_the_ratio_is_told_beside_nitrogen_or_the_first_there_is() -> None:
    grade = {"N": D(8), "P2O5": D(24), "K2O": D(24)}
    assert blend([(1, from_label(grade, slow=Slow.NO))]).ratio == (1, 3, 3)
    assert blend([(1, from_label({"P2O5": D(10), "K2O": D(5)}, slow=Slow.NO))]).ratio == (0, 1, D("0.5"))
    assert blend([(1, INERT)]).ratio == (0, 0, 0)


ALL = {str(n): D(1) for n in ESSENTIAL}
SENTENCES: list[tuple[dict[str, D], Slow, str]] = [
    (ALL, Slow.NO, "It feeds all fourteen."),
    ({**ALL, "Ni": D(0)}, Slow.NO, "It feeds thirteen of the fourteen and carries no nickel."),
    (
        {k: D(0) if k == "Ni" else D(1) for k in ALL if k not in ("Ca", "Cl")},
        Slow.NO,
        "It feeds eleven of the fourteen, carries no nickel, and says nothing of calcium and chlorine.",
    ),
    (
        {**ALL, "Ni": D(0), "Mo": D(0)},
        Slow.YES,
        "It feeds twelve of the fourteen and carries no molybdenum or nickel."
        " Some of its nitrogen is slow, or may be: it is not for weekly feeding.",
    ),
]


@pytest.mark.parametrize(("values", "slow", "sentence"), SENTENCES)
def test_one_sentence_says_what_it_feeds(values: dict[str, D], slow: Slow, sentence: str) -> None:
    assert feeds_sentence(blend([(1, from_label(values, slow=slow))])) == sentence


def test_a_blend_that_feeds_nothing_says_so() -> None:
    assert feeds_sentence(blend([(1, INERT)])).startswith("It feeds none of the fourteen and says nothing of")


def test_cost_is_exact() -> None:
    assert (
        cost_per_kg([(3, 100, 7), (1, 50, 3)])
        == Fraction(100 * 3, 7 * 4) * 10**6 + Fraction(50, 3 * 4) * 10**6
    )


@pytest.mark.parametrize("parts", [[], [(0, 1, 1)], [(1, 1, 0)], [(-1, 1, 1), (5, 1, 1)]])
def test_a_cost_of_nothing_is_refused(parts: list[tuple[int, int, int]]) -> None:
    with pytest.raises(ChemistryError):
        cost_per_kg(parts)


def test_amount_and_product_undo_each_other() -> None:
    assert nutrient_in(product_for(7, D("13.3")), D("13.3")) == 7
    with pytest.raises(ChemistryError):
        product_for(1, D(0))
