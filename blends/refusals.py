"""The pure modules' errors, told as refusals."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from blends.models import Pail
from gardens.faults import Fault
from gardens.refusals import InTheWay, Refused


@contextmanager
def told_kindly(field: str = "") -> Iterator[None]:
    """What cannot be computed becomes a refusal at ``field``, or at the field that the error names."""
    try:
        yield
    except Fault as error:
        raise Refused(error.code, error.message, field or error.field) from None


def wanted(reason: str, *, field: str = "reason", message: str = "Say why, in a few words.") -> str:
    """The reason, trimmed; Refused where there is none."""
    if not (text := reason.strip()):
        raise Refused("reason_wanted", message, field)
    return text[:400]


@contextmanager
def withdrawn_kindly() -> Iterator[None]:
    """Who looks for a pail whose batch somebody took back at that instant gets a sentence."""
    try:
        yield
    except Pail.DoesNotExist:
        raise InTheWay(
            "batch_withdrawn", "This batch was withdrawn a moment ago: open the mixing day again."
        ) from None
