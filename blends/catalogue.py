"""The catalogue of materials: `fixtures/materials.toml` read into frozen values, each figure with source and
confidence.

It is no table: adopting an entry copies its figures, with code and version, into the programme's own
material.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Any

from blends.chemistry import Analysis, Slow, from_formula, from_label
from gardens.nutrients import Nutrient

VERSION = "2026-11-25"
PATH = Path(__file__).resolve().parent.parent / "fixtures" / "materials.toml"

CONFIDENCE = frozenset({"FOUND", "FOUND (2nd)", "LIBRARY", "DERIVED", "MEMORY", "common practice, no source"})


class CatalogueError(ValueError):
    """The file does not say what a catalogue must say: a fault of ours, found at the first read."""


class Kind(StrEnum):
    COMPOUND = "compound"
    STRAIGHT = "straight"
    MAGNESIUM = "magnesium"
    CALCIUM = "calcium"
    TRACE_SALT = "trace_salt"
    TRACE_CONCENTRATE = "trace_concentrate"
    INERT = "inert"


class Basis(StrEnum):
    LABEL = "label"
    FORMULA = "formula"


@dataclass(frozen=True)
class Figure:
    """A number with where it was read and how sure we are of it (one of `CONFIDENCE`)."""

    value: Decimal
    source: str
    confidence: str


@dataclass(frozen=True)
class Caution:
    code: str
    text: str
    source: str
    confidence: str


@dataclass(frozen=True)
class CatalogueMaterial:
    """One material. `values` are percent by mass keyed as on a bag (basis label), else `formula` and `purity`
    in percent.
    """

    code: str
    name: str
    kind: Kind
    slow: Slow
    values: Mapping[str, Figure]
    formula: str | None
    purity: Figure | None
    bulk_density_g_ml: Figure
    cautions: tuple[Caution, ...]
    note: str

    @property
    def basis(self) -> Basis:
        return Basis.LABEL if self.formula is None else Basis.FORMULA

    def analysis(self) -> Analysis:
        return _analysis(self.code)

    @property
    def is_trace(self) -> bool:
        """Whether a second person must look on when it is weighed."""
        return self.kind in (Kind.TRACE_SALT, Kind.TRACE_CONCENTRATE)

    @property
    def is_inert(self) -> bool:
        return self.kind is Kind.INERT

    @property
    def bears_boron(self) -> bool:
        return self.analysis().percent.get(Nutrient.B, 0) > 0


def materials() -> tuple[CatalogueMaterial, ...]:
    """All of them, in the order of the file: by kind, then the usual first."""
    return tuple(_read().values())


def material(code: str) -> CatalogueMaterial:
    """One by its code; KeyError when there is none."""
    return _read()[code]


@cache
def _read() -> Mapping[str, CatalogueMaterial]:
    document = tomllib.loads(PATH.read_text(encoding="utf-8"), parse_float=Decimal)
    if document["version"] != VERSION:
        raise CatalogueError(f"The file is of version {document['version']}, the reader of {VERSION}.")
    sources: Mapping[str, Mapping[str, str]] = document["sources"]
    cautions = {code: Caution(code=code, **text) for code, text in document["cautions"].items()}
    for key, entry in (
        *sources.items(),
        *((c.code, {"confidence": c.confidence}) for c in cautions.values()),
    ):
        if entry["confidence"] not in CONFIDENCE:
            raise CatalogueError(f"“{entry['confidence']}” of {key} is no word for confidence.")
    read = [_material(entry, sources, cautions) for entry in document["material"]]
    found = {each.code: each for each in read}
    if len(found) < len(read):
        raise CatalogueError("A code stands twice.")
    return found


def _material(
    entry: Mapping[str, Any], sources: Mapping[str, Mapping[str, str]], cautions: Mapping[str, Caution]
) -> CatalogueMaterial:
    def figure(pair: list[Any]) -> Figure:
        number, key = pair
        return Figure(Decimal(number), sources[key]["text"], sources[key]["confidence"])

    known = {"code", "name", "kind", "slow", "values", "formula", "purity", "density", "cautions", "note"}
    if unknown := set(entry) - known:
        raise CatalogueError(f"{entry.get('code')} has the unknown {sorted(unknown)}.")
    if ("formula" in entry) == ("values" in entry) or ("formula" in entry) != ("purity" in entry):
        raise CatalogueError(f"{entry['code']} needs either values, or a formula and a purity.")
    return CatalogueMaterial(
        code=entry["code"],
        name=entry["name"],
        kind=Kind(entry["kind"]),
        slow=Slow(entry["slow"]),
        values={key: figure(pair) for key, pair in entry.get("values", {}).items()},
        formula=entry.get("formula"),
        purity=figure(entry["purity"]) if "purity" in entry else None,
        bulk_density_g_ml=figure(entry["density"]),
        cautions=tuple(cautions[code] for code in entry["cautions"]),
        note=entry.get("note", ""),
    )


@cache
def _analysis(code: str) -> Analysis:
    entry = material(code)
    if entry.formula is not None and entry.purity is not None:
        return from_formula(entry.formula, entry.purity.value)
    return from_label({key: figure.value for key, figure in entry.values.items()}, slow=entry.slow)
