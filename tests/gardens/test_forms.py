"""Fields that read quantities, and forms that ask back."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django import forms
from django.core.exceptions import ValidationError

from gardens.forms import (
    ActForm,
    AreaField,
    DayField,
    KeyField,
    LengthField,
    MassField,
    MeasureField,
    MoneyField,
    RateField,
    VolumeField,
    attempt,
)
from gardens.quantities import Mass
from gardens.refusals import InTheWay, Refused


class Bag(ActForm):
    mass = MassField(default_unit="g", positive=True)
    day = DayField(required=False)


@pytest.mark.parametrize(
    ("field", "text", "expected"),
    [
        (MassField(), "2 lb 4 oz", Mass(1020583)),
        (MassField(default_unit="g"), "58", Mass(58_000)),
        (LengthField(), "4 ft", 1219),
        (MeasureField(), "2 × 4 x 8 ft", (2, 2_972_897)),
        (AreaField(), "3 x 6 m", (1, 18_000_000)),
        (VolumeField(), "20 L", 20_000_000),
        (RateField(), "20 g/m²", 20_000_000),
        (MoneyField(), "29.00", 2900),
        (MoneyField(), "29,5", 2950),
        (MoneyField(), "1 234.50", 123450),
        (MoneyField(decimals=0), "2900", 2900),
        (DayField(near=dt.date(2026, 6, 1)), "11 May", dt.date(2026, 5, 11)),
    ],
)
def test_text_becomes_a_domain_value(field: Any, text: str, expected: Any) -> None:
    value = field.clean(text)
    match value:
        case _ if hasattr(value, "count") and hasattr(value, "area_mm2"):
            assert (value.count, value.area_mm2) == expected
        case _ if hasattr(value, "millimetres"):
            assert value.millimetres == expected
        case _ if hasattr(value, "microlitres"):
            assert value.microlitres == expected
        case _ if hasattr(value, "ug_per_m2"):
            assert value.ug_per_m2 == expected
        case _:
            assert value == expected


@pytest.mark.parametrize(
    ("field", "text", "words"),
    [
        (MassField(), "nan", "As in"),
        (MassField(), "-1 kg", "below zero"),
        (MassField(), "3 m", "mass"),
        (MassField(), "1e9 kg", "As in"),
        (MassField(), "99999999999 kg", "beyond"),
        (MassField(positive=True), "0 g", "More than nothing"),
        (MassField(), "", "Nothing is written"),
        (MeasureField(), "4 by", "cut short"),
        (AreaField(), "2 × 4 x 8 ft", "one size"),
        (MoneyField(), "29.005", "As in"),
        (MoneyField(), "-3", "As in"),
        (MoneyField(), "nan", "As in"),
        (MoneyField(), "9" * 19, "more than anybody"),
        (DayField(), "31 June", "30 days"),
    ],
)
def test_what_cannot_be_read_says_what_can(field: Any, text: str, words: str) -> None:
    with pytest.raises(ValidationError) as caught:
        field.clean(text)
    assert words in caught.value.messages[0]


def test_two_readings_are_both_shown_and_none_is_taken() -> None:
    form = Bag({"mass": "1.500 kg"})
    assert not form.is_valid() and form["mass"].value() == "1.500 kg"
    which = form.fields["mass_reading"]
    assert isinstance(which, forms.ChoiceField)
    assert [value for value, _ in which.choices] == ["1.5 kg", "1500 kg"]
    assert 'value="1.5 kg"' in str(form) and "checked" not in str(form)


def test_the_chosen_reading_is_taken_and_written() -> None:
    form = Bag({"mass": "1.500 kg", "mass_reading": "1500 kg"})
    assert form.is_valid() and form.cleaned_data["mass"] == Mass(1_500_000_000)
    assert form.written("mass") == "1500 kg"


def test_a_choice_that_fits_no_longer_is_not_taken() -> None:
    form = Bag({"mass": "2.500 kg", "mass_reading": "1500 kg"})
    assert not form.is_valid() and "mass_reading" in form.fields


def test_an_ambiguous_day_is_asked_back() -> None:
    assert not Bag({"mass": "1 kg", "day": "3/4/2026"}).is_valid()
    form = Bag({"mass": "1 kg", "day": "3/4/2026", "day_reading": "2026-04-03"})
    assert form.is_valid() and form.cleaned_data["day"] == dt.date(2026, 4, 3)


def test_a_refusal_lands_at_its_field_and_keeps_the_typing() -> None:
    form = Bag({"mass": "3 kg"})
    assert form.is_valid()

    def act() -> None:
        raise Refused("too_much", "That is more than there is.", "mass")

    assert attempt(form, act) is None
    assert form.errors["mass"] == ["That is more than there is."] and form["mass"].value() == "3 kg"


def test_a_refusal_of_another_field_stands_on_top() -> None:
    form = Bag({"mass": "3 kg"})
    form.is_valid()

    def act() -> None:
        raise InTheWay("first", "Somebody was first.", "pail")

    attempt(form, act)
    assert form.non_field_errors() == ["Somebody was first."]


def test_each_form_shown_has_its_own_key() -> None:
    class Keyed(ActForm):
        key = KeyField()

    assert Keyed()["key"].value() != Keyed()["key"].value()
    assert Keyed({"key": "no key"}).errors["key"] == ["Open this page afresh."]


@pytest.mark.parametrize(
    ("query", "html"),
    [
        ("kind=measure&field=size&size=4+x+8+ft", "Understood: <b>2.97 m²</b>, 32 ft²"),
        ("kind=mass:g&field=m&m=58", "Understood: <b>58 g</b>, 2 oz"),
        ("kind=mass&field=m&m=1.500+kg", "“1.500 kg” can be read as “1.5 kg” or as “1500 kg”. Choose one."),
        ("kind=day:2026-06-01&field=d&d=11+May", "Understood: <b>Monday 11 May 2026</b>"),
        ("kind=crop&field=c&c=Tomatoes", "Understood: <b>tomato</b>, heavy feeder"),
        (
            "kind=crop&field=c&c=moon+gourd",
            "Understood: <b>moon gourd</b>, not in the catalogue, fed as medium",
        ),
        ("kind=mass&field=m&m=<b>", "&lt;b&gt;"),
        ("kind=nonsense&field=m&m=3", ""),
        ("kind=mass&field=m&m=", ""),
    ],
)
def test_the_echo_says_what_was_understood(client: Any, query: str, html: str) -> None:
    got = client.get(f"/echo/?{query}").content.decode().replace("\u00a0", " ")
    assert got == html if "&lt;" not in html else html in got and "<b>" not in got
