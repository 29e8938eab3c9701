"""The small grammar of quantities as people write them: text in, exact fractions of base units out.

    quantity := part ([","|"and"] part)*           "2 lb 4 oz", "4' 6\\"": each unit finer than the one before
    part     := number unit                        "3 1/2 lb", "½ lb", "1 500 g", "1,2 m"
    measure  := [count] sides [shape]              "4 x 8 ft", "2 × 4 x 8 ft", "6 ft circle", "30 m²"
    count    := number "x" | number noun ["of"]    "5 pots of 12 in"
    sides    := side ("x" side)*                   a number without a unit takes that of the next side that has one
    row      := side "row" side ("wide"|"apart")   "30 ft row 18 in wide"
    rate     := quantity "/" [number] area-unit    "3 lb/1000 ft²"

One point or comma before exactly three digits ("1.500") has two readings. It is never guessed: the rules run once
with each mark as the decimal mark, and the two outcomes are handed back to be chosen from.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, NoReturn, TypeVar

from gardens.units import UNITS, Kind, Unit

Shape = Literal["rectangle", "circle", "row", "pot", "area"]
T = TypeVar("T")

LONGEST_TEXT = 200
LARGEST_COUNT = 10_000


class QuantityError(ValueError):
    """A text that is no such quantity: what is wrong, where reading stopped, what was left, two that would do."""

    def __init__(self, message: str, *, code: str, position: int, rest: str, examples: tuple[str, str]) -> None:
        super().__init__(message)
        self.message = message
        self.code = code
        self.position = position
        self.rest = rest
        self.examples = examples

    def __str__(self) -> str:
        return f"{self.message} As in “{self.examples[0]}” or “{self.examples[1]}”."


class AmbiguousQuantity(QuantityError):
    """A text with two readings; each of `readings` parses, and means one thing only."""

    def __init__(self, text: str, *, position: int, readings: tuple[str, str]) -> None:
        message = f"“{excerpt(text)}” can be read as “{readings[0]}” or as “{readings[1]}”. Choose one."
        super().__init__(message, code="ambiguous", position=position, rest=text[position:], examples=readings)
        self.readings = readings

    def __str__(self) -> str:
        return self.message


# Numbers

_VULGAR = "¼½¾⅐⅑⅒⅓⅔⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞"
_BAR = "[/⁄∕]"
_THIN = "[ \u00a0\u2009\u202f]"
_FRACTION = re.compile(rf"(?:([0-9]+)(?:\s+|-))?([0-9]+){_BAR}([0-9]+)")
_TWO_WAYS = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")


def read_number(written: str, mark: str) -> Fraction | None:
    """The value of a number token; `mark` is the decimal mark where the number itself does not tell. None: no number."""
    if written[-1] in _VULGAR:
        written = f"{written[:-1].strip() or 0} {unicodedata.normalize('NFKC', written[-1])}"
    if fraction := _FRACTION.fullmatch(written):
        whole, top, bottom = (int(digits or 0) for digits in fraction.groups())
        improper = bool(fraction[1]) and top >= bottom
        return None if bottom == 0 or improper else whole + Fraction(top, bottom)
    return _read_decimal(written, mark)


def _read_decimal(written: str, mark: str) -> Fraction | None:
    digits = re.sub(_THIN, "", written)
    marks = re.findall("[.,]", digits)
    if len(set(marks)) == 2:
        decimal = marks[-1]
    elif _TWO_WAYS.fullmatch(written):
        decimal = mark
    else:
        decimal = marks[0] if len(marks) == 1 else ""
    whole, _, part = digits.partition(decimal) if decimal else (digits, "", "")
    if not re.fullmatch(r"[0-9]*|[1-9][0-9]{0,2}(([.,])[0-9]{3})(\2[0-9]{3})*", whole) or not re.fullmatch("[0-9]*", part):
        return None
    return Fraction(f"{re.sub('[.,]', '', whole) or 0}.{part or 0}")


def decimal_text(value: Fraction) -> str:
    """A finite decimal, exactly, with a point; "1.234" is written "1.2340", which has one reading only."""
    digits = 0
    while (value * 10**digits).denominator != 1:
        digits += 1
    scaled = f"{int(value * 10**digits):0{digits + 1}d}"
    text = f"{scaled[:-digits]}.{scaled[-digits:]}" if digits else scaled
    return f"{text}0" if _TWO_WAYS.fullmatch(text) else text


# Tokens

_LETTER = rf"[^\W\d_²³¹{_VULGAR}]"
_CROSS = "[xXхХ]"  # Latin and Cyrillic
_TOKEN = re.compile(
    rf"""
      (?P<space> [\s\u200b\u200e\u200f\u2060\ufeff]+ )
    | (?P<number>
          [0-9]+(?:\s+|-)[0-9]+{_BAR}[0-9]+                          # 3 1/2
        | [0-9]+{_BAR}[0-9]+                                         # 1/2
        | (?:[0-9]+\s*)?[{_VULGAR}]                                  # ½, 3½
        | [1-9][0-9]{{0,2}}(?:{_THIN}[0-9]{{3}})+(?![0-9])(?:[.,][0-9]+)*   # 1 500
        | [0-9]+(?:[.,][0-9]+)*                                      # 12, 1.5, 1,5, 1,234.5
        | (?<!\w)\.[0-9]+ )                                          # .5
    | (?P<inches> ["”“″] | '' | ’’ | ′′ )
    | (?P<feet> ['’‘′] )
    | (?P<times> [×✕⨯*] | {_CROSS}(?!{_LETTER}) )
    | (?P<slash> {_BAR} )
    | (?P<minus> [-−–—‐‑] )
    | (?P<word> (?: {_LETTER}+?(?={_CROSS}\s*[0-9]) | {_LETTER}+ )   # "m" of "1.2mx3m"
          (?: ² | \^2 | 2(?![\w'’′"”″])(?![.,][0-9]) )?
          (?: \.(?![0-9]) )? )
    | (?P<other> . )
    """,
    re.VERBOSE | re.DOTALL,
)
_KIND_OF_WORD = {"by": "times", "per": "slash"}
_NOUNS: dict[str, Shape] = {
    "bed": "rectangle", "beds": "rectangle",
    "circle": "circle", "circles": "circle",
    "row": "row", "rows": "row",
    "pot": "pot", "pots": "pot",
}  # fmt: skip
_SHAPES: dict[str, Shape] = _NOUNS | {"round": "circle", "across": "circle", "diameter": "circle"}
_LEADING_ON = {"of", "and", "sq", "square", "fl", "fluid"}
_NOT_UNITS = _SHAPES.keys() | _LEADING_ON | {"wide", "apart"}


@dataclass(frozen=True, slots=True)
class Token:
    """`kind` is a group of _TOKEN or "end"; `word` the written text, made alike: "Sq. Ft2" gives "sq", "ft²"."""

    kind: str
    word: str
    start: int
    end: int


def tokens_of(text: str) -> Iterator[Token]:
    for match in _TOKEN.finditer(text):
        kind, word = str(match.lastgroup), match[0]
        if kind == "word":
            word = re.sub(r"\^?2$", "²", word.rstrip(".").casefold())
            kind = _KIND_OF_WORD.get(word, kind)
        elif kind in ("feet", "inches"):
            kind, word = "word", "'" if kind == "feet" else '"'
        if kind != "space":
            yield Token(kind, word, *match.span())
    yield Token("end", "", len(text), len(text))


def excerpt(text: str, length: int = 40) -> str:
    text = " ".join(text.split())
    return text if len(text) <= length else f"{text[: length - 1]}…"


# Rules


@dataclass(frozen=True, slots=True)
class Amount:
    """A quantity, or a bare number where `unit` is None; `unit` is its first, `total` in base units of its kind."""

    total: Fraction
    unit: Unit | None
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Sides:
    """A measure before rounding. `sides` in mm: two of a rectangle or row, else a diameter; of an area, its mm²."""

    shape: Shape
    count: int
    sides: tuple[Fraction, ...]


class Reader:
    """Reads one text from left to right; each rule takes its tokens or refuses."""

    def __init__(self, text: str, mark: str, examples: tuple[str, str]) -> None:
        self.text = text
        self.mark = mark
        self.examples = examples
        self.tokens = list(tokens_of(text))
        self.index = 0

    @property
    def here(self) -> Token:
        return self.tokens[self.index]

    @property
    def ahead(self) -> Token:
        return self.tokens[min(self.index + 1, len(self.tokens) - 1)]

    def take(self, kind: str, *words: str) -> Token | None:
        token = self.here
        if token.kind != kind or (words and token.word not in words):
            return None
        self.index += 1
        return token

    def refuse(self, code: str, message: str, position: int) -> NoReturn:
        raise QuantityError(
            message, code=code, position=position, rest=self.text[position:], examples=self.examples
        )

    def finish(self) -> None:
        """Refuse whatever is left."""
        if self.here.kind == "end":
            return
        if self.ahead.kind == "end" and (self.here.kind == "slash" or self.here.word in _LEADING_ON):
            self.refuse("incomplete", f"“{excerpt(self.text)}” is cut short.", self.here.start)
        understood = excerpt(self.text[: self.here.start])
        left = excerpt(self.text[self.here.start :])
        self.refuse("junk", f"Understood up to “{understood}”, but not “{left}”.", self.here.start)

    def number(self) -> Fraction:
        token = self.here
        if token.kind == "minus" and self.ahead.kind == "number":
            self.refuse("negative", f"“{excerpt(self.text[token.start :])}” is below zero.", token.start)
        if token.kind == "end":
            self.refuse("incomplete", f"“{excerpt(self.text)}” is cut short.", token.start)
        if token.kind != "number":
            left = excerpt(self.text[token.start :])
            self.refuse("number", f"Stopped at “{left}”: a number should stand there.", token.start)
        value = read_number(token.word, self.mark)
        if value is None:
            self.refuse("number", f"“{excerpt(token.word)}” is not a number.", token.start)
        self.index += 1
        return value

    def unit(self) -> Unit | None:
        """A unit of one or two words, if one stands here; a word that is nothing at all is refused."""
        token = self.here
        if token.kind != "word":
            return None
        second = self.ahead.word
        pair = f"{second}²" if token.word in ("sq", "square") else f"{token.word}_{second}"
        if pair in UNITS:
            self.index += 2
            return UNITS[pair]
        if token.word in UNITS:
            self.index += 1
            return UNITS[token.word]
        if token.word in _NOT_UNITS:
            return None
        self.refuse("unit_unknown", f"“{excerpt(self.text[token.start : token.end])}” is not a unit known here.", token.start)

    def amount(self) -> Amount:
        start = self.here.start
        total, first = self.number(), self.unit()
        if first is None:
            return Amount(total, None, start, self.end)
        total *= first.size
        coarser = first
        while self.another_part():
            position, number, unit = self.here.start, self.number(), self.unit()
            if unit is None:
                self.refuse("unit_missing", f"Say the unit of “{excerpt(self.text[position:])}”.", position)
            if unit.kind is not first.kind or unit.size >= coarser.size or unit.kind is Kind.AREA:
                left = excerpt(self.text[position:])
                self.refuse("junk", f"“{left}” does not go with what stands before it.", position)
            total += number * unit.size
            coarser = unit
        return Amount(total, first, start, self.end)

    @property
    def end(self) -> int:
        """Where the last token taken ended."""
        return self.tokens[self.index - 1].end

    def another_part(self) -> bool:
        if self.ahead.kind == "number" and (self.here.word in (",", "and")):
            self.index += 1
        return self.here.kind == "number"

    def in_units(self, amounts: list[Amount], kind: Kind, default: Unit | None) -> tuple[Fraction, ...]:
        """Their totals; a bare number takes the unit of the next one that has a unit, else, if none has, the default."""
        unit = default if all(amount.unit is None for amount in amounts) else None
        totals: list[Fraction] = []
        for amount in reversed(amounts):
            unit = amount.unit or unit
            if unit is None:
                written = excerpt(self.text[amount.start : amount.end])
                self.refuse("unit_missing", f"Say the unit of “{written}”.", amount.end)
            if unit.kind is not kind:
                written = excerpt(self.text[amount.start : amount.end])
                message = f"“{written}” is {_A[unit.kind]}; {_A[kind]} is wanted here."
                self.refuse("unit_kind", message, amount.start)
            totals.append(amount.total * unit.size if amount.unit is None else amount.total)
        return tuple(reversed(totals))


_A = {Kind.LENGTH: "a length", Kind.AREA: "an area", Kind.MASS: "a mass", Kind.VOLUME: "a volume"}


def quantity(reader: Reader, kind: Kind, default: Unit | None) -> Fraction:
    (total,) = reader.in_units([reader.amount()], kind, default)
    reader.finish()
    return total


def rate(reader: Reader) -> Fraction:
    """Mass per area, in mg/mm²."""
    (mass,) = reader.in_units([reader.amount()], Kind.MASS, None)
    if not reader.take("slash"):
        reader.finish()
        reader.refuse("incomplete", f"“{excerpt(reader.text)}” is a mass: say for how much ground.", reader.end)
    start = reader.here.start
    number = Fraction(1) if reader.here.kind == "word" else reader.number()
    unit = reader.unit()
    if unit is None:
        reader.refuse("unit_missing", f"“{excerpt(reader.text)}” does not say for how much ground.", start)
    (area,) = reader.in_units([Amount(number * unit.size, unit, start, reader.end)], Kind.AREA, None)
    reader.finish()
    if area == 0:
        reader.refuse("zero", f"“{excerpt(reader.text[start:])}” is no ground at all.", start)
    return mass / area


def measure(reader: Reader, default: Unit | None) -> Sides:
    count, noun = _counted(reader)
    factors = [reader.amount()]
    while reader.take("times"):
        factors.append(reader.amount())
    word = reader.take("word", *_SHAPES)
    shape = _SHAPES[word.word] if word else noun
    width = _width(reader) if word and shape == "row" else None
    reader.finish()

    written = [amount.unit.kind for amount in [*factors, *([width] if width else [])] if amount.unit]
    if written:
        default = None
    is_area = shape in (None, "rectangle") and Kind.AREA in (written or [default and default.kind])
    wanted = 1 if is_area or width or shape in ("circle", "pot") else 2
    if count is None and len(factors) == wanted + 1 and factors[0].unit is None:
        count = _count(reader, factors[0].total, factors.pop(0).start)
    if len(factors) < wanted:
        reader.refuse("incomplete", f"“{excerpt(reader.text)}” is one side only.", reader.end)
    if len(factors) > wanted:
        extra = factors[wanted]
        written = excerpt(reader.text[extra.start : extra.end])
        reader.refuse("junk", f"“{written}” is one side too many.", extra.start)

    if is_area:
        return Sides("area", count or 1, reader.in_units(factors, Kind.AREA, default))
    sides = reader.in_units(factors, Kind.LENGTH, default)
    if width:
        sides += reader.in_units([width], Kind.LENGTH, default)
    return Sides(shape or "rectangle", count or 1, sides)


def _counted(reader: Reader) -> tuple[int | None, Shape | None]:
    """ "5 pots of", if that stands here."""
    start, noun = reader.here.start, _NOUNS.get(reader.ahead.word)
    if reader.here.kind != "number" or noun is None:
        return None, None
    number = reader.number()
    reader.index += 1
    reader.take("word", "of")
    return _count(reader, number, start), noun


def _count(reader: Reader, number: Fraction, position: int) -> int:
    if number.denominator != 1 or not 1 <= number <= LARGEST_COUNT:
        message = f"How many must be a whole number from 1 to {LARGEST_COUNT}."
        reader.refuse("count", message, position)
    return int(number)


def _width(reader: Reader) -> Amount:
    reader.examples = ("30 ft row 18 in wide", "9 m row 45 cm wide")
    reader.take("other", ",")
    if reader.here.kind == "end":
        reader.refuse("incomplete", "How wide is the row, or how far are rows apart?", reader.end)
    width = reader.amount()
    if not reader.take("word", "wide", "apart"):
        reader.finish()
        reader.refuse("incomplete", "Say “wide” or “apart” after a row's second figure.", reader.end)
    return width


def read(text: str, examples: tuple[str, str], rule: Callable[[Reader], T]) -> T:
    """The text by the rule. Raises QuantityError, AmbiguousQuantity where a number has two readings."""
    if len(text) > LONGEST_TEXT:
        message = f"This is longer than {LONGEST_TEXT} characters."
        raise QuantityError(message, code="too_long", position=LONGEST_TEXT, rest=text[LONGEST_TEXT:], examples=examples)
    reader = Reader(text, ".", examples)
    if reader.here.kind == "end":
        reader.refuse("empty", "Nothing is written here.", 0)
    ambiguous = [t for t in reader.tokens if t.kind == "number" and _TWO_WAYS.fullmatch(t.word)]
    if not ambiguous:
        return rule(reader)

    outcomes = [_attempt(Reader(text, mark, examples), rule) for mark in ".,"]
    refusals = [outcome for outcome in outcomes if isinstance(outcome, QuantityError)]
    if len(refusals) == 2:
        raise refusals[0]
    if refusals:
        message = f"“{ambiguous[0].word}” can be read in two ways. Write it without that mark."
        reader.refuse("separator", message, ambiguous[0].start)
    readings = (_rewritten(text, ambiguous, "."), _rewritten(text, ambiguous, ","))
    raise AmbiguousQuantity(text, position=ambiguous[0].start, readings=readings)


def _attempt(reader: Reader, rule: Callable[[Reader], T]) -> T | QuantityError:
    try:
        return rule(reader)
    except QuantityError as refusal:
        return refusal


def _rewritten(text: str, ambiguous: list[Token], mark: str) -> str:
    for token in reversed(ambiguous):
        value = read_number(token.word, mark)
        assert value is not None
        text = f"{text[: token.start]}{decimal_text(value)}{text[token.end :]}"
    return text.strip()
