"""Finding by part of a name whatever the accents and case, in any script. Pure."""

from __future__ import annotations

import re
import unicodedata

#: Letters that no decomposition takes apart, as people without them on the keyboard write them.
_PLAIN = str.maketrans(
    {"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i", "ħ": "h"}
)
_DIGITS = re.compile(r"(\d+)")


def folded(text: str) -> str:
    """ "Žofia ŁUKASZ" and "zofia lukasz" fold to the same, in any script."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(c for c in apart if not unicodedata.combining(c))
    return " ".join(unicodedata.normalize("NFKC", bare).casefold().translate(_PLAIN).split())


def rank(query: str, label: str, *texts: str) -> int | None:
    """How well a row fits: 0 its label, 1 the label's beginning, 2 beginnings of words, 3 parts; None: not.

    Every word of the query must be part of the label or of one of the texts; an empty query fits everything.
    """
    words = folded(query).split()
    key = folded(label)
    hay = " ".join([key, *map(folded, texts)])
    if not all(word in hay for word in words):
        return None
    if not words:
        return 3
    if key in words:
        return 0
    if any(key.startswith(word) for word in words):
        return 1
    begins = hay.split()
    return 2 if all(any(b.startswith(word) for b in begins) for word in words) else 3


def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """A sorting key in which "2" comes before "10" and "4a" before "4b"."""
    parts = [part for part in _DIGITS.split(folded(text)) if part]
    return tuple(
        (0, int(part), "") if part.isdecimal() and part.isascii() else (1, 0, part) for part in parts
    )
