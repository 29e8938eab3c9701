"""Pails, weigh-outs, readings, release, counting and buying."""

from __future__ import annotations

from decimal import Decimal as D
from fractions import Fraction

import pytest

from blends.batching import (
    KG,
    Bag,
    BatchingError,
    Doubt,
    Fitness,
    Held,
    Limit,
    Never,
    Part,
    Releasable,
    Scale,
    Target,
    count_band,
    fitness,
    judge,
    question,
    scaled,
    shopping,
    split,
    tolerance,
    weigh_outs,
)
from blends.chemistry import Analysis, BlendAnalysis, Slow, blend, from_formula, from_label

G = 1000  # milligrams

COMPOUND = Part("compound", "Compound", 10_000 * G, division_mg=5 * G)
MAGNESIUM = Part("magnesium", "Magnesium salt", 1_500 * G, division_mg=G)
TRACE = Part("trace", "Trace concentrate", 150 * G, division_mg=100, trace=True, boron=D(1))
INERT = Part("inert", "Drying agent", 350 * G, division_mg=G, inert=True)
RECIPE = (COMPOUND, MAGNESIUM, TRACE, INERT)

CONTENTS: dict[str, Analysis] = {
    "compound": from_label({"N": D(16), "P2O5": D(16), "K2O": D(16)}, slow=Slow.NO),
    "magnesium": from_formula("MgSO4·7H2O"),
    "trace": from_label({"B": D(1), "Zn": D(4), "Fe": D(6)}, slow=Slow.NO),
    "inert": from_label({}, slow=Slow.NO),
}


def made_of(**grams: float | str) -> BlendAnalysis:
    return blend([(int(D(str(mass)) * G), CONTENTS[key]) for key, mass in grams.items()])


DESIGN = made_of(compound=10_000, magnesium=1_500, trace=150, inert=350)


# --- pails --------------------------------------------------------------------------------------------------

SPLITS: list[tuple[int, dict[str, int | D], tuple[int, ...], Limit]] = [
    (12 * KG, {}, (6 * KG,) * 2, Limit.VOLUME),  # 20 L × 60 % × 0.95 = 11.4 kg
    (11_400_000, {}, (11_400_000,), Limit.VOLUME),
    (11_400_001, {}, (5_700_001, 5_700_000), Limit.VOLUME),
    (1, {}, (1,), Limit.VOLUME),
    (46 * KG, {"pail_litres": D(60)}, (23 * KG,) * 2, Limit.LIFT),
    (10, {"lift_mg": 4}, (4, 3, 3), Limit.LIFT),
    (20 * KG, {"density_g_ml": D("1.1"), "fill": D(1)}, (20 * KG,), Limit.VOLUME),
]


@pytest.mark.parametrize(("mass", "pail", "masses", "limited_by"), SPLITS)
def test_a_batch_is_split_into_the_fewest_equal_pails(
    mass: int, pail: dict[str, int], masses: tuple[int, ...], limited_by: Limit
) -> None:
    pails = split(mass, **pail)  # type: ignore[arg-type]
    assert (pails.masses_mg, pails.limited_by) == (masses, limited_by)


@pytest.mark.parametrize(
    ("mass", "pail"),
    [
        (0, {}),
        (-1, {}),
        (1, {"pail_litres": D(0)}),
        (1, {"fill": D("1.01")}),
        (1, {"fill": D("-0.5")}),
        (1, {"density_g_ml": D(0)}),
        (1, {"lift_mg": 0}),
        (1, {"pail_litres": D("1e-9")}),
    ],
)
def test_no_mass_or_no_pail_is_refused(mass: int, pail: dict[str, D]) -> None:
    with pytest.raises(BatchingError):
        split(mass, **pail)  # type: ignore[arg-type]


def test_a_recipe_is_scaled_without_losing_a_milligram() -> None:
    assert scaled([1, 1, 1], 100) == (34, 33, 33)
    assert scaled([part.mass_mg for part in RECIPE], 6 * KG) == (5_000_000, 750_000, 75_000, 175_000)


# --- weigh-outs ---------------------------------------------------------------------------------------------


def _masses(parts: tuple[Part, ...], pail_mg: int) -> dict[str, int]:
    return {target.part.key: target.target_mg for target in weigh_outs(parts, pail_mg)}


def test_each_weigh_out_is_on_its_scale_and_the_inert_one_takes_the_difference() -> None:
    masses = _masses(RECIPE, 5_273_456)
    assert (masses["compound"], masses["magnesium"], masses["trace"]) == (4_395_000, 659_000, 65_900)
    assert masses["inert"] == 5_273_456 - 4_395_000 - 659_000 - 65_900
    assert sum(masses.values()) == 5_273_456


def test_without_an_inert_one_the_largest_takes_it() -> None:
    masses = _masses((COMPOUND, MAGNESIUM, TRACE), 5_273_456)
    assert masses["magnesium"] % G == masses["trace"] % 100 == 0
    assert sum(masses.values()) == 5_273_456
    assert abs(masses["compound"] - 5_273_456 * 10_000 // 11_650) < G


def test_an_inert_one_too_small_for_the_difference_leaves_it_to_the_largest() -> None:
    """25 mg of drying agent cannot give up the grams that 5 g steps of the compound brought."""
    small = Part("inert", "Drying agent", 50, division_mg=G, inert=True)
    masses = _masses((COMPOUND, MAGNESIUM, small), 5_749_125)
    assert masses == {"compound": 4_999_100, "magnesium": 750_000, "inert": 25}


def test_what_is_less_than_half_a_division_does_not_vanish() -> None:
    coarse = Part("trace", "Trace concentrate", 150 * G, division_mg=KG, trace=True)
    assert _masses((COMPOUND, MAGNESIUM, coarse, INERT), 6 * KG)["trace"] == 75 * G


def test_scales_too_coarse_for_the_pail_leave_every_target_exact() -> None:
    """Seven of eight rounded up from 12.5 to 20 g would leave the eighth less than nothing."""
    parts = tuple(Part(str(n), f"Component {n}", 1, division_mg=20 * G) for n in range(8))
    assert set(_masses(parts, 100 * G).values()) == {12_500}


def test_large_ones_come_first_and_trace_last_from_the_smallest() -> None:
    borax = Part("borax", "Borax", 3 * G, division_mg=10, trace=True)
    order = [target.part.key for target in weigh_outs((borax, TRACE, INERT, MAGNESIUM, COMPOUND), 6 * KG)]
    assert order == ["compound", "magnesium", "inert", "borax", "trace"]


BAD_RECIPES: list[tuple[tuple[Part, ...], int]] = [
    ((), 1),
    (RECIPE, 0),
    ((Part("a", "A", 0, 1),), 1),
    ((Part("a", "A", -1, 1), COMPOUND), 1),
    ((Part("a", "A", 1, 0),), 1),
    ((COMPOUND, COMPOUND), 1),
]


@pytest.mark.parametrize(("parts", "pail"), BAD_RECIPES)
def test_a_recipe_that_cannot_be_weighed_is_refused(parts: tuple[Part, ...], pail: int) -> None:
    with pytest.raises(BatchingError):
        weigh_outs(parts, pail)


# --- readings -----------------------------------------------------------------------------------------------

TOLERANCES: list[tuple[int, int, bool, int]] = [
    (5_000 * G, 5 * G, False, 100 * G),
    (100 * G, 5 * G, False, 5 * G),
    (65_900, 100, True, 1_977),
    (1 * G, 100, True, 100),
]


@pytest.mark.parametrize(("target", "division", "trace", "allowed"), TOLERANCES)
def test_a_tolerance_is_a_division_or_a_share(target: int, division: int, trace: bool, allowed: int) -> None:
    assert tolerance(target, division, trace=trace) == allowed


PAIL = weigh_outs(RECIPE, 5_272_000)
BY_KEY = {target.part.key: target for target in PAIL}


def ask(key: str, reading: int) -> tuple[Doubt, ...]:
    asked = question(reading, BY_KEY[key], PAIL)
    return asked.doubts if asked else ()


READINGS: list[tuple[str, int, tuple[Doubt, ...]]] = [
    ("trace", 65_900, ()),
    ("trace", 67_800, ()),
    ("trace", 64_000, ()),
    ("trace", 67_900, (Doubt.OUTSIDE,)),
    ("trace", 659_000, (Doubt.ANOTHER, Doubt.TEN_TIMES)),
    ("trace", 6_600, (Doubt.A_TENTH,)),
    ("trace", 1_868_200, (Doubt.UNIT,)),  # ounces typed, grams shown
    ("trace", 2_300, (Doubt.UNIT,)),  # grams typed, ounces shown
    ("magnesium", 65_900, (Doubt.ANOTHER, Doubt.A_TENTH)),
    ("magnesium", 1_453_000, (Doubt.UNIT,)),  # kilograms typed, pounds shown
    ("magnesium", 300_000, (Doubt.UNIT,)),  # pounds typed, kilograms shown
    ("magnesium", 154_000, (Doubt.ANOTHER,)),
    ("magnesium", 4_390_000, (Doubt.ANOTHER,)),
    ("compound", 43_900_000, (Doubt.TEN_TIMES,)),
    ("compound", 4_395_000, ()),
    ("compound", 0, (Doubt.NOTHING,)),
    ("compound", -5_000, (Doubt.NOTHING,)),
    ("inert", 300_000, (Doubt.OUTSIDE,)),
]


@pytest.mark.parametrize(("key", "reading", "doubts"), READINGS)
def test_a_reading_outside_is_asked_about_by_what_it_looks_like(
    key: str, reading: int, doubts: tuple[Doubt, ...]
) -> None:
    assert ask(key, reading) == doubts


def test_on_a_coarse_scale_a_tenth_is_what_it_can_show_of_it() -> None:
    coarse = Target(Part("trace", "Trace concentrate", 1, division_mg=G, trace=True), 65 * G)
    asked = question(7 * G, coarse)  # of 6.5 g
    assert asked and asked.doubts == (Doubt.A_TENTH,)


def test_two_components_exchanged_are_caught_though_every_total_is_right() -> None:
    """659 g of magnesium salt and 65.9 g of trace concentrate, the one for the other."""
    right = made_of(compound=4393, magnesium=659, trace="65.9", inert=154)
    wrong = made_of(compound=4393, magnesium="65.9", trace=659, inert=154)
    assert right.percent["N"] == wrong.percent["N"]  # type: ignore[index]

    trace = question(659_000, BY_KEY["trace"], PAIL)
    magnesium = question(65_900, BY_KEY["magnesium"], PAIL)
    assert trace and trace.another is BY_KEY["magnesium"] and trace.boron_multiple == 10
    assert magnesium and magnesium.another is BY_KEY["trace"]
    assert trace.text == (
        "659 g is 593.1 g over. Trace concentrate should be 65.9 g ± 1.9 g."
        " It fits Magnesium salt (659 g in this pail): is it the right bag? It is ten times its own target."
        " Boron in this pail would be 10 times the design."
    )
    assert isinstance(judge(DESIGN, wrong), Never)
    assert isinstance(judge(DESIGN, right), Releasable)


def test_a_unit_slip_is_named_with_both_units() -> None:
    asked = question(1_453_000, BY_KEY["magnesium"], PAIL)
    assert asked and (asked.typed, asked.shown) == ("kg", "lb")
    assert asked.text.endswith("It would fit if the scale showed lb where kg was typed.")


def test_boron_is_told_only_where_it_is_borne() -> None:
    zinc = Target(Part("zinc", "Zinc sulfate", 1, 100, trace=True), 20 * G)
    asked = question(40 * G, zinc, PAIL)
    assert asked and asked.boron_multiple is None and "Boron" not in asked.text


def test_boron_counts_what_the_other_components_bring() -> None:
    borax = Target(Part("borax", "Borax", 1, 100, trace=True, boron=D(10)), 6_590)
    asked = question(13_180, borax, [BY_KEY["trace"]])
    assert asked and asked.boron_multiple == Fraction(3, 2)


FITNESS: list[tuple[int, Scale, bool, int, Fitness]] = [
    (5_000 * G, Scale(5 * G, 100 * G, 30 * KG), False, 0, Fitness.FINE),
    (65_900, Scale(5 * G, 100 * G, 30 * KG), True, 0, Fitness.BELOW_MINIMUM),
    (165_000, Scale(5 * G, 100 * G, 30 * KG), True, 0, Fitness.TOO_COARSE),
    (166_667, Scale(5 * G, 100 * G, 30 * KG), True, 0, Fitness.FINE),
    (250 * G, Scale(5 * G, 100 * G, 30 * KG), False, 0, Fitness.FINE),
    (249 * G, Scale(5 * G, 100 * G, 30 * KG), False, 0, Fitness.TOO_COARSE),
    (65_900, Scale(100, 2 * G, 500 * G), True, 0, Fitness.FINE),
    (65_900, Scale(100, 2 * G, 500 * G), True, 434_101, Fitness.OVER_MAXIMUM),
    (65_900, Scale(100, 2 * G, 500 * G), True, 434_100, Fitness.FINE),
]


@pytest.mark.parametrize(("target", "scale", "trace", "tare", "told"), FITNESS)
def test_a_scale_that_will_not_do_is_told(
    target: int, scale: Scale, trace: bool, tare: int, told: Fitness
) -> None:
    assert fitness(target, scale, trace=trace, tare_mg=tare) is told


# --- release ------------------------------------------------------------------------------------------------

EDGES: list[tuple[dict[str, D], dict[str, D], tuple[str, ...]]] = [
    ({"N": D(10)}, {"N": D("9.5")}, ()),
    ({"N": D(10)}, {"N": D("10.5")}, ()),
    ({"N": D(10)}, {"N": D("9.499")}, ("off_design",)),
    ({"N": D(10), "Zn": D(1)}, {"N": D(10), "Zn": D("1.1")}, ()),
    ({"N": D(10), "Zn": D(1)}, {"N": D(10), "Zn": D("0.899")}, ("off_design",)),
    ({"N": D(10), "Zn": D(1)}, {"N": D(10)}, ("not_declared",)),
    ({"N": D(10)}, {"N": D(10), "Zn": D(1)}, ()),
    ({"N": D(10)}, {"N": D(10), "B": D("0.01")}, ("new",)),
    ({"N": D(10), "Ni": D(0)}, {"N": D(10), "Ni": D("0.01")}, ("new",)),
    ({"N": D(10), "B": D("0.01")}, {"N": D(10), "B": D("0.015")}, ("off_design",)),
    ({"N": D(10), "B": D("0.01")}, {"N": D(10), "B": D("0.01500001")}, ("never boron",)),
    ({"N": D(10), "B": D(0)}, {"N": D(10), "B": D("0.00001")}, ("never boron",)),
    ({"N": D(10), "B": D("0.01")}, {"N": D(10), "B": D("0.001")}, ("off_design",)),
]


@pytest.mark.parametrize(("design", "made", "codes"), EDGES)
def test_a_pail_is_judged_by_what_went_in(
    design: dict[str, D], made: dict[str, D], codes: tuple[str, ...]
) -> None:
    verdict = judge(*(blend([(1, from_label(x, slow=Slow.NO))]) for x in (design, made)))
    if isinstance(verdict, Never):
        assert codes == ("never boron",)
    else:
        assert codes == tuple(r.code for r in getattr(verdict, "reasons", ()))
        assert isinstance(verdict, Held if codes else Releasable)


def test_open_questions_and_missing_witnesses_hold_a_pail() -> None:
    assert judge(DESIGN, DESIGN) == Releasable()
    held = judge(DESIGN, DESIGN, open_questions=2, unwitnessed=1)
    assert isinstance(held, Held)
    assert [reason.text for reason in held.reasons] == [
        "2 questions on readings are still open.",
        "One trace weighing has not been looked at by a second person.",
    ]


def test_a_lot_with_slow_nitrogen_holds_a_pail() -> None:
    coated = blend([(1, from_label({"N": D(10)}, slow=Slow.YES))])
    plain = blend([(1, from_label({"N": D(10)}, slow=Slow.NO))])
    held = judge(plain, coated)
    assert isinstance(held, Held) and [reason.code for reason in held.reasons] == ["slow"]


def test_a_reason_says_how_far_off_it_is() -> None:
    held = judge(DESIGN, made_of(compound=9_000, magnesium=1_500, trace=150, inert=1_350))
    assert isinstance(held, Held)
    assert held.reasons[0].text == "Nitrogen is 10 % below the design; up to 5 % may go out."


# --- counting and buying ------------------------------------------------------------------------------------


def test_a_band_grows_with_the_root_of_the_weighings() -> None:
    one, four = count_band([G]), count_band([G] * 4)
    assert (one.band_mg, four.band_mg, four.weighings) == (577, 1154, 4)
    assert count_band([]).band_mg == 0
    assert count_band([3, 4, 12]).band_mg == 7  # sqrt(169 / 3)


def test_a_difference_is_within_weighing_or_not() -> None:
    band = count_band([G] * 40)
    assert band.holds(3_651) and band.holds(-3_651) and band.holds(0)
    assert not band.holds(3_652) and not band.holds(-3_652)


def test_a_negative_division_is_refused() -> None:
    with pytest.raises(BatchingError):
        count_band([-1])


BUYING: list[tuple[int, int, Bag | None, tuple[int, int | None, int]]] = [
    (10 * KG, 0, Bag(25 * KG, 2900), (1, 2900, 15 * KG)),
    (10 * KG, 10 * KG, Bag(25 * KG, 2900), (0, 0, 0)),
    (10 * KG, 9_999_999, Bag(25 * KG, 2900), (1, 2900, 24_999_999)),
    (50 * KG, 0, Bag(25 * KG, 2900), (2, 5800, 0)),
    (50_000_001, 0, Bag(25 * KG, 2900), (3, 8700, 24_999_999)),
    (1, 0, Bag(25 * KG), (1, None, 25 * KG - 1)),
    (0, 0, None, (0, 0, 0)),
    (1 * KG, 3 * KG, None, (0, 0, 2 * KG)),
]


@pytest.mark.parametrize(("need", "stock", "bag", "bought"), BUYING)
def test_whole_bags_are_bought_for_what_the_shed_lacks(
    need: int, stock: int, bag: Bag | None, bought: tuple[int, int | None, int]
) -> None:
    (line,) = shopping({"x": need}, {"x": stock}, {"x": bag} if bag else {})
    assert (line.bags, line.cost_minor, line.left_mg) == bought


def test_a_need_without_a_bag_names_it() -> None:
    with pytest.raises(BatchingError) as refusal:
        shopping({"compound": 1, "trace": 1}, {}, {"compound": Bag(1)})
    assert refusal.value.field == "trace"


def test_less_than_nothing_is_refused() -> None:
    with pytest.raises(BatchingError):
        shopping({"x": -1}, {}, {})
    with pytest.raises(BatchingError):
        shopping({"x": 1}, {"x": -1}, {})
