"""One line of text as somebody typed it, made fit to keep."""

from __future__ import annotations

from gardens.refusals import Refused


def one_line(value: object, longest: int, field: str, *, may_be_empty: bool = False) -> str:
    """Spaces made single, NUL gone. Refused when empty (unless it may be) or longer than the column."""
    text = " ".join(str(value).replace("\x00", " ").split())
    if not text and not may_be_empty:
        raise Refused("empty", "Nothing is written here yet.", field)
    if len(text) > longest:
        raise Refused("too_long", f"That is too long; {longest} characters fit.", field)
    return text
