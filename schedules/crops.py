"""The crop catalogue: a TOML file, each figure with its source and how sure we are of it.

A planting keeps the crop's code and the catalogue's version; the catalogue is not a table.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Any, Generic, TypeVar

CATALOGUE = Path(__file__).resolve().parent.parent / "fixtures" / "crops.toml"
CONFIDENCE = ("FOUND", "FOUND (2nd)", "LIBRARY", "DERIVED", "MEMORY", "common practice, no source")
SALT_SENSITIVE_UP_TO = Decimal("1.3")
"""dS/m: a crop whose threshold is at or below it gets half the blend per feed (house value)."""

T = TypeVar("T")


class FeederClass(StrEnum):
    HEAVY = "heavy"
    MEDIUM = "medium"
    LIGHT = "light"
    LEGUME = "legume"


class Harvest(StrEnum):
    """The part that is taken, which decides when feeding stops."""

    FRUIT = "fruit"
    POD = "pod"
    LEAF = "leaf"
    HEAD = "head"
    STEM = "stem"
    ROOT = "root"
    BULB = "bulb"
    TUBER = "tuber"
    PERENNIAL = "perennial"


class BoronClass(StrEnum):
    VERY_SENSITIVE = "very sensitive"
    SENSITIVE = "sensitive"
    MODERATELY_SENSITIVE = "moderately sensitive"
    MODERATELY_TOLERANT = "moderately tolerant"
    TOLERANT = "tolerant"
    VERY_TOLERANT = "very tolerant"


@dataclass(frozen=True)
class Sourced(Generic[T]):
    """A figure with the publication it is from and how sure we are of it."""

    value: T
    source: str
    confidence: str


@dataclass(frozen=True)
class FixedFeed:
    """A feed on a day of the year, in the north; `pounds_n` per 1000 ft2."""

    month: int
    day: int
    pounds_n: Fraction


@dataclass(frozen=True)
class Crop:
    """One crop with all that the dose algorithm asks of it; None is "not known", never zero."""

    code: str
    name: str
    botanical: str
    group: str
    needs: Sourced[FeederClass]
    harvest: Sourced[Harvest]
    aliases: tuple[str, ...] = ()
    emergence_days: Sourced[int] | None = None
    end_from_sowing: Sourced[int] | None = None
    end_from_transplanting: Sourced[int] | None = None
    salt_threshold: Sourced[Decimal] | None = None
    salt_rating: Sourced[str] | None = None
    boron_class: Sourced[BoronClass] | None = None
    avoid_boron: Sourced[bool] | None = None
    fixed_dates: tuple[FixedFeed, ...] = ()
    fixed_dates_from: Sourced[str] | None = None
    note: str = ""

    @property
    def salt_sensitive(self) -> bool:
        """Threshold at most 1.3 dS/m, or rated S without a threshold."""
        if self.salt_threshold is not None:
            return self.salt_threshold.value <= SALT_SENSITIVE_UP_TO
        return self.salt_rating is not None and self.salt_rating.value == "S"

    @property
    def boron_sensitive(self) -> bool:
        """Sensitive or very sensitive in the boron table, or advised to get none."""
        listed = self.boron_class is not None and self.boron_class.value in _BORON_SENSITIVE
        return listed or (self.avoid_boron is not None and self.avoid_boron.value)


_BORON_SENSITIVE = frozenset({BoronClass.VERY_SENSITIVE, BoronClass.SENSITIVE})


@lru_cache(maxsize=1)
def catalogue() -> tuple[Crop, ...]:
    """Every crop, in the file's order (by group, then by what is harvested)."""
    return tuple(_crop(entry, _file()["sources"]) for entry in _file()["crop"])


def version() -> str:
    """The catalogue's version, kept with everything that was planted from it."""
    return str(_file()["version"])


def crop(code: str) -> Crop:
    """The crop with this code; KeyError if there is none."""
    return _by_code()[code]


def find(text: str) -> Crop | None:
    """The crop that somebody's words mean, or None when none, or more than one, is meant.

    Case, accents, punctuation and a plural "s" do not matter. The longest name in the text wins, so "sweet
    potatoes (late)" is the sweet potato; "tomatoes and basil" names two crops and is asked, never guessed.
    """
    words = _words(text)
    meant: set[str] = set()
    at = 0
    while at < len(words):
        length = next(
            (n for n in range(min(_longest(), len(words) - at), 0, -1) if words[at : at + n] in _names()), 0
        )
        if length:
            meant.add(_names()[words[at : at + length]])
        at += length or 1
    return crop(meant.pop()) if len(meant) == 1 else None


def _words(text: str) -> tuple[str, ...]:
    plain = unicodedata.normalize("NFKD", text.casefold())
    letters = "".join(c for c in plain if not unicodedata.combining(c)).replace("'", "").replace("\u2019", "")
    return tuple(re.findall(r"[^\W\d_]+", letters))


@lru_cache(maxsize=1)
def _names() -> dict[tuple[str, ...], str]:
    """Every way to say a crop, as words without accents, to its code. Refuses a name that means two crops."""
    names: dict[tuple[str, ...], str] = {}
    for entry in catalogue():
        for said in {entry.name, entry.code, entry.botanical, *entry.aliases}:
            words = _words(said)
            for form in (words, (*words[:-1], words[-1] + "s")):
                if names.setdefault(form, entry.code) != entry.code and form == words:
                    raise ValueError(
                        f"{said!r} names both {names[form]} and {entry.code} in the crop catalogue"
                    )
    return names


@lru_cache(maxsize=1)
def _longest() -> int:
    return max(len(words) for words in _names())


@lru_cache(maxsize=1)
def _by_code() -> dict[str, Crop]:
    by_code = {entry.code: entry for entry in catalogue()}
    if len(by_code) != len(catalogue()):
        raise ValueError("two crops in the catalogue have one code")
    return by_code


@lru_cache(maxsize=1)
def _file() -> dict[str, Any]:
    return tomllib.loads(CATALOGUE.read_text(encoding="utf-8"))


def _crop(entry: dict[str, Any], sources: dict[str, str]) -> Crop:
    """One entry of the file as a `Crop`; a figure without source or known confidence is refused."""

    def from_where(source: str, confidence: str) -> tuple[str, str]:
        if confidence not in CONFIDENCE:
            raise ValueError(f"{entry['code']}: {confidence!r} is no confidence word")
        return sources[source], confidence

    def figure(name: str, as_type: Any) -> Any:
        if name not in entry:
            return None
        value, source, confidence = entry[name]
        return Sourced(as_type(value), *from_where(source, confidence))

    dates = entry.get("fixed_dates_from")
    return Crop(
        code=entry["code"],
        name=entry["name"],
        botanical=entry["botanical"],
        group=entry["group"],
        aliases=tuple(entry["aliases"]),
        needs=figure("needs", FeederClass),
        harvest=figure("harvest", Harvest),
        emergence_days=figure("emergence_days", int),
        end_from_sowing=figure("end_from_sowing", int),
        end_from_transplanting=figure("end_from_transplanting", int),
        salt_threshold=figure("salt_threshold", Decimal),
        salt_rating=figure("salt_rating", str),
        boron_class=figure("boron_class", BoronClass),
        avoid_boron=figure("avoid_boron", bool),
        fixed_dates=tuple(FixedFeed(m, d, Fraction(pounds)) for m, d, pounds in entry.get("fixed_dates", ())),
        fixed_dates_from=Sourced("", *from_where(*dates)) if dates else None,
        note=entry.get("note", ""),
    )
