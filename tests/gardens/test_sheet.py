"""Sheets as people have them: files, separators, heads."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gardens.sheet import MOST_BYTES, MOST_ROWS, Column, SheetError, column_of, decode, read_sheet

COLUMNS = (Column.GARDEN, Column.PLOT, Column.BED)


@pytest.mark.parametrize(
    "text",
    [
        "garden,plot,bed\nLock Lane,3,4 x 8 ft\n",
        "garden;plot;bed\nLock Lane;3;4 x 8 ft\n",
        "Garden\tPlot No.\tBED SIZE\r\nLock Lane\t3\t4 x 8 ft\r\n",
        '\ufeff"Gardén" , "plot" , "bed measures"\n\n"Lock  Lane","3","4 x 8 ft"\n\n',
    ],
)
def test_separator_and_heads_are_found(text: str) -> None:
    sheet = read_sheet(text)
    assert sheet.columns == COLUMNS
    assert [tuple(row.cells.values()) for row in sheet.rows] == [("Lock Lane", "3", "4 x 8 ft")]


def test_a_comma_inside_quotes_stays_in_its_cell() -> None:
    (row,) = read_sheet('plot,bed\n3,"1,2 × 3 m"\n').rows
    assert row.cells[Column.BED] == "1,2 × 3 m" and not row.extra


def test_rows_are_counted_as_a_spreadsheet_counts_them() -> None:
    assert [row.number for row in read_sheet("plot\n\n3\n\n4\n").rows] == [3, 5]


def test_a_column_nobody_knows_is_named_and_not_used() -> None:
    sheet = read_sheet("plot,colour of the gate\n3,green\n")
    assert sheet.unused == ("colour of the gate",) and sheet.columns == (Column.PLOT,)


@pytest.mark.parametrize(
    ("head", "column"),
    [
        ("E-Mail", Column.CONTACT),
        ("Sown/Transplanted?", Column.HOW),
        ("Date planted", Column.DAY),
        ("zzz", None),
    ],
)
def test_heads_are_matched_loosely(head: str, column: Column | None) -> None:
    assert column_of(head) is column


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "empty"),
        (" \n \n", "empty"),
        ("Lock Lane,3\n", "no_head"),
        ("plot,garden\n", "no_rows"),
        ("plot,plot no\n3,4\n", "head_twice"),
        ("plot\x00\n3", "not_text"),
        ("plot\n" + "3\n" * (MOST_ROWS + 1), "too_many"),
        ("x" * (MOST_BYTES + 1), "too_large"),
        ("plot,bed\n3," + "9" * 200_000, "not_csv"),
    ],
)
def test_what_is_no_sheet_is_told(text: str, code: str) -> None:
    with pytest.raises(SheetError) as caught:
        read_sheet(text)
    assert caught.value.code == code and caught.value.message.endswith(".")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"PK\x03\x04 and so on", "packed spreadsheet"),
        (b"\xd0\xcf\x11\xe0 old", "old spreadsheet"),
        (b"%PDF-1.7", "PDF"),
        (b"\x89PNG\r\n", "picture"),
        (b"<!DOCTYPE html><p>", "web page"),
        (b"plot\x00\x01\x02", "no text"),
        (b"plot\n\x81\x8d", "no text"),
        (b"", "empty"),
        (b"x" * (MOST_BYTES + 1), "larger than 2 MB"),
    ],
)
def test_a_file_that_is_not_what_its_name_says(data: bytes, words: str) -> None:
    with pytest.raises(SheetError, match=words):
        decode(data)


@pytest.mark.parametrize(
    ("data", "remark"),
    [
        ("plot,holder\n3,José\n".encode("utf-8-sig"), ""),
        ("plot,holder\n3,José\n".encode(), ""),
        ("plot,holder\n3,José\n".encode("utf-16"), "UTF-16"),
        ("plot,holder\n3,José\n".encode("cp1252"), "cp1252"),
    ],
)
def test_letters_are_read_and_doubts_are_said(data: bytes, remark: str) -> None:
    text, said = decode(data)
    assert read_sheet(text).rows[0].cells[Column.HOLDER] == "José"
    assert remark in said and bool(said) is bool(remark)


@given(st.binary(max_size=300) | st.text(max_size=300).map(str.encode))
def test_any_file_is_a_sheet_or_the_declared_error(data: bytes) -> None:
    try:
        assert read_sheet(decode(data)[0]).rows
    except SheetError as error:
        assert error.message


@given(st.lists(st.lists(st.text(max_size=8), max_size=4), max_size=5))
def test_any_rows_under_a_head_are_read(rows: list[list[str]]) -> None:
    text = "garden,plot\n" + "\n".join(",".join(row) for row in rows)
    try:
        assert all(row.cells or row.extra for row in read_sheet(text).rows)
    except SheetError as error:
        assert error.message
