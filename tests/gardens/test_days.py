"""Days as people write them."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gardens.days import EARLIEST, LATEST, AmbiguousDay, DayError, in_words, read_day

NEAR = dt.date(2026, 6, 1)
MAY_11 = dt.date(2026, 5, 11)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-05-11", MAY_11),
        ("2026/5/11", MAY_11),
        ("2026-05-11 00:00:00", MAY_11),
        ("11 May", MAY_11),
        ("11 may 2026", MAY_11),
        ("11th of May, 2026", MAY_11),
        ("11-May-26", MAY_11),
        ("Monday, 11 May 2026", MAY_11),
        ("May 11", MAY_11),
        ("May 11, 2026", MAY_11),
        ("11.05.2026", MAY_11),
        ("11.5.", MAY_11),
        ("5/25/2026", dt.date(2026, 5, 25)),
        ("25/5/2026", dt.date(2026, 5, 25)),
        ("5/5/2026", dt.date(2026, 5, 5)),
        ("20 Dec", dt.date(2025, 12, 20)),
        ("29 Feb 2028", dt.date(2028, 2, 29)),
        ("1 Sept 2026", dt.date(2026, 9, 1)),
    ],
)
def test_a_day_is_read(text: str, expected: dt.date) -> None:
    assert read_day(text, near=NEAR) == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("31 June", "June has 30 days"),
        ("30 Feb 2026", "February has 28 days"),
        ("2026-13-01", "no month 13"),
        ("soon", "not a day"),
        ("", "Nothing is written"),
        ("11 Ma", "not a day"),
        ("nan", "not a day"),
        ("-1", "not a day"),
        ("1 May 1789", "too far"),
        ("0000-01-01", "year"),
        ("1" * 100, "too long"),
        ("٣/٤/٢٠٢٦x", "not a day"),
    ],
)
def test_what_is_no_day_is_told(text: str, words: str) -> None:
    with pytest.raises(DayError, match=words):
        read_day(text, near=NEAR)


def test_two_readings_are_handed_back_and_settled_by_the_order() -> None:
    with pytest.raises(AmbiguousDay) as caught:
        read_day("03/04/2026", near=NEAR)
    assert caught.value.readings == (dt.date(2026, 4, 3), dt.date(2026, 3, 4))
    assert read_day("03/04/2026", near=NEAR, day_first=True) == dt.date(2026, 4, 3)
    assert read_day("03/04/2026", near=NEAR, day_first=False) == dt.date(2026, 3, 4)


@given(st.dates(min_value=EARLIEST, max_value=LATEST), st.dates(min_value=EARLIEST, max_value=LATEST))
def test_words_read_back(day: dt.date, near: dt.date) -> None:
    assert read_day(in_words(day), near=near) == read_day(day.isoformat(), near=near) == day


@given(st.text() | st.from_regex(r"[0-9]{1,4}[-/. ][0-9]{1,2}[-/. ]?[0-9]{0,4}", fullmatch=True))
def test_any_text_is_a_day_or_the_declared_error(text: str) -> None:
    try:
        assert isinstance(read_day(text, near=NEAR), dt.date)
    except DayError as error:
        assert error.message
