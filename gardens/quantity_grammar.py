"""The small grammar of quantities as people write them: text in, exact fractions of base units out.

    quantity := part ([","|"and"] part)*           "2 lb 4 oz", "4 ft 6 in": each unit divides the one before
    part     := number unit                        "3 1/2 lb", "½ lb", "1 500 g", "1,2 m"
    measure  := [count] sides [shape]              "4 x 8 ft", "2 × 4 x 8 ft", "6 ft circle", "30 m²"
    count    := number "×" | number noun ["of"]    "5 pots of 12 in"; a cross unlike those between the sides
    sides    := side ("x" side)*                   a bare number takes the unit of the next side that has one
    row      := side "row" side ("wide"|"apart")   "30 ft row 18 in wide"
    rate     := quantity "/" [number] area-unit    "3 lb/1000 ft²"

One point or comma before exactly three digits ("1.500") has two readings. It is never guessed: the rules run
once with each mark as the decimal mark, and both readings are handed back to be chosen from.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, NoReturn, TypeVar

from gardens.numerals import BAR, NUMERAL, VULGAR, exact_text, has_two_readings, read_numeral
from gardens.units import UNITS, Kind, Unit

Shape = Literal["rectangle", "circle", "row", "pot", "area"]
T = TypeVar("T")

LONGEST_TEXT = 200
LARGEST_COUNT = 10_000


class QuantityError(ValueError):
    """No such quantity: what is wrong, where reading stopped, the text left there, two that would do."""

    def __init__(
        self, message: str, *, code: str, position: int, rest: str, examples: tuple[str, str]
    ) -> None:
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
        rest = text[position:]
        super().__init__(message, code="ambiguous", position=position, rest=rest, examples=readings)
        self.readings = readings

    def __str__(self) -> str:
        return self.message


# Tokens

_LETTER = rf"[^\W\d_²³¹{VULGAR}]"
_CROSS = "[xXхХ]"  # Latin and Cyrillic
_TOKEN = re.compile(
    rf"""
      (?P<space> [\s\u200b\u200e\u200f\u2060\ufeff]+ )
    | (?P<number> {NUMERAL} )
    | (?P<inches> ["”“″] | '' | ’’ | ′′ )
    | (?P<feet> ['’‘′] )
    | (?P<times> [×✕⨯*] | {_CROSS}(?!{_LETTER}) )
    | (?P<slash> {BAR} )
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
    """`kind` is a group of _TOKEN or "end"; `word` its text, words made alike: "ft²" for "FT^2"."""

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
    """`total` in base units, `unit` the first that was written; a bare number where `unit` is None."""

    total: Fraction
    unit: Unit | None
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Sides:
    """A measure before rounding: two sides of a rectangle or row, or a diameter, in mm; or an area in mm²."""

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

    def shown(self, start: int = 0, end: int | None = None) -> str:
        return excerpt(self.text[start:end])

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
            self.refuse("incomplete", f"“{self.shown()}” is cut short.", self.here.start)
        understood = self.shown(0, self.here.start)
        left = self.shown(self.here.start)
        self.refuse("junk", f"Understood up to “{understood}”, but not “{left}”.", self.here.start)

    def number(self) -> Fraction:
        token = self.here
        if token.kind == "minus" and self.ahead.kind == "number":
            self.refuse("negative", f"“{self.shown(token.start)}” is below zero.", token.start)
        if token.kind == "end":
            self.refuse("incomplete", f"“{self.shown()}” is cut short.", token.start)
        if token.kind != "number":
            left = self.shown(token.start)
            self.refuse("number", f"Stopped at “{left}”: a number should stand there.", token.start)
        value = read_numeral(token.word, self.mark)
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
        if token.word not in _NOT_UNITS:
            written = self.shown(token.start, token.end)
            self.refuse("unit_unknown", f"“{written}” is not a unit known here.", token.start)
        return None

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
                self.refuse("unit_missing", f"Say the unit of “{self.shown(position)}”.", position)
            if unit.kind is not first.kind or not unit.divides(coarser):
                left = self.shown(position)
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

    def expect(self, amount: Amount, unit: Unit, *kinds: Kind) -> None:
        if unit.kind not in kinds:
            written = self.shown(amount.start, amount.end)
            wanted = " or ".join(_A[kind] for kind in kinds)
            self.refuse(
                "unit_kind", f"“{written}” is {_A[unit.kind]}; {wanted} is wanted here.", amount.start
            )

    def in_units(self, amounts: list[Amount], kind: Kind, default: Unit | None) -> tuple[Fraction, ...]:
        """Their totals. A bare number takes the unit of the next that has one, or the default if none has."""
        unit = default if all(amount.unit is None for amount in amounts) else None
        totals: list[Fraction] = []
        for amount in reversed(amounts):
            unit = amount.unit or unit
            if unit is None:
                written = self.shown(amount.start, amount.end)
                self.refuse("unit_missing", f"Say the unit of “{written}”.", amount.end)
            self.expect(amount, unit, kind)
            totals.append(amount.total * unit.size if amount.unit is None else amount.total)
        return tuple(reversed(totals))


_A = {Kind.LENGTH: "a length", Kind.AREA: "an area", Kind.MASS: "a mass", Kind.VOLUME: "a volume"}


def unit_called(word: str) -> Unit:
    """For a caller's default. KeyError where there is no such unit: that is no slip of who typed the text."""
    return UNITS[next(tokens_of(word)).word]


def quantity(reader: Reader, kind: Kind, default: Unit | None) -> Fraction:
    (total,) = reader.in_units([reader.amount()], kind, default)
    reader.finish()
    return total


def rate(reader: Reader) -> Fraction:
    """Mass per area, in mg/mm²."""
    (mass,) = reader.in_units([reader.amount()], Kind.MASS, None)
    if not reader.take("slash"):
        reader.finish()
        reader.refuse("incomplete", f"“{reader.shown()}” is a mass: say for how much ground.", reader.end)
    start = reader.here.start
    number = Fraction(1) if reader.here.kind == "word" else reader.number()
    unit = reader.unit()
    if unit is None:
        reader.refuse("unit_missing", f"“{reader.shown()}” does not say for how much ground.", start)
    (area,) = reader.in_units([Amount(number * unit.size, unit, start, reader.end)], Kind.AREA, None)
    reader.finish()
    if area == 0:
        reader.refuse("zero", f"“{reader.shown(start)}” is no ground at all.", start)
    return mass / area


def measure(reader: Reader, default: Unit | None) -> Sides:
    count, noun = _counted(reader)
    factors = [reader.amount()]
    crosses: list[str] = []
    while cross := reader.take("times"):
        crosses.append(cross.word)
        factors.append(reader.amount())
    word = reader.take("word", *_SHAPES)
    shape = _SHAPES[word.word] if word else noun
    width = _width(reader) if word and shape == "row" else None
    reader.finish()

    kinds = set()
    for amount in [*factors, width] if width else factors:
        if amount.unit:
            reader.expect(amount, amount.unit, Kind.LENGTH, Kind.AREA)
            kinds.add(amount.unit.kind)
    if kinds:
        default = None
    elif default:
        kinds.add(default.kind)
    else:
        reader.refuse("unit_missing", f"Say the unit of “{reader.shown()}”.", reader.end)

    is_area = Kind.AREA in kinds and shape in (None, "rectangle")
    wanted = 1 if is_area or width or shape in ("circle", "pot") else 2
    if count is None and len(factors) == wanted + 1 and factors[0].unit is None:
        if wanted == 2 and crosses[0] == crosses[1]:
            _three_figures(reader, factors)
        count = _count(reader, factors[0].total, factors.pop(0).start)
    if len(factors) < wanted:
        reader.refuse("incomplete", f"“{reader.shown()}” is one side only.", reader.end)
    if len(factors) > wanted:
        extra = factors[wanted]
        written = reader.shown(extra.start, extra.end)
        reader.refuse("junk", f"“{written}” is one side too many.", extra.start)

    if is_area:
        return Sides("area", count or 1, reader.in_units(factors, Kind.AREA, default))
    sides = reader.in_units(factors, Kind.LENGTH, default)
    if width:
        sides += reader.in_units([width], Kind.LENGTH, default)
    return Sides(shape or "rectangle", count or 1, sides)


def _three_figures(reader: Reader, factors: list[Amount]) -> NoReturn:
    """ "4 x 8 x 1 ft": four beds of 8 x 1 ft, or one of 4 x 8 ft, 1 ft deep? One sign throughout does not say."""
    _count(reader, factors[0].total, factors[0].start)
    first, second, third = (reader.text[f.start : f.end].strip() for f in factors)
    unit = (
        "" if factors[1].unit else reader.text[factors[2].start : factors[2].end].lstrip("0123456789.,/ ½¼¾")
    )
    readings = (f"{first} beds of {second} x {third}", f"{first} x {second} {unit}".strip())
    raise AmbiguousQuantity(reader.text, position=factors[2].start, readings=readings)


def _counted(reader: Reader) -> tuple[int | None, Shape | None]:
    """ "5 pots of" or "1 pot of", if that stands here; "30 row" is a length."""
    start, noun = reader.here.start, reader.ahead.word
    if reader.here.kind != "number" or noun not in _NOUNS or (reader.here.word != "1" and noun[-1] != "s"):
        return None, None
    number = reader.number()
    reader.index += 1
    reader.take("word", "of")
    return _count(reader, number, start), _NOUNS[noun]


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
        message, rest = f"This is longer than {LONGEST_TEXT} characters.", text[LONGEST_TEXT:]
        raise QuantityError(message, code="too_long", position=LONGEST_TEXT, rest=rest, examples=examples)
    reader = Reader(text, ".", examples)
    if reader.here.kind == "end":
        reader.refuse("empty", "Nothing is written here.", 0)
    ambiguous = [t for t in reader.tokens if t.kind == "number" and has_two_readings(t.word)]
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
        value = read_numeral(token.word, mark)
        assert value is not None
        text = f"{text[: token.start]}{exact_text(value)}{text[token.end :]}"
    return text.strip()
