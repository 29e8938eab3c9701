"""How much product for this nitrogen, and what a mixture holds: examples of extension services and textbooks.

Amounts are in the unit of the example (lb, kg); only the proportion is ours.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal as D

import pytest

from blends.chemistry import Analysis, Slow, blend, from_label, nutrient_in, printed_grade, product_for

Deviation = Callable[..., None]

COLORADO = "Colorado State University, GardenNotes 233, table 1"
UMASS = "University of Massachusetts, Fertilizing the Vegetable Garden"
NCDA = "North Carolina Department of Agriculture, A Homeowner's Guide to Fertilizer"
CLEMSON = "Clemson Extension, 27 March 2023"
SWIFT = "C. E. Swift, Colorado State University Extension, 2010"
TURF = "Four Steps in Fertilizer Calculations, teaching sheet"
TEXTBOOK = "Calculating Agriculture, pp. 111 and 183"
RULE_BOOK = "L. H. Bailey, Farm and Garden Rule-Book: pounds per ton for each percent"
WATTS = "R. L. Watts, Vegetable Gardening"
LECTURE = "agronomy lecture sheet, 120:60:40 kg/ha"
BAG = "extension leaflet on reading a bag, 80 lb of 5-10-15; its title is lost in our notes"


def grade(n: str | int, p2o5: str | int, k2o: str | int) -> Analysis:
    return from_label({"N": D(n), "P2O5": D(p2o5), "K2O": D(k2o)}, slow=Slow.NO)


# (nutrient wanted, percent in the product, printed product, half a printed digit, source, confidence)
PRODUCT_FOR: list[tuple[str, str, str, str, str, str]] = [
    ("2.5", "10", "25", "0", UMASS, "FOUND"),
    ("2.5", "5", "50", "0", UMASS, "FOUND"),
    *(
        (wanted, percent, printed, "0.05", COLORADO, "FOUND")
        for percent, row in [
            ("45", ("0.2", "0.4", "2.2")),
            ("33", ("0.3", "0.6", "3.0")),
            ("25", ("0.4", "0.8", "4.0")),
            ("21", ("0.5", "1.0", "4.8")),
            ("20", ("0.5", "1.0", "5.0")),
            ("18", ("0.6", "1.1", "5.6")),
            ("12", ("0.8", "1.7", "8.3")),
            ("10", ("1.0", "2.0", "10.0")),
            ("5", ("2.0", "4.0", "20.0")),
        ]
        for wanted, printed in zip(("0.1", "0.2", "1"), row, strict=True)
    ),
    ("1", "20", "5", "0", SWIFT, "FOUND"),
    ("1", "10", "10", "0", SWIFT, "FOUND"),
    ("80", "21", "380.95", "0.005", TEXTBOOK, "FOUND"),
    ("80", "45", "177.78", "0.005", TEXTBOOK, "FOUND"),
    ("15", "21", "71", "0.5", TURF, "FOUND"),
    ("11.25", "31", "36.3", "0.05", TURF, "FOUND"),
    ("3.75", "46", "8.2", "0.05", TURF, "FOUND"),
    ("160", "17", "941", "0.5", WATTS, "FOUND"),
    ("120", "46", "260.4", "1.3", LECTURE, "FOUND (2nd)"),  # printed with the rounded factor 2.17: 0.5 %
    ("60", "16", "375", "0", LECTURE, "FOUND (2nd)"),
    ("40", "60", "66.67", "0.005", LECTURE, "FOUND (2nd)"),
    ("60", "46", "130.43", "0.005", LECTURE, "FOUND (2nd)"),
    (
        "130",
        "46",
        "282.6",
        "0.05",
        "phosphate of diammonium phosphate, against a page that takes its 18 % N",
        "DERIVED",
    ),
    *(
        ("20", percent, printed, "0.5", RULE_BOOK, "FOUND")
        for percent, printed in [
            ("15.0", "133"),
            ("12.4", "161"),
            ("20", "100"),
            ("7", "286"),
            ("14", "143"),
            ("16", "125"),
            ("50", "40"),
            ("12", "167"),
            ("48", "42"),
        ]
    ),
]


@pytest.mark.parametrize(("wanted", "percent", "printed", "tolerance", "source", "confidence"), PRODUCT_FOR)
def test_how_much_product_for_this_nutrient(
    deviation: Deviation,
    wanted: str,
    percent: str,
    printed: str,
    tolerance: str,
    source: str,
    confidence: str,
) -> None:
    deviation(
        f"product at {percent} % for {wanted}",
        D(printed),
        product_for(D(wanted), grade(percent, 0, 0).label["N"]),
        source=source,
        confidence=confidence,
        tolerance=D(tolerance),
    )


# (mass of the bag, its grade, printed N, P2O5, K2O in it, source)
BAGS: list[tuple[str, tuple[str, str, str], tuple[str, str, str], str]] = [
    ("80", ("5", "10", "15"), ("4", "8", "12"), BAG),
    ("25", ("10", "10", "10"), ("2.5", "2.5", "2.5"), UMASS),
    ("50", ("5", "10", "10"), ("2.5", "5", "5"), UMASS),
    ("50", ("10", "10", "10"), ("5", "5", "5"), NCDA),
    ("50", ("8", "0", "24"), ("4", "0", "12"), NCDA),
    ("50", ("0", "45", "0"), ("0", "22.5", "0"), CLEMSON),
    ("1000", ("8", "10", "4"), ("80", "100", "40"), TEXTBOOK),
    ("50", ("35", "0", "0"), ("17.5", "0", "0"), TURF),
    ("2000", ("46", "0", "0"), ("920", "0", "0"), "NMSU Extension, Guide A-133: a ton of urea"),
    (
        "2000",
        ("82", "0", "0"),
        ("1640", "0", "0"),
        "Purdue Agronomy, R. L. Nielsen, 2002: a ton of anhydrous ammonia",
    ),
]


@pytest.mark.parametrize(("bag", "figures", "printed", "source"), BAGS)
def test_what_a_bag_holds(
    deviation: Deviation, bag: str, figures: tuple[str, str, str], printed: tuple[str, str, str], source: str
) -> None:
    label = grade(*figures).label
    for key, amount in zip(("N", "P2O5", "K2O"), printed, strict=True):
        deviation(
            f"{key} in {bag} of {'-'.join(figures)}",
            D(amount),
            nutrient_in(D(bag), label[key]),
            source=source,
            confidence="FOUND (2nd)" if source is BAG else "FOUND",
            tolerance=D("1e-9"),
        )


# (title, [(mass, grade)], printed grade or percents, tolerance, whole-number grade, source, confidence)
Mixture = list[tuple[str, tuple[str, str, str]]]
MIXTURES: list[tuple[str, Mixture, tuple[str, str, str], str, tuple[int, int, int], str, str]] = [
    (
        "a ton of 4-9-7",
        [
            ("100", ("15.5", "0", "0")),
            ("230", ("20.5", "0", "0")),
            ("250", ("7", "0", "0")),
            ("1140", ("0", "16", "0")),
            ("280", ("0", "0", "50")),
        ],
        ("4", "9", "7"),
        "0.13",
        (4, 9, 7),
        "W. B. Duryee, A Living from the Land",
        "FOUND",
    ),
    (
        "half a pound of 34-0-0 and a pound each of 0-46-0 and 0-0-60",
        [("0.5", ("34", "0", "0")), ("1", ("0", "46", "0")), ("1", ("0", "0", "60"))],
        ("7", "18", "24"),
        "0.41",
        (6, 18, 24),  # the page rounds nitrogen up, we print down
        "D. Kissel, University of Georgia soil laboratory, quoted",
        "FOUND (2nd)",
    ),
    (
        "259 lb for 3-10-6 at 300 lb an acre",
        [
            ("30", ("15.5", "0", "0")),
            ("50", ("9", "20", "0")),
            ("143", ("0", "14", "0")),
            ("36", ("0", "0", "50")),
        ],
        ("3.533", "11.591", "6.950"),  # 9.15, 30.02 and 18 lb in 259
        "0.001",
        (3, 11, 6),
        "A. Agee, Crops and Methods for Soil Improvement",
        "FOUND",
    ),
    (
        "850 kg of ammonium sulfate, superphosphate and chloride",
        [("150", ("21", "0", "0")), ("600", ("0", "20", "0")), ("100", ("0", "0", "60"))],
        ("3.71", "14.12", "7.06"),
        "0.005",
        (3, 14, 7),
        "course slides, inputs only",
        "DERIVED",
    ),
    (
        "100 kg of 19-19-19 with filler",
        [
            ("31.7", ("0", "0", "60")),
            ("41.3", ("18", "46", "0")),
            ("25.2", ("46", "0", "0")),
            ("1.8", ("0", "0", "0")),
        ],
        ("19", "19", "19"),
        "0.03",
        (19, 18, 19),  # 18.998 of phosphate: printed down
        "agronomist's answer page",
        "FOUND (2nd)",
    ),
    (
        "a ton of 10-10-10 from urea, diammonium phosphate and chloride",
        [
            ("264.65", ("46", "0", "0")),
            ("434.79", ("18", "46", "0")),
            ("333.34", ("0", "0", "60")),
            ("967.22", ("0", "0", "0")),
        ],
        ("10", "10", "10"),
        "0.001",
        (10, 10, 10),
        "own solution of the same materials",
        "DERIVED",
    ),
]


@pytest.mark.parametrize(
    ("title", "mixture", "printed", "tolerance", "whole", "source", "confidence"), MIXTURES
)
def test_what_a_mixture_is(
    deviation: Deviation,
    title: str,
    mixture: Mixture,
    printed: tuple[str, str, str],
    tolerance: str,
    whole: tuple[int, int, int],
    source: str,
    confidence: str,
) -> None:
    mixed = blend([(int(D(mass) * 1000), grade(*figures)) for mass, figures in mixture])
    for key, percent in zip(("N", "P2O5", "K2O"), printed, strict=True):
        deviation(
            f"{key} of {title}",
            D(percent),
            mixed.label[key],
            source=source,
            confidence=confidence,
            tolerance=D(tolerance),
        )
    assert printed_grade(mixed) == whole


def test_a_ton_of_15_12_4_holds_620_pounds_of_nutrients(deviation: Deviation) -> None:
    got = sum(nutrient_in(2000, percent) for percent in grade(15, 12, 4).label.values())
    deviation(
        "nutrients in a ton of 15-12-4", 620, got, source=TEXTBOOK, confidence="FOUND", tolerance=D("1e-9")
    )
