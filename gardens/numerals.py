"""Numbers as people write them, exactly both ways: numeral to fraction, fraction to numeral.

Decimal point and decimal comma, groups of three, vulgar fractions. One point or comma before exactly three
digits ("1.500") may mean two numbers: `has_two_readings` tells, and the caller names the decimal mark.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction
from itertools import count

VULGAR = "¼½¾⅐⅑⅒⅓⅔⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞"
BAR = "[/⁄∕]"
GAP = "[ \u00a0\u2009\u202f]"  # between groups of three: space, no-break, thin, narrow no-break

NUMERAL = rf"""
      [0-9]+(?:\s+|-)[0-9]+{BAR}[0-9]+                                    # 3 1/2, 3-1/2
    | [0-9]+{BAR}[0-9]+                                                   # 1/2
    | (?:[0-9]+\s*)?[{VULGAR}]                                            # ½, 3½, 3 ½
    | [1-9][0-9]{{0,2}}(?:{GAP}[0-9]{{3}})+(?![0-9])(?:[.,][0-9]+)*       # 1 500
    | [0-9]+(?:[.,][0-9]+)*                                               # 12, 1.5, 1,5, 1,234.5
    | (?<!\w)\.[0-9]+                                                     # .5
"""
"""A verbose pattern for whatever looks like a number; `read_numeral` says whether it is one."""

_FRACTION = re.compile(rf"(?:([0-9]+)(?:\s+|-))?([0-9]+){BAR}([0-9]+)")
_TWO_READINGS = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")
_WHOLE = re.compile(r"[0-9]*|[1-9][0-9]{0,2}([.,])[0-9]{3}(\1[0-9]{3})*")


def has_two_readings(numeral: str) -> bool:
    return _TWO_READINGS.fullmatch(numeral) is not None


def read_numeral(numeral: str, mark: str) -> Fraction | None:
    """Its value, None if it is no number; `mark` is the decimal mark where the numeral does not tell."""
    if numeral[-1] in VULGAR:
        numeral = f"{numeral[:-1].strip() or 0} {unicodedata.normalize('NFKC', numeral[-1])}"
    if fraction := _FRACTION.fullmatch(numeral):
        whole, top, bottom = (int(digits or 0) for digits in fraction.groups())
        improper = fraction[1] is not None and top >= bottom
        return None if bottom == 0 or improper else whole + Fraction(top, bottom)
    return _read_decimal(numeral, mark)


def _read_decimal(numeral: str, mark: str) -> Fraction | None:
    digits = re.sub(GAP, "", numeral)
    marks = re.findall("[.,]", digits)
    if has_two_readings(numeral):
        decimal = mark
    elif len(marks) == 1 or len(set(marks)) == 2:
        decimal = marks[-1]
    else:
        decimal = ""
    whole, _, part = digits.partition(decimal) if decimal else (digits, "", "")
    if not _WHOLE.fullmatch(whole) or not re.fullmatch("[0-9]*", part):
        return None
    return Fraction(f"{re.sub('[.,]', '', whole) or 0}.{part or 0}")


def half_up(value: Fraction) -> int:
    return (2 * value.numerator + value.denominator) // (2 * value.denominator)


def shortest(amount: int, size: Fraction) -> Fraction:
    """The decimal with the fewest digits that, in units of `size`, rounds half-up to this whole amount."""
    for digits in count():
        candidate = Fraction(half_up(amount / size * 10**digits), 10**digits)
        if half_up(candidate * size) == amount:
            return candidate
    raise AssertionError  # count() never ends


def decimals_of(value: Fraction) -> int:
    """How many digits a finite decimal has after its point; ValueError for 1/3, which is none."""
    for digits in range(100):
        if (value * 10**digits).denominator == 1:
            return digits
    raise ValueError(f"no finite decimal: {value}")


def exact_text(value: Fraction) -> str:
    """A finite decimal, in full. "1.234" is written "1.2340", which has one reading only."""
    text = _with_decimals(int(value * 10 ** (digits := decimals_of(value))), digits)
    return f"{text}0" if has_two_readings(text) else text


def sensible_text(value: Fraction, decimals: int) -> str:
    """For the eye, not for parsing: rounded, yet to two figures at least; no idle zeros; "12 345" grouped."""
    while 0 < value * 10**decimals < 10:
        decimals += 1
    text = _with_decimals(half_up(value * 10**decimals), decimals)
    text = text.rstrip("0").rstrip(".") if decimals else text
    return f"{int(text):,}".replace(",", "\u202f") if text.isdigit() and len(text) > 4 else text


def _with_decimals(scaled: int, decimals: int) -> str:
    text = f"{scaled:0{decimals + 1}d}"
    return f"{text[:-decimals]}.{text[-decimals:]}" if decimals else text
