"""Quantities in JSON: ``{"value": "155", "unit": "g"}`` out, that or text as people write it in.

Values are exact decimal strings. Where an exact figure has no end as a decimal, ``exact`` gives it as a
fraction beside its first 28 digits, if that is short. A text with two readings ("1.500 kg") is refused with
both, never guessed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from typing import Any, ClassVar, NotRequired, TypedDict

from rest_framework import serializers

from gardens import figures
from gardens import quantities as q
from gardens.api.problems import Readings
from gardens.numerals import exact_text, half_up
from gardens.units import UNITS, Kind

_SHORTENED = Context(prec=28, rounding=ROUND_HALF_UP)
LONGEST = 200
MOST_PLACES = 60
LONGEST_EXACT = 40
_DECIMAL = re.compile(r"-?[0-9]{1,24}(\.[0-9]{1,30})?")
_NUMBER = re.compile(r"[0-9]{1,24}(\.[0-9]{1,30})?|[0-9]{1,15}/[0-9]{1,15}")


class QuantityJSON(TypedDict):
    value: str
    unit: str
    exact: NotRequired[str]


def decimal_text(value: int | Decimal | Fraction) -> tuple[str, str]:
    """(plain decimal, fraction "n/d" where the decimal has no end). The decimal then has 28 digits, half up.

    >>> decimal_text(Fraction(40, 3))
    ('13.33333333333333333333333333', '40/3')
    """
    exact = Fraction(value)
    primes = list(_primes(exact.denominator))
    places = max(primes.count(2), primes.count(5))
    if set(primes) <= {2, 5} and places <= MOST_PLACES:
        return _plain(Decimal(f"{int(exact * 10**places)}e-{places}")), ""
    return _plain(_SHORTENED.divide(Decimal(exact.numerator), Decimal(exact.denominator))), f"{exact}"


def _primes(number: int) -> Iterator[int]:
    """2 and 5 as often as they divide the number, then what is left, if anything is."""
    for prime in (2, 5):
        while number % prime == 0:
            yield prime
            number //= prime
    if number > 1:
        yield number


def _plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def figure(value: int | Decimal | Fraction, unit: str) -> QuantityJSON:
    """``{"value", "unit"}``, and ``exact`` where the value is a shortened fraction."""
    text, exact = decimal_text(value)
    if exact and len(exact) <= LONGEST_EXACT:
        return {"value": text, "unit": unit, "exact": exact}
    return {"value": text, "unit": unit}


def grams(mg: int | Fraction) -> QuantityJSON:
    return figure(Fraction(mg) / 1000, "g")


def square_metres(mm2: int | Fraction) -> QuantityJSON:
    return figure(Fraction(mm2) / 1_000_000, "m2")


def percent(value: int | Decimal | Fraction) -> QuantityJSON:
    return figure(value, "%")


def money(minor: int | Fraction, currency: str) -> QuantityJSON:
    return figure(Fraction(minor) / 10 ** figures.decimals_of(currency), currency)


class Quantity(serializers.Serializer[Any]):
    """An exact decimal and its unit."""

    value = serializers.CharField(help_text="An exact decimal, such as 155 or 2.972897.")
    unit = serializers.CharField(help_text="Such as g, m2 or %; an ISO code for money.")


class ExactQuantity(Quantity):
    """An exact decimal and its unit; ``exact`` is there where the decimal has no end and is shortened."""

    exact = serializers.CharField(required=False, help_text="The exact value as a fraction, such as 40/3.")


def plain_number(text: str) -> Fraction:
    """ "13.5", "13,5" or "40/3", not negative; ValidationError on anything else."""
    number = text.replace(",", ".").strip()
    try:
        if _NUMBER.fullmatch(number):
            return Fraction(number)
    except ZeroDivisionError:
        pass
    raise serializers.ValidationError(f"“{text[:40]}” is no number, such as 13.5 or 40/3.", "value")


class QuantityField(serializers.Field[Any, Any, Any, Any]):
    """Base: takes text or ``{value, unit}``, gives a whole number of the unit at rest, and prints it back."""

    kind: ClassVar[Kind]
    texts: ClassVar[tuple[str, ...]]
    shape: ClassVar[type[Quantity]] = Quantity
    default_error_messages = {
        "form": 'Write a text such as “{example}”, or {{"value": "155", "unit": "g"}}.',
        "value": "“{value}” is no exact decimal, such as “155” or “2.5”.",
        "unit": "“{unit}” is no unit that is known here.",
        "negative": "It cannot be less than nothing.",
    }

    def __init__(self, *, positive: bool = False, **kwargs: Any) -> None:
        self.positive = positive
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, str):
            return self._checked(self._read(data))
        if isinstance(data, Mapping) and set(data) <= {"value", "unit", "exact"}:
            return self._checked(self.exactly(*self._pair(data)))
        return self.fail("form", example=self.texts[0])

    def to_representation(self, value: Any) -> Any:
        raise NotImplementedError

    def parse(self, text: str) -> Any:
        raise NotImplementedError

    def exactly(self, value: Fraction, unit: str) -> Any:
        """From an exact value in one of the units that texts know, rounded half up as they are."""
        known = UNITS.get(unit.replace("m2", "m²").replace("ft2", "ft²"))
        if known is None or known.kind is not self.kind:
            self.fail("unit", unit=unit[:40])
        return half_up(value * known.size)

    def _read(self, text: str) -> Any:
        try:
            return self.parse(text[: LONGEST + 1])
        except q.AmbiguousQuantity as error:
            raise serializers.ValidationError(str(error), Readings(error.readings)) from None
        except q.QuantityError as error:
            raise serializers.ValidationError(str(error), error.code) from None

    def _pair(self, data: Mapping[str, Any]) -> tuple[Fraction, str]:
        value, unit = data.get("value"), data.get("unit")
        if not isinstance(unit, str):
            self.fail("form", example=self.texts[0])
        if not isinstance(value, str) or not _DECIMAL.fullmatch(value):
            self.fail("value", value=str(value)[:40])
        if value.startswith("-"):
            self.fail("negative")
        return Fraction(value), unit

    def _checked(self, value: Any) -> Any:
        if self.positive and not value:
            raise serializers.ValidationError("More than nothing is needed here.", "zero")
        return value


class Mass(QuantityField):
    """Milligrams inside; grams out."""

    kind = Kind.MASS
    texts = ("2 lb 4 oz", "155 g")

    def parse(self, text: str) -> int:
        return q.parse_mass(text).milligrams

    def exactly(self, value: Fraction, unit: str) -> int:
        mg: int = super().exactly(value, unit)
        if mg > q.MOST_MG:
            raise serializers.ValidationError("That is beyond anything weighed here.", "too_much")
        return mg

    def to_representation(self, value: int) -> QuantityJSON:
        return grams(value)


class Area(QuantityField):
    """Square millimetres inside; square metres out. As text a measure: "4 x 8 ft"."""

    kind = Kind.AREA
    texts = ("4 x 8 ft", "30 m²")

    def parse(self, text: str) -> int:
        return q.parse_area(text).area_mm2

    def exactly(self, value: Fraction, unit: str) -> int:
        mm2: int = super().exactly(value, unit)
        if mm2 > q.MOST_MM2:
            raise serializers.ValidationError("That is larger than any garden.", "too_much")
        return mm2

    def to_representation(self, value: int) -> QuantityJSON:
        return square_metres(value)


class MeasureText(QuantityField):
    """The measures of a bed or plot, kept as they are written: gives text, which the act reads."""

    kind = Kind.AREA
    texts = ("2 × 4 x 8 ft", "30 ft row 18 in wide")

    def parse(self, text: str) -> str:
        q.parse_measure(text)
        return text.strip()

    def exactly(self, value: Fraction, unit: str) -> str:
        return self._read(f"{exact_text(value)} {unit}")  # type: ignore[no-any-return]

    def to_representation(self, value: str) -> Any:
        return value


class Percent(QuantityField):
    """An exact Fraction of hundred inside: 40/3 for 13.33… %."""

    texts = ("13.5 %", "40/3 %")
    shape = ExactQuantity

    def parse(self, text: str) -> Fraction:
        return self._in_range(plain_number(text.removesuffix("%")))

    def exactly(self, value: Fraction, unit: str) -> Fraction:
        if unit != "%":
            self.fail("unit", unit=unit[:40])
        return self._in_range(value)

    def _in_range(self, value: Fraction) -> Fraction:
        if value > 100:
            raise serializers.ValidationError("A share is at most 100 %.", "over_hundred")
        return value

    def to_representation(self, value: Fraction | Decimal) -> QuantityJSON:
        return percent(value)


class Money(QuantityField):
    """Whole minor units inside; the programme's currency, which the context's seat tells."""

    texts = ("29.00", "29,50")

    @property
    def currency(self) -> str:
        return str(self.context["seat"].programme.currency)

    def parse(self, text: str) -> int:
        plain = text.replace(",", ".").replace(" ", "")
        if not _DECIMAL.fullmatch(plain) or plain.startswith("-"):
            self.fail("value", value=text[:40])
        return self.exactly(Fraction(plain), self.currency)

    def exactly(self, value: Fraction, unit: str) -> int:
        if unit != self.currency:
            raise serializers.ValidationError(f"This programme reckons in {self.currency}.", "unit")
        minor = value * 10 ** figures.decimals_of(unit)
        if minor.denominator != 1 or minor > 10**12:
            self.fail("value", value=decimal_text(value)[0][:40])
        return int(minor)

    def to_representation(self, value: int) -> QuantityJSON:
        return money(value, self.currency)
