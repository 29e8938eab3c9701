"""The crop catalogue against published tables: salt, boron, feeder classes, days. Disagreements are kept, by
name.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest

from schedules.crops import BoronClass, FeederClass, crop

Deviation = Callable[..., None]
SALT = "USDA-ARS Salinity Laboratory, Relative Salt Tolerance of Herbaceous Crops (Maas 1990)"
BORON = "USDA-ARS Riverside, Boron Tolerance Limits for Agricultural Crops (Maas 1990)"
CLASSES = "Univ. of Maryland Extension, Fertilizing Vegetables (Traunfeld)"
FAO = "FAO-56 Table 11 (pyfao56 1.4.3)"

THRESHOLDS = [
    ("asparagus", "4.1", "T"),
    ("snap-bean", "1.0", "S"),
    ("beet", "4.0", "MT"),
    ("broccoli", "2.8", "MS"),
    ("cabbage", "1.8", "MS"),
    ("carrot", "1.0", "S"),
    ("celery", "1.8", "MS"),
    ("sweet-corn", "1.7", "MS"),
    ("cucumber", "2.5", "MS"),
    ("eggplant", "1.1", "MS"),
    ("lettuce", "1.3", "MS"),
    ("pepper", "1.5", "MS"),
    ("potato", "1.7", "MS"),
    ("radish", "1.2", "MS"),
    ("spinach", "2.0", "MS"),
    ("zucchini", "4.7", "MT"),
    ("strawberry", "1.0", "S"),
    ("sweet-potato", "1.5", "MS"),
    ("tomato", "2.5", "MS"),
    ("cherry-tomato", "1.7", "MS"),
    ("turnip", "0.9", "MS"),
    ("onion", "1.2", "S"),
]
RATED_ONLY = [
    ("brussels-sprouts", "MS"),
    ("cauliflower", "MS"),
    ("kale", "MS"),
    ("kohlrabi", "MS"),
    ("winter-squash", "MS"),
    ("watermelon", "MS"),
    ("muskmelon", "MS"),
    ("okra", "S"),
    ("parsnip", "S"),
    ("pea", "S"),
]
BORON_CLASSES = [
    ("blackberry", BoronClass.VERY_SENSITIVE, "FOUND"),
    ("onion", BoronClass.SENSITIVE, "FOUND"),
    ("garlic", BoronClass.SENSITIVE, "FOUND"),
    ("sweet-potato", BoronClass.SENSITIVE, "FOUND"),
    ("sunflower", BoronClass.SENSITIVE, "FOUND"),
    ("strawberry", BoronClass.SENSITIVE, "FOUND"),
    ("snap-bean", BoronClass.SENSITIVE, "FOUND"),
    ("lima-bean", BoronClass.SENSITIVE, "FOUND"),
    ("broccoli", BoronClass.MODERATELY_SENSITIVE, "FOUND"),
    ("pepper", BoronClass.MODERATELY_SENSITIVE, "FOUND"),
    ("pea", BoronClass.MODERATELY_SENSITIVE, "FOUND"),
    ("carrot", BoronClass.MODERATELY_SENSITIVE, "FOUND"),
    ("potato", BoronClass.MODERATELY_SENSITIVE, "FOUND"),
    ("cucumber", BoronClass.MODERATELY_SENSITIVE, "FOUND"),
    ("radish", BoronClass.MODERATELY_SENSITIVE, "FOUND"),
    ("lettuce", BoronClass.MODERATELY_SENSITIVE, "MEMORY"),
    ("cabbage", BoronClass.MODERATELY_TOLERANT, "MEMORY"),
    ("turnip", BoronClass.MODERATELY_TOLERANT, "MEMORY"),
    ("muskmelon", BoronClass.MODERATELY_TOLERANT, "MEMORY"),
    ("cauliflower", BoronClass.MODERATELY_TOLERANT, "MEMORY"),
    ("tomato", BoronClass.TOLERANT, "MEMORY"),
    ("beet", BoronClass.TOLERANT, "MEMORY"),
    ("celery", BoronClass.VERY_TOLERANT, "MEMORY"),
    ("asparagus", BoronClass.VERY_TOLERANT, "MEMORY"),
]
H, M, L, P = FeederClass.HEAVY, FeederClass.MEDIUM, FeederClass.LIGHT, FeederClass.LEGUME
FEEDERS = [
    (
        "Heavy",
        H,
        [
            "beet",
            "chard",
            "spinach",
            "brussels-sprouts",
            "broccoli",
            "cauliflower",
            "okra",
            "onion",
            "garlic",
        ],
    ),
    ("Heavy", H, ["sweet-corn", "tomato", "tomatillo", "pepper", "eggplant", "potato"]),
    ("Medium-heavy, the lower taken", M, ["lettuce", "asparagus", "rhubarb"]),
    (
        "Medium",
        M,
        ["cabbage", "kale", "turnip", "collards", "cucumber", "winter-squash", "zucchini", "muskmelon"],
    ),
    ("Medium", M, ["sweet-potato"]),
    ("Light-medium, the lower taken", L, ["carrot", "leek"]),
    ("Light-medium, but no nitrogen on legumes (CSU 7.247)", P, ["snap-bean", "pea"]),
    ("Light", L, ["radish"]),
]
DISAGREE = [
    ("cabbage", FeederClass.HEAVY, "Univ. of Georgia, Prevent garden problems", "FOUND"),
    ("tomato", FeederClass.LIGHT, "CSU GardenNotes 711: tomatoes are lower users", "FOUND (2nd)"),
    ("cucumber", FeederClass.LIGHT, "CSU GardenNotes 711: vine crops are lower users", "FOUND (2nd)"),
    ("snap-bean", FeederClass.LIGHT, "Univ. of Georgia, Prevent garden problems", "FOUND"),
]
SEASONS = [  # the row nearest to a temperate garden's
    ("tomato", "transplanting", 145, "tomato, April-May, mediterranean"),
    ("pepper", "transplanting", 125, "sweet peppers, April-June"),
    ("eggplant", "transplanting", 130, "eggplant"),
    ("celery", "transplanting", 125, "celery, April"),
    ("broccoli", "transplanting", 80, "crucifers, April"),
    ("cabbage", "transplanting", 95, "crucifers, February"),
    ("cauliflower", "transplanting", 95, "crucifers, February"),
    ("lettuce", "sowing", 75, "lettuce, April"),
    ("spinach", "sowing", 65, "spinach"),
    ("radish", "sowing", 35, "radish, March-April"),
    ("carrot", "sowing", 100, "carrots"),
    ("beet", "sowing", 90, "beets, table"),
    ("onion", "sowing", 150, "onion, dry, April"),
    ("spring-onion", "sowing", 70, "onion, green, April-May"),
    ("cucumber", "sowing", 105, "cucumber"),
    ("zucchini", "sowing", 100, "squash, zucchini"),
    ("winter-squash", "sowing", 120, "pumpkin, winter squash, June, Europe"),
    ("muskmelon", "sowing", 120, "sweet melons, May"),
    ("watermelon", "sowing", 110, "water melons, April"),
    ("sweet-corn", "sowing", 80, "maize, sweet, May-June"),
    ("snap-bean", "sowing", 90, "beans, green"),
    ("pea", "sowing", 90, "peas, May, Europe"),
    ("potato", "sowing", 130, "potato, May, continental"),
    ("sweet-potato", "sowing", 150, "sweet potato, April"),
]


@pytest.mark.parametrize(("code", "threshold", "rating"), THRESHOLDS)
def test_salt_thresholds(code: str, threshold: str, rating: str, deviation: Deviation) -> None:
    entry = crop(code)
    assert entry.salt_threshold is not None and entry.salt_rating is not None
    deviation(
        f"{code}: salt threshold, dS/m",
        Decimal(threshold),
        entry.salt_threshold.value,
        source=SALT,
        confidence="FOUND",
        tolerance=0,
    )
    assert entry.salt_rating.value == rating
    assert entry.salt_threshold.confidence == "FOUND"


@pytest.mark.parametrize(("code", "rating"), RATED_ONLY)
def test_crops_with_a_salt_rating_only(code: str, rating: str) -> None:
    entry = crop(code)
    assert entry.salt_threshold is None and entry.salt_rating is not None
    assert entry.salt_rating.value == rating and entry.salt_rating.confidence == "FOUND"
    assert entry.salt_sensitive is (rating == "S")


@pytest.mark.parametrize(("code", "boron", "confidence"), BORON_CLASSES)
def test_boron_classes(code: str, boron: BoronClass, confidence: str) -> None:
    entry = crop(code)
    assert entry.boron_class is not None and BORON.split(",")[0] in entry.boron_class.source
    assert (entry.boron_class.value, entry.boron_class.confidence) == (boron, confidence)


@pytest.mark.parametrize(("printed", "ours", "codes"), FEEDERS)
def test_feeder_classes_as_printed(printed: str, ours: FeederClass, codes: list[str]) -> None:
    for code in codes:
        entry = crop(code)
        assert entry.needs.value is ours, (code, printed)
        assert "house value" not in entry.needs.source


@pytest.mark.parametrize(("code", "theirs", "source", "confidence"), DISAGREE)
def test_lists_that_disagree_are_known(code: str, theirs: FeederClass, source: str, confidence: str) -> None:
    """The choice of table is the dose: if ours agrees with these, somebody changed the table."""
    assert crop(code).needs.value is not theirs, (source, confidence)


@pytest.mark.parametrize(
    ("code", "ours_sensitive", "pounds_per_acre", "source"),
    [
        ("snap-bean", True, 0, "Midwest Vegetable Guide 2022 p. 17: none on bean"),
        (
            "pea",
            True,
            0,
            "Midwest Vegetable Guide 2022 p. 17: none on pea; the table says moderately sensitive",
        ),
        (
            "cucumber",
            False,
            2,
            "Midwest says none, Univ. of Delaware 2 lb/acre; the table says moderately sensitive",
        ),
        ("beet", False, 3, "Univ. of Delaware: 3 lb/acre"),
        ("tomato", False, 2, "Univ. of Delaware: 2 lb/acre"),
    ],
)
def test_boron_advice_and_where_it_disagrees(
    code: str, ours_sensitive: bool, pounds_per_acre: int, source: str
) -> None:
    assert crop(code).boron_sensitive is ours_sensitive, source
    assert ours_sensitive is (pounds_per_acre == 0), source


@pytest.mark.parametrize(("code", "start", "days", "row"), SEASONS)
def test_days_to_the_end(code: str, start: str, days: int, row: str, deviation: Deviation) -> None:
    entry = crop(code)
    figure = entry.end_from_sowing if start == "sowing" else entry.end_from_transplanting
    assert figure is not None and figure.confidence == "LIBRARY"
    deviation(
        f"{code}: days from {start} to the end",
        days,
        figure.value,
        source=f"{FAO}, row {row}",
        confidence="LIBRARY",
        tolerance=0,
    )
