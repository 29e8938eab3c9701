"""An organiser's own rate, as people state one, brought to micrograms per square metre of the planting."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from schedules.rules import GRAM
from schedules.specs import DoseError, OwnRate


class Basis(StrEnum):
    """What the grams are for."""

    AREA = "m2"
    ROW = "metre of row"
    PLANT = "plant"
    LITRE = "litre of mix"


def own_rate(
    grams: Decimal | Fraction,
    per: Basis,
    *,
    of_nitrogen: bool,
    text: str,
    reason: str,
    area_mm2: int = 0,
    row_width_mm: int = 0,
    plants: int = 0,
    litres: Decimal | Fraction = Fraction(0),
    per_season: bool = False,
    every_weeks: int = 1,
    first: date | None = None,
    last: date | None = None,
) -> OwnRate:
    """`grams` of blend (or of nitrogen) per m2, metre of row, plant or litre of mix, as an `OwnRate`.

    Raises DoseError: a rate that is not positive and finite, or one per row without a width, per plant
    without plants, per litre without litres (both need the planting's area too), or one without a reason. 10
    g per metre of a row 0.5 m wide are 20 g/m2.
    """
    if (isinstance(grams, Decimal) and not grams.is_finite()) or grams <= 0:
        raise DoseError("rate_not_positive", "A rate is a number above zero, such as 15 g/m2.", "own_rate")
    if not reason.strip():
        raise DoseError("reason_needed", "Say why this planting has its own rate.", "reason")
    if every_weeks < 1:
        raise DoseError(
            "interval_not_positive", "A rate is given every week, or every so many weeks.", "every_weeks"
        )
    if first and last and last < first:
        raise DoseError("last_before_first", "The last feed lies before the first.", "last")
    amount = Fraction(grams) * GRAM
    match per:
        case Basis.AREA:
            per_m2 = amount
        case Basis.ROW:
            if row_width_mm <= 0:
                raise DoseError(
                    "width_needed",
                    "A rate per length needs the width of the row, such as 45 cm.",
                    "row_width",
                )
            per_m2 = amount * 1000 / row_width_mm
        case Basis.PLANT:
            if plants <= 0:
                raise DoseError("plants_needed", "A rate per plant needs the number of plants.", "plants")
            per_m2 = amount * plants * 1_000_000 / _area(area_mm2)
        case Basis.LITRE:
            if litres <= 0:
                raise DoseError(
                    "litres_needed", "A rate per litre needs the litres of mix in the pot.", "litres"
                )
            per_m2 = amount * Fraction(litres) * 1_000_000 / _area(area_mm2)
    return OwnRate(per_m2, of_nitrogen, text, reason, per_season, every_weeks, first, last)


def _area(area_mm2: int) -> int:
    if area_mm2 <= 0:
        raise DoseError("area_needed", "The area of the planting is needed for this rate.", "area")
    return area_mm2
