"""Conversions and areas: what the product makes of a text, against figures published elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from gardens import quantities as q
from gardens.units import registry

HB44 = "NIST Handbook 44, Appendix C, as tabulated in a constants library"
ARIZONA = "Arizona Department of Weights and Measures, conversion tables (NIST HB 44 App. C)"
FACTBOOK = "World Factbook, Appendix G, weights and measures"
FOURMILAB = "Fourmilab units table"
LSU = "LSU AgCenter, Fertilizer Conversion Table for Small Area"
NMSU = "New Mexico State University, Guide H-119, Table 1"
TENNESSEE = "University of Tennessee Extension, three rows side-dressed"
MARYLAND = "University of Maryland Extension, home garden nitrogen"

READ: dict[str, Callable[[str], Fraction]] = {
    "g": lambda text: Fraction(q.parse_mass(text).milligrams, 1000),
    "mL": lambda text: Fraction(q.parse_volume(text).microlitres, 1000),
    "mm": lambda text: Fraction(q.parse_length(text).millimetres),
    "m²": lambda text: Fraction(q.parse_measure(text).total_mm2, 10**6),
    "ft²": lambda text: q.parse_measure(text).total_mm2 / q.FT2_MM2,
    "g/m²": lambda text: Fraction(q.parse_rate(text).ug_per_m2, 10**6),
}

# text, published figure, its unit, tolerance (half a last printed digit, theirs or ours), source, confidence
PUBLISHED: list[tuple[str, str, str, str, str, str]] = [
    ("1000 lb", "453592.37", "g", "0", HB44, "LIBRARY"),
    ("1000 oz", "28349.523", "g", "0.0005", HB44, "LIBRARY"),
    ("16 oz", "453.592", "g", "0.0005", HB44, "LIBRARY"),
    ("1 lb", "454", "g", "0.5", "NMSU Guide H-119: 454 g = 1 lb", "FOUND"),
    ("1 gal", "3785.411784", "mL", "0.0005", HB44, "LIBRARY"),
    ("1 gal", "3785.412", "mL", "0.0005", FOURMILAB, "FOUND (2nd)"),
    ("1 quart", "946.3", "mL", "0.06", ARIZONA, "FOUND"),
    ("1 pint", "473.2", "mL", "0.05", ARIZONA, "FOUND"),
    ("1 cup", "236.6", "mL", "0.05", ARIZONA, "FOUND"),
    ("1 tbsp", "14.78676", "mL", "0.0005", FOURMILAB, "FOUND (2nd)"),
    ("1 tsp", "4.928922", "mL", "0.0005", FOURMILAB, "FOUND (2nd)"),
    ("1 fl oz", "29.57353", "mL", "0.0005", FOURMILAB, "FOUND (2nd)"),
    ("1000 tsp", "4928.92159375", "mL", "0.0005", HB44, "LIBRARY"),
    ("1000 tbsp", "14786.76478125", "mL", "0.0005", HB44, "LIBRARY"),
    ("1000 ft", "304800", "mm", "0", "NIST SP 811: 1 ft = 0.3048 m", "LIBRARY"),
    ("1000 in", "25400", "mm", "0", "NIST SP 811: 1 in = 2.54 cm", "LIBRARY"),
    ("1 acre", "4046.8564224", "m²", "0.0000005", FACTBOOK, "FOUND"),
    ("1 acre", "43560", "ft²", "0.00001", FACTBOOK, "FOUND"),
    ("4840 sq yd", "4046.8564224", "m²", "0.0000005", FACTBOOK, "FOUND"),
    ("0.40468564224 ha", "4046.8564224", "m²", "0.0000005", FACTBOOK, "FOUND"),
    ("1000 ft²", "92.90304", "m²", "0", "NIST SP 811: 1 ft² = 0.09290304 m²", "LIBRARY"),
    ("1 lb/acre", "0.112085116", "g/m²", "0.0000005", "arithmetic of a constants library", "DERIVED"),
    ("1 lb/1000 ft²", "4.882427636", "g/m²", "0.0000005", HB44, "LIBRARY"),
    ("1 lb/100 ft²", "48.824276", "g/m²", "0.0000005", HB44, "LIBRARY"),
    ("2 lb/1000 ft²", "9.76", "g/m²", "0.005", MARYLAND, "FOUND (2nd)"),
    ("3 lb/1000 ft²", "14.65", "g/m²", "0.005", MARYLAND, "FOUND (2nd)"),
    (
        "3 × 100 ft row 36 in apart",
        "900",
        "ft²",
        "0.0001",
        TENNESSEE,
        "FOUND (2nd)",
    ),
    ("4 x 8 ft", "2.973", "m²", "0.0005", "a hand computation of the worked examples", "DERIVED"),
    ("2 × 4 x 8 ft", "5.946", "m²", "0.0005", "a hand computation of the worked examples", "DERIVED"),
]


@pytest.mark.parametrize(("text", "published", "unit", "tolerance", "source", "confidence"), PUBLISHED)
def test_a_text_comes_to_the_published_figure(
    text: str, published: str, unit: str, tolerance: str, source: str, confidence: str, deviation: Any
) -> None:
    deviation(
        f"{text} in {unit}",
        Decimal(published),
        READ[unit](text),
        source=source,
        confidence=confidence,
        tolerance=Decimal(tolerance),
    )


# lb/acre -> oz per 100 ft² and lb, oz per 1000 ft², whole ounces
ROWS_4_11: list[tuple[str, int, str]] = [
    ("100", 4, "2 lb 5 oz"),
    ("200", 7, "4 lb 9 oz"),
    ("500", 18, "11 lb 8 oz"),
    ("800", 29, "18 lb 6 oz"),
    ("1000", 37, "22 lb 15 oz"),
]


@pytest.mark.parametrize(("pounds", "ounces_per_100", "per_1000"), ROWS_4_11)
def test_pounds_an_acre_on_a_small_area(
    pounds: str, ounces_per_100: int, per_1000: str, deviation: Any
) -> None:
    rate = Fraction(q.parse_rate(f"{pounds} lb/acre").ug_per_m2, 10**9)  # mg/mm²
    for text, area in ((f"{ounces_per_100} oz", "100 ft²"), (per_1000, "1000 ft²")):
        deviation(
            f"{pounds} lb/acre on {area}, oz",
            q.parse_mass(text).milligrams / q.OZ_MG,
            rate * q.parse_measure(area).area_mm2 / q.OZ_MG,
            source=NMSU,
            confidence="FOUND",
            tolerance=Fraction(51, 100),
        )


def test_closer_beds_need_the_rate_of_an_acre_in_proportion(deviation: Any) -> None:
    wide, narrow = (q.parse_measure(f"100 ft row {feet} ft apart").area_mm2 for feet in (6, 4))
    source = "University of Florida IFAS, CV227: 4 ft for 6 ft spacing is x 1.5"
    deviation(
        "6 ft against 4 ft rows",
        Decimal("1.5"),
        Fraction(wide, narrow),
        source=source,
        confidence="FOUND",
        tolerance=Decimal("1e-6"),
    )


def test_spoons_and_cups_make_a_pint(deviation: Any) -> None:
    for text in ("2 cups", "32 tbsp", "96 tsp", "16 fl oz"):
        got = q.parse_volume(text).microlitres
        deviation(
            f"{text} in a pint, µL",
            q.parse_volume("1 pint").microlitres,
            got,
            source=LSU,
            confidence="FOUND",
            tolerance=0,
        )


def test_the_acre_is_the_international_one_not_the_survey_acre(deviation: Any) -> None:
    ours = READ["m²"]("1 acre")
    survey = Fraction(registry().Quantity(Decimal(1), "acre").to("metre ** 2").magnitude)
    deviation(
        "how much larger a units library's own acre is, ppm",
        4,
        (survey / ours - 1) * 10**6,
        source="the library's definition, on the retired US survey foot: 4046.87261 m²",
        confidence="LIBRARY",
        tolerance=Decimal("0.01"),
    )
    assert round(survey, 5) == Fraction("4046.87261")


def test_the_constants_are_what_the_texts_come_to() -> None:
    assert registry() is registry()
    assert Fraction(q.ACRE_M2) == 43560 * q.FT2_MM2 / 10**6
    assert Fraction(16 * 28349523125, 10**6) == q.LB_MG == 16 * q.OZ_MG
    assert q.GAL_UL == Fraction("3785411.784") == 16 * q.CUP_UL == 256 * q.TBSP_UL == 768 * q.TSP_UL
    assert Fraction("4882.427636") == round(q.G_M2_PER_LB_1000FT2 * 10**9) / Fraction(10**6)
