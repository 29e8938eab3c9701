"""What was understood, said back under a box while somebody types: one reader per kind of quantity."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping

from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from gardens import quantities as q
from gardens.days import DayError, read_day
from gardens.units import UNITS

Reader = Callable[[str, str | None], str]


def _day(text: str, unit: str | None) -> str:
    try:
        near = dt.date.fromisoformat(unit or "")
    except ValueError:
        near = timezone.localdate()
    day = read_day(text, near=near)
    return f"{day:%A} {day.day} {day:%B %Y}"


def _amount(text: str, unit: str | None) -> str:
    """A mass, or a volume that a recipe turns into one."""
    try:
        return q.echo_mass(q.parse_mass(text))
    except q.AmbiguousQuantity:
        raise
    except q.QuantityError as error:
        try:
            return q.echo_volume(q.parse_volume(text))
        except q.QuantityError:
            raise error from None


READERS: Mapping[str, Reader] = {
    "amount": _amount,
    "mass": lambda text, unit: q.echo_mass(q.parse_mass(text, default_unit=unit)),
    "length": lambda text, unit: q.echo_length(q.parse_length(text, default_unit=unit)),
    "measure": lambda text, unit: q.echo_measure(q.parse_measure(text, default_unit=unit)),
    "area": lambda text, unit: q.echo_measure(q.parse_area(text)),
    "volume": lambda text, unit: q.echo_volume(q.parse_volume(text)),
    "rate": lambda text, unit: q.echo_rate(q.parse_rate(text)),
    "day": _day,
}


def understood(kind: str, text: str, readers: Mapping[str, Reader] = READERS) -> SafeString:
    """HTML of the echo line. `kind` is "mass", or "mass:g" where a bare number means grams,
    or "day:2026-05-04" where a day without a year lies near that one."""
    name, _, unit = kind.partition(":")
    reader = readers.get(name)
    if reader is None or not text.strip():
        return SafeString("")
    try:
        said = reader(text, unit if unit in UNITS or name == "day" else None)
    except (q.QuantityError, DayError) as error:
        return format_html("{}", str(error))
    first, mark, rest = said.partition(", ")
    return format_html("Understood: <b>{}</b>{}{}", first, mark, rest)
