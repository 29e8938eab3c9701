"""Days as people write them: "11 May", "2026-05-11", "11.05.2026". Pure: no clock.

Two numbers with a slash or a dash ("03/04/2026") have two readings wherever both could be a month; they are
handed back to be chosen from. Dots are read day first, which is how they are written everywhere.
"""

from __future__ import annotations

import datetime as dt
import re

EARLIEST, LATEST = dt.date(1990, 1, 1), dt.date(2199, 12, 31)
LONGEST_TEXT = 60
EXAMPLES = ("11 May 2026", "2026-05-11")
MONTHS = (
    "january", "february", "march", "april", "may", "june",
    "july", "august", "september", "october", "november", "december",
)  # fmt: skip
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})")
_NUMBERS = re.compile(r"(\d{1,2})\s*([-/.])\s*(\d{1,2})\s*(?:\2\s*(\d{4}|\d{2})?)?")
_DAY_MONTH = re.compile(r"(\d{1,2})(?:st|nd|rd|th|\.)?[\s-]*(?:of\s+)?([a-z]+)\.?,?[\s-]*(\d{4}|\d{2})?")
_MONTH_DAY = re.compile(r"([a-z]+)\.?\s*(\d{1,2})(?:st|nd|rd|th)?,?\s*(\d{4})?")
_WEEKDAY = re.compile(r"^(?:mon|tues?|wed(?:nes)?|thu(?:rs)?|fri|sat(?:ur)?|sun)(?:day)?\.?,?\s+")
_CLOCK = re.compile(r"[T\s]+00:00(:00)?$", re.IGNORECASE)


class DayError(ValueError):
    """No such day, in a sentence."""

    def __init__(self, message: str, code: str = "day") -> None:
        super().__init__(message)
        self.message, self.code = message, code


class AmbiguousDay(DayError):
    """Two days fit: `readings` are day first, then month first."""

    def __init__(self, text: str, readings: tuple[dt.date, dt.date]) -> None:
        first, second = (in_words(day) for day in readings)
        super().__init__(f"“{text}” can be {first} or {second}. Write the month as a word.", "ambiguous")
        self.readings = readings


def in_words(day: dt.date) -> str:
    """ "11 May 2026"."""
    return f"{day.day} {MONTHS[day.month - 1].capitalize()} {day.year}"


def read_day(text: str, *, near: dt.date, day_first: bool | None = None) -> dt.date:
    """The day that `text` names; without a year the one closest to `near`. Raises DayError and nothing else.

    `day_first` settles what two numbers mean; where only one reading is a date, that one is taken.
    """
    said = " ".join(text.split())
    if not said:
        raise DayError(f"Nothing is written here. As in “{EXAMPLES[0]}” or “{EXAMPLES[1]}”.", "empty")
    if len(said) > LONGEST_TEXT:
        raise DayError(f"That is too long for a day. As in “{EXAMPLES[0]}” or “{EXAMPLES[1]}”.")
    plain = _WEEKDAY.sub("", _CLOCK.sub("", said).casefold())
    if match := _ISO.fullmatch(plain):
        return _made(said, *(int(part) for part in match.groups()))
    if match := _NUMBERS.fullmatch(plain):
        return _of_numbers(said, match, near, day_first)
    if (match := _DAY_MONTH.fullmatch(plain)) and (month := _month(match[2])):
        return _placed(said, int(match[1]), month, match[3], near)
    if (match := _MONTH_DAY.fullmatch(plain)) and (month := _month(match[1])):
        return _placed(said, int(match[2]), month, match[3], near)
    raise DayError(f"“{said}” is not a day known here. As in “{EXAMPLES[0]}” or “{EXAMPLES[1]}”.")


def _of_numbers(said: str, match: re.Match[str], near: dt.date, day_first: bool | None) -> dt.date:
    one, mark, two, year = int(match[1]), match[2], int(match[3]), match[4]
    if mark == "." or one == two:
        return _placed(said, one, two, year, near)
    if one > 12 or two > 12:
        return _placed(said, max(one, two), min(one, two), year, near)
    if day_first is None:
        raise AmbiguousDay(said, (_placed(said, one, two, year, near), _placed(said, two, one, year, near)))
    return _placed(said, *((one, two) if day_first else (two, one)), year, near)


def _placed(said: str, day: int, month: int, year: str | None, near: dt.date) -> dt.date:
    if year:
        return _made(said, int(year) if len(year) == 4 else 2000 + int(year), month, day)
    found = []
    for candidate in (near.year - 1, near.year, near.year + 1):
        try:
            found.append(_made(said, candidate, month, day))
        except DayError:
            continue  # 29 February comes in some years only
    if not found:
        return _made(said, near.year, month, day)
    return min(found, key=lambda d: (abs((d - near).days), d))


def _made(said: str, year: int, month: int, day: int) -> dt.date:
    try:
        made = dt.date(year, month, day)
    except ValueError:
        if not 1 <= month <= 12:
            raise DayError(f"“{said}” is not a day: there is no month {month}.") from None
        if not 1 <= year <= 9999:
            raise DayError(f"“{said}” is not a day: look at the year.") from None
        last = _last_day(year, month)
        raise DayError(f"“{said}” is not a day: {MONTHS[month - 1].capitalize()} has {last} days.") from None
    if not EARLIEST <= made <= LATEST:
        raise DayError(f"“{said}” is too far away: days from {EARLIEST.year} to {LATEST.year} are kept here.")
    return made


def _last_day(year: int, month: int) -> int:
    following = dt.date(year + month // 12, month % 12 + 1, 1) if year < 9999 else dt.date(year, 12, 31)
    return (following - dt.timedelta(days=1)).day


def _month(word: str) -> int | None:
    """The month that a word of at least three letters begins, "may" and "sept" included."""
    fits = [n for n, name in enumerate(MONTHS, 1) if len(word) >= 3 and name.startswith(word)]
    return fits[0] if len(fits) == 1 else None
