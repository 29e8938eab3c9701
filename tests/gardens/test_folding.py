from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gardens.folding import folded, natural, rank


@pytest.mark.parametrize(
    ("query", "label", "name", "expected"),
    [
        ("17", "17", "Odile", 0),
        ("17", "117", "Odile", 3),
        ("1", "17", "Odile", 1),
        ("zofia", "4", "Žofia Łukasz", 2),
        ("LUKASZ", "4", "Žofia Łukasz", 2),
        ("łuk zof", "4", "Zofia Lukasz", 2),
        ("ofia", "4", "Žofia", 3),
        ("иван", "4", "Иван Петров", 2),
        ("марі", "4", "Марі́я", 2),
        ("strasse", "4", "Anna Straße", 2),
        ("øst", "4", "Ostby", 2),
        ("王", "4", "王小明", 2),
        ("１７", "17", "Odile", 0),
        ("odile 18", "17", "Odile", None),
        ("", "17", "Odile", 3),
        ("   ", "17", "Odile", 3),
        ("%", "17", "Odile", None),
    ],
)
def test_a_part_of_a_name_finds_it_whatever_the_accents(
    query: str, label: str, name: str, expected: int
) -> None:
    assert rank(query, label, name) == expected


@given(st.text(max_size=40))
def test_folding_twice_is_folding_once_and_every_name_finds_itself(text: str) -> None:
    assert folded(folded(text)) == folded(text)
    assert rank(text, "17", text) is not None


def test_plots_are_in_the_order_of_their_numbers() -> None:
    labels = ["10", "2", "2b", "A3", "2a", "A12"]
    assert sorted(labels, key=natural) == ["2", "2a", "2b", "10", "A3", "A12"]
