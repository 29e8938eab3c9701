"""The crop catalogue: complete, sourced, and found by what people write."""

from __future__ import annotations

import re

import pytest

from schedules.crops import CONFIDENCE, Crop, FeederClass, Harvest, Sourced, catalogue, crop, find, version


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("tomato", "tomato"),
        ("Tomatoes", "tomato"),
        ("tomatoes, staked", "tomato"),
        ("  TOMATO (Roma) ", "tomato"),
        ("cherry tomatoes", "cherry-tomato"),
        ("Solanum lycopersicum", "tomato"),
        ("sweet potatoes (late)", "sweet-potato"),
        ("potatoes", "potato"),
        ("bush beans", "snap-bean"),
        ("broad beans", "broad-bean"),
        ("Judías", "snap-bean"),
        ("jalapeno chili", "pepper"),
        ("Brussels Sprouts", "brussels-sprouts"),
        ("lady’s fingers", "okra"),
        ("chou-fleur", "cauliflower"),
        ("chou", "cabbage"),
        ("kale 3 rows", "kale"),
        ("tomato, tomatoes", "tomato"),
    ],
)
def test_a_crop_is_found_by_what_people_write(text: str, code: str) -> None:
    found = find(text)
    assert found is not None and found.code == code


@pytest.mark.parametrize(
    "text", ["", "   ", "tomatoes and basil", "tomatoe", "mixed", "123", "pot", "?", "bean/pea", "x" * 10_000]
)
def test_what_names_no_crop_or_two_is_never_guessed(text: str) -> None:
    assert find(text) is None


def test_every_name_and_alias_finds_its_own_crop() -> None:
    for entry in catalogue():
        for said in (entry.name, entry.botanical, *entry.aliases):
            if said == "pumpkin and winter squash" or said == "currant and gooseberry":
                assert find(said) in (entry, None)  # two names of one crop
            else:
                assert find(said) == entry, said


def test_the_catalogue_is_wide_and_its_codes_are_unique() -> None:
    codes = [entry.code for entry in catalogue()]
    assert len(codes) == len(set(codes)) >= 30
    assert {entry.group for entry in catalogue()} == {"vegetable", "herb", "berry", "flower"}
    assert {entry.needs.value for entry in catalogue()} == set(FeederClass)
    assert {entry.harvest.value for entry in catalogue()} == set(Harvest)
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", code) for code in codes)
    assert re.fullmatch(r"\d{4}\.\d+", version())


def test_every_figure_has_a_source_and_a_confidence() -> None:
    figures = [
        (entry.code, value)
        for entry in catalogue()
        for value in vars(entry).values()
        if isinstance(value, Sourced)
    ]
    assert len(figures) > 300
    for code, figure in figures:
        assert figure.source.strip() and figure.confidence in CONFIDENCE, code


@pytest.mark.parametrize("entry", catalogue(), ids=lambda entry: entry.code)
def test_every_crop_has_what_the_steps_need(entry: Crop) -> None:
    if entry.harvest.value is Harvest.PERENNIAL:
        assert entry.fixed_dates, "perennials carry their dates"
    else:
        assert entry.end_from_sowing is not None and entry.emergence_days is not None
        assert 0 < entry.emergence_days.value < entry.end_from_sowing.value <= 300
        later = entry.end_from_transplanting
        assert later is None or later.value > 14 or entry.code == "radish"
    for feed in entry.fixed_dates:
        assert 1 <= feed.month <= 12 and 1 <= feed.day <= 28 and 0 < feed.pounds_n <= 1
    assert bool(entry.fixed_dates) == (entry.fixed_dates_from is not None)


@pytest.mark.parametrize(
    ("code", "sensitive"),
    [
        ("lettuce", True),  # exactly 1.3 dS/m
        ("pepper", False),  # 1.5
        ("eggplant", True),  # 1.1, though rated MS
        ("okra", True),  # rated S without a threshold
        ("muskmelon", False),  # rated MS without one
        ("garlic", False),
        ("zinnia", False),  # nothing known is no rating
    ],
)
def test_salt_sensitive(code: str, sensitive: bool) -> None:
    assert crop(code).salt_sensitive is sensitive


@pytest.mark.parametrize(
    ("code", "sensitive"),
    [
        ("snap-bean", True),
        ("onion", True),
        ("blackberry", True),
        ("pea", True),
        ("cucumber", False),
        ("zinnia", False),
    ],
)
def test_boron_sensitive(code: str, sensitive: bool) -> None:
    assert crop(code).boron_sensitive is sensitive


def test_a_code_that_is_none_is_a_key_error() -> None:
    with pytest.raises(KeyError):
        crop("unobtainium")
