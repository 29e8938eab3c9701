"""Figures as people read them: a value and its unit, with no more digits than a scale has.

Masses come in as milligrams, lengths as millimetres, areas as square millimetres, money as minor units, all
whole numbers as at rest. Between a figure and its unit stands U+00A0, between thousands U+202F, and minus
is U+2212.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from gardens.units import FT2_MM2, FT_MM, IN_MM, LB_MG, OZ_MG

NBSP, THIN, MINUS = "\u00a0", "\u202f", "\u2212"
US = "us"
_SYMBOLS = {
    "EUR": "€",
    "USD": "$",
    "GBP": "£",
    "CAD": "CA$",
    "AUD": "A$",
    "NZD": "NZ$",
    "MXN": "MX$",
    "JPY": "¥",
}
_NO_MINOR = frozenset({"JPY", "KRW", "CLP", "VND", "ISK", "XAF", "XOF", "XPF", "PYG", "UGX", "RWF"})
KILOGRAM = 1_000_000

Number = int | Decimal | Fraction


@dataclass(frozen=True, slots=True)
class Figure:
    """`Figure("1.845", "kg")`; printed "1.845 kg"."""

    value: str
    unit: str

    def __str__(self) -> str:
        return f"{self.value}{NBSP}{self.unit}" if self.unit else self.value


def rounded(value: Number, places: int) -> Decimal:
    """Half up to `places` decimals, exactly: a fraction is divided only once."""
    exact = Fraction(value)
    scaled = abs(exact) * 10**places
    whole = (2 * scaled.numerator + scaled.denominator) // (2 * scaled.denominator)
    return Decimal(-whole if exact < 0 else whole).scaleb(-places)


def number(value: Number, places: int = 0) -> str:
    """`1 234.5` with narrow spaces from a thousand on and a real minus."""
    amount = rounded(value, places)
    text = f"{abs(amount):,f}".replace(",", THIN)
    return f"{MINUS}{THIN}{text}" if amount < 0 else text


def trimmed(value: Number, places: int) -> str:
    """As `number`, without zeros at the end: `2.97`, `32`."""
    text = number(value, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def mass(mg: int, units: str = "", *, unit: str = "") -> Figure:
    """A mass in the reader's units.

    Metric: milligrams below a gram, one decimal below 10 g, then whole grams (a mass that was read to the
    tenth of a gram keeps it), kilograms to the gram from 1 kg on. US customary: ounces to the tenth below a
    pound, then pounds to the hundredth. `unit` names one of g, kg, oz, lb, so that a column has only one.
    """
    size = abs(mg)
    if not unit:
        if units == US:
            unit = "lb" if rounded(Fraction(size) / OZ_MG, 1) >= 16 else "oz"
        else:
            unit = "kg" if size >= KILOGRAM - 500 and (size >= KILOGRAM or size % 100) else "g"
    if unit == "kg":
        return Figure(kilograms(mg), "kg")
    if unit == "lb":
        return Figure(number(Fraction(mg) / LB_MG, 2), "lb")
    if unit == "oz":
        return Figure(trimmed(Fraction(mg) / OZ_MG, 1), "oz")
    if 0 < size < 1_000:
        return Figure(number(mg), "mg")
    return Figure(grams(mg), "g")


def kilograms(mg: int) -> str:
    """To the gram: `1.845`."""
    return number(Fraction(mg, KILOGRAM), 3)


def grams(mg: int, division_mg: int | None = None) -> str:
    """With the digits of a scale's division (`39.0` at 100 mg, `39` at 1 g); without one, see `mass`."""
    if division_mg:
        return number(Fraction(mg, 1_000), places_of(division_mg))
    if mg % 1_000 and (mg % 100 == 0 or abs(mg) < 9_950):
        return trimmed(Fraction(mg, 1_000), 1)
    return number(Fraction(mg, 1_000))


def places_of(division_mg: int) -> int:
    """How many decimals of a gram a scale of this division shows: 1 000 mg 0, 500 mg 1, 20 mg 2."""
    places = 0
    while division_mg * 10**places % 1_000 and places < 3:
        places += 1
    return places


def signed(mg: int, units: str = "") -> str:
    """With its sign written out: `+ 63 g`, `− 45 g`, `0 g`."""
    text = str(mass(mg, units))
    return f"+{THIN}{text}" if mg > 0 else text


def area(mm2: int, units: str = "") -> Figure:
    """Square metres to the hundredth (whole from 100 on), or square feet to the tenth."""
    if units == US:
        square_feet = Fraction(mm2) / FT2_MM2
        return Figure(trimmed(square_feet, 0 if square_feet >= 100 else 1), "ft²")
    square_metres = Fraction(mm2, 1_000_000)
    return Figure(number(square_metres, 0 if square_metres >= 100 else 2), "m²")


def length(mm: int, units: str = "") -> Figure:
    """Metres to the centimetre, or feet to the tenth (inches below one foot)."""
    if units == US:
        if mm < FT_MM:
            return Figure(trimmed(Fraction(mm) / IN_MM, 1), "in")
        return Figure(trimmed(Fraction(mm) / FT_MM, 1), "ft")
    return Figure(trimmed(Fraction(mm, 1_000), 2), "m")


def percent(share: Number, places: int = 1) -> str:
    """A share of one as per cent: `Decimal("0.1333")` is `13.3 %`."""
    return str(Figure(number(Fraction(share) * 100, places), "%"))


def decimals_of(currency: str) -> int:
    """How many decimals an amount of this currency has."""
    return 0 if currency in _NO_MINOR else 2


def money(minor: int, currency: str) -> str:
    """Minor units with the currency before them: `€ 29.00`; a code where no symbol is plain."""
    places = decimals_of(currency)
    amount = number(Fraction(abs(minor), 10**places), places)
    text = f"{_SYMBOLS.get(currency, currency)}{NBSP}{amount}"
    return f"{MINUS}{THIN}{text}" if minor < 0 else text
