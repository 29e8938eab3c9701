"""Label factors and formulas beside publications and the other atomic-weight library (periodictable)."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal as D

import pytest

from blends.catalogue import CatalogueMaterial, material, materials
from blends.chemistry import OXIDES, element_shares, from_formula, nutrient_in, to_element, to_label
from gardens.nutrients import Nutrient

Deviation = Callable[..., None]

NORWAY = "Norwegian Food Safety Authority, “Hva er forskjell på P og P2O5?”, 2013"
CAROLINA = "North Carolina Department of Agriculture conversion factors, quoted"
PERIODICTABLE = "periodictable 2.1 (CIAAW abridged weights)"
NOFA = "NOFA soil manual, table 27"

PRINTED_FACTORS: list[tuple[str, str, str, str]] = [
    ("P2O5", "0.436", NORWAY, "FOUND"),
    ("K2O", "0.830", NORWAY, "FOUND"),
    ("MgO", "0.603", NORWAY, "FOUND"),
    ("CaO", "0.715", NORWAY, "FOUND"),
    ("SO3", "0.400", NORWAY, "FOUND"),
    ("Na2O", "0.742", "Regulation (EU) 2019/1009, Annex III, part II", "MEMORY"),
]


@pytest.mark.parametrize(("oxide", "factor", "source", "confidence"), PRINTED_FACTORS)
def test_oxide_factors_as_printed(
    deviation: Deviation, oxide: str, factor: str, source: str, confidence: str
) -> None:
    got = to_element(oxide, D(1))
    deviation(
        f"{oxide} to element", D(factor), got, source=source, confidence=confidence, tolerance=D("0.0006")
    )


@pytest.mark.parametrize("oxide", OXIDES)
def test_oxide_factors_by_the_other_library(deviation: Deviation, oxide: str) -> None:
    got = to_element(oxide, D(1))
    other = _by_periodictable(oxide)[str(OXIDES[oxide][0])]
    deviation(
        f"{oxide} to element", other, got, source=PERIODICTABLE, confidence="LIBRARY", tolerance=D("0.00004")
    )


def test_factors_as_an_extension_service_rounds_them(deviation: Deviation) -> None:
    rows = [
        ("P2O5 to P", "0.44", to_element("P2O5", D(1)), "0.005"),
        ("P to P2O5", "2.29", to_label(Nutrient.P, D(1)), "0.005"),
        ("K to K2O", "1.2", to_label(Nutrient.K, D(1)), "0.05"),
    ]
    for what, printed, got, tolerance in rows:
        deviation(what, D(printed), got, source=CAROLINA, confidence="FOUND (2nd)", tolerance=D(tolerance))


def test_a_worked_example_of_phosphate(deviation: Deviation) -> None:
    got = to_element("P2O5", D(4))
    deviation("4.0 % P2O5 as P", D("1.7"), got, source=NORWAY, confidence="FOUND", tolerance=D("0.05"))


BY_FORMULA = [entry for entry in materials() if entry.formula]


@pytest.mark.parametrize("entry", BY_FORMULA, ids=lambda entry: entry.code)
def test_every_formula_of_the_catalogue_by_the_other_library(
    deviation: Deviation, entry: CatalogueMaterial
) -> None:
    """Pure, in each nutrient, within 0.01 points; periodictable reads the formula with its own parser."""
    assert entry.formula
    pure = from_formula(entry.formula).percent
    other = _by_periodictable(entry.formula)
    for nutrient in Nutrient:
        if str(nutrient) in other:
            deviation(
                f"{nutrient} in {entry.formula}, percent",
                100 * other[str(nutrient)],
                pure[nutrient],
                source=PERIODICTABLE,
                confidence="LIBRARY",
                tolerance=D("0.01"),
            )
        else:
            assert pure[nutrient] == 0


PRODUCTS: list[tuple[str, str, str, str, str, str, str, str]] = [
    # material, nutrient, product, printed amount, tolerance, source, confidence, why the tolerance
    (
        *("disodium-octaborate", "B", "1.0", "0.2", "0.011"),
        *("University of Delaware, Weekly Crop Update, 7 September 2012", "FOUND", "sold at 20.5 % B"),
    ),
    (
        *("disodium-octaborate", "B", "1.5", "0.3", "0.016"),
        *("University of Delaware, Weekly Crop Update, 7 September 2012", "FOUND", "sold at 20.5 % B"),
    ),
    (
        *("sodium-molybdate-dihydrate", "Mo", "0.5", "0.2", "0.005"),
        *("University of Delaware, Weekly Crop Update, 7 September 2012", "FOUND", "printed to one digit"),
    ),
    (
        *("borax-decahydrate", "B", "9", "1", "0.03"),
        *("Michigan State University Extension, quoted", "FOUND (2nd)", "exact 1.02"),
    ),
    (
        *("potassium-chloride", "Cl", "100", "50", "5"),
        *("12 KAR 4:170 (Kentucky)", "FOUND", "the rule counts half; 60 % K2O holds 45.2"),
    ),
    (*("borax-decahydrate", "B", "100", "10.6", "0.8"), *(NOFA, "FOUND", "ours is the pure salt")),
    (
        *("borax-pentahydrate", "B", "100", "14", "0.9"),
        *("MSU Extension, quoted", "FOUND (2nd)", "granular borate"),
    ),
    (*("copper-sulfate-pentahydrate", "Cu", "100", "25", "0.05"), *(NOFA, "FOUND", "purity taken from it")),
    (*("ferrous-sulfate-heptahydrate", "Fe", "100", "19", "0.05"), *(NOFA, "FOUND", "purity taken from it")),
    (*("zinc-sulfate-monohydrate", "Zn", "100", "35", "0.05"), *(NOFA, "FOUND", "purity taken from it")),
    (*("zinc-sulfate-heptahydrate", "Zn", "100", "23", "0.6"), *(NOFA, "FOUND", "lowest of 23 to 35 %")),
]


@pytest.mark.parametrize(
    ("code", "nutrient", "product", "amount", "tolerance", "source", "confidence", "_why"), PRODUCTS
)
def test_what_a_catalogue_material_brings(
    deviation: Deviation,
    code: str,
    nutrient: str,
    product: str,
    amount: str,
    tolerance: str,
    source: str,
    confidence: str,
    _why: str,
) -> None:
    got = nutrient_in(D(product), material(code).analysis().percent[Nutrient(nutrient)])
    deviation(
        f"{nutrient} in {product} of {code}",
        D(amount),
        got,
        source=source,
        confidence=confidence,
        tolerance=D(tolerance),
    )


def test_shares_of_a_formula_sum_to_one(deviation: Deviation) -> None:
    shares = element_shares("5Ca(NO3)2·NH4NO3·10H2O")
    deviation(
        "shares of calcium ammonium nitrate decahydrate",
        1,
        sum(shares.values()),
        source="a whole is the sum of its parts",
        confidence="DERIVED",
        tolerance=D("1e-20"),
    )


def _by_periodictable(formula: str) -> dict[str, D]:
    """Mass fractions by symbol."""
    import periodictable

    # It reads 5Ca(NO3)2 as 5Ca + (NO3)2: what a count multiplies goes into brackets.
    parts = (re.fullmatch(r"([0-9]*)(.+)", part) for part in formula.split("·"))
    parsed = periodictable.formula("+".join(f"({part[2]}){part[1]}" for part in parts if part))
    return {
        str(element): D(str(element.mass)) * D(str(count)) / D(str(parsed.mass))
        for element, count in parsed.atoms.items()
    }
