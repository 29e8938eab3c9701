"""A sheet of plots as people have it: decoded, its separator found, its columns named, its rows cut. Pure.

A file is bytes, a paste is text; both end as `Sheet`. What cannot be a sheet raises SheetError.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum

MOST_BYTES = 2_000_000
MOST_ROWS = 5_000
LONGEST_CELL = 200


class Column(StrEnum):
    GARDEN = "garden"
    PLOT = "plot"
    SIZE = "plot size"
    HOLDER = "holder"
    CONTACT = "contact"
    BED = "bed measures"
    CROP = "crop"
    DAY = "planted on"
    HOW = "sown or transplanted"


HEADS: dict[Column, str] = {
    Column.GARDEN: "garden, gardens, garden name, site, site name",
    Column.PLOT: "plot, plots, plot no, plot nr, plot number, plot id, number, no, nr",
    Column.SIZE: "plot size, size of plot, size of the plot, plot area, size, area, plot measures",
    Column.HOLDER: "holder, plot holder, holder name, name, gardener, person, who, held by, tenant, member",
    Column.CONTACT: "contact, e mail, email, mail, e mail address, email address, phone, telephone, mobile, "
    "e mail or telephone, email or phone, contact details",
    Column.BED: "bed measures, bed, beds, bed size, bed sizes, size of bed, "
    "bed dimensions, measures, dimensions",
    Column.CROP: "crop, crops, plant, plants, vegetable, what grows, what grows there, planting",
    Column.DAY: "planted on, planted, planting date, planting day, date, day, date planted, when",
    Column.HOW: "sown or transplanted, sown, transplanted, how, sown transplanted, sown or planted, method",
}
EXAMPLE_HEAD = (
    "garden, plot, plot size, holder, contact, bed measures, crop, planted on, sown or transplanted"
)


class SheetError(ValueError):
    """This is no sheet that can be read; `code` for programs, the message for people."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code, self.message = code, message


@dataclass(frozen=True)
class SheetRow:
    """`number` counts as a spreadsheet does; the head is row 1. `extra` are cells beyond the head."""

    number: int
    cells: dict[Column, str]
    extra: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sheet:
    columns: tuple[Column, ...]
    unused: tuple[str, ...]  # heads that name no column known here
    rows: tuple[SheetRow, ...]


def decode(data: bytes) -> tuple[str, str]:
    """The text of a file, and a remark where it was not plain UTF-8. SheetError where it is no text."""
    if len(data) > MOST_BYTES:
        raise SheetError("too_large", "This file is larger than 2 MB. Bring in a part of it at a time.")
    if not data.strip():
        raise SheetError("empty", "This file is empty.")
    _no_other_kind(data)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16"), "Read as UTF-16."
        except UnicodeDecodeError:
            raise SheetError("not_text", _NOT_TEXT) from None
    if b"\x00" in data:
        raise SheetError("not_text", _NOT_TEXT)
    try:
        return data.decode("utf-8-sig"), ""
    except UnicodeDecodeError:
        pass
    try:
        return data.decode(
            "cp1252"
        ), "Not UTF-8: read as Windows Western letters (cp1252). Look at the accents."
    except UnicodeDecodeError:
        raise SheetError("not_text", _NOT_TEXT) from None


_NOT_TEXT = "This file is no text. Save the sheet as CSV, or copy its cells and paste them."
_KINDS = [
    (b"PK\x03\x04", "a packed spreadsheet (such as .xlsx or .ods), whatever its name says"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet (.xls), whatever its name says"),
    (b"%PDF", "a PDF, whatever its name says"),
    (b"\x89PNG", "a picture, whatever its name says"),
    (b"\xff\xd8\xff", "a picture, whatever its name says"),
    (b"GIF8", "a picture, whatever its name says"),
    (b"{\\rtf", "a word processor's file, whatever its name says"),
]


def _no_other_kind(data: bytes) -> None:
    for begins, kind in _KINDS:
        if data.startswith(begins):
            raise SheetError(
                "not_a_sheet", f"This is {kind}. Save the sheet as CSV, or copy its cells and paste them."
            )
    if re.match(rb"(?:\xef\xbb\xbf)?\s*<(?:!doctype|html|\?xml|table)", data[:200], re.IGNORECASE):
        raise SheetError(
            "not_a_sheet", "This is a web page, not a sheet. Save the sheet as CSV, or paste its cells."
        )


def read_sheet(text: str) -> Sheet:
    """The rows under their columns; blank rows are skipped but counted. SheetError without a head."""
    text = text.removeprefix("\ufeff")
    if not text.strip():
        raise SheetError(
            "empty", "There is nothing here yet. Paste the sheet with its head, or choose a file."
        )
    if len(text) > MOST_BYTES:
        raise SheetError("too_large", "This is more than 2 MB of text. Bring in a part of it at a time.")
    if "\x00" in text:
        raise SheetError("not_text", _NOT_TEXT)
    lines = _lines(text)
    _, head = next(lines, (0, []))
    columns, unused = _columns(head)
    rows = tuple(_rows(lines, columns))
    if not rows:
        raise SheetError("no_rows", "The head is here, but no row under it.")
    return Sheet(tuple(c for c in columns if c), unused, rows)


def _lines(text: str) -> Iterator[tuple[int, list[str]]]:
    """Rows that are not blank, with their number."""
    head = next(line for line in text.splitlines() if line.strip())
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(head))
    try:
        for number, cells in enumerate(reader, 1):
            if any(cell.strip() for cell in cells):
                yield number, [" ".join(cell.split()) for cell in cells]
    except csv.Error as error:
        raise SheetError(
            "not_csv", f"This cannot be cut into cells ({error}). Paste the cells instead."
        ) from None


def _separator(head: str) -> str:
    """Tab, semicolon or comma: the one that stands most often in the head, outside quotes."""
    bare = re.sub(r'"[^"]*"', "", head)
    return max("\t;,", key=bare.count)


def _columns(head: list[str]) -> tuple[list[Column | None], tuple[str, ...]]:
    named = [column_of(cell) for cell in head]
    found = [column for column in named if column]
    if Column.PLOT not in found:
        raise SheetError(
            "no_head", f"The first row must name the columns, the plot at least. As in “{EXAMPLE_HEAD}”."
        )
    for column in Column:
        if found.count(column) > 1:
            raise SheetError("head_twice", f"Two columns are named like “{column.value}”. Keep one of them.")
    return named, tuple(cell for cell, column in zip(head, named, strict=True) if cell and not column)


def column_of(head: str) -> Column | None:
    """The column that a head names, whatever its case, accents and punctuation."""
    return _KNOWN.get(_plain(head))


def _plain(text: str) -> str:
    letters = unicodedata.normalize("NFKD", text.casefold())
    return " ".join(re.findall(r"[^\W\d_]+", "".join(c for c in letters if not unicodedata.combining(c))))


_KNOWN = {_plain(name): column for column, names in HEADS.items() for name in names.split(",")}


def _rows(lines: Iterable[tuple[int, list[str]]], columns: list[Column | None]) -> Iterator[SheetRow]:
    for count, (number, cells) in enumerate(lines, 1):
        if count > MOST_ROWS:
            raise SheetError("too_many", f"These are more than {MOST_ROWS} rows. Bring in a part at a time.")
        known = {column: cell for column, cell in zip(columns, cells, strict=False) if column and cell}
        extra = tuple(cell for cell in cells[len(columns) :] if cell)
        if known or extra:
            yield SheetRow(number, known, extra)
