"""The organiser's own rate for a planting, and the lifting of one named cap; both with a reason."""

from __future__ import annotations

import datetime as dt
from fractions import Fraction

from django.db import transaction
from django.utils import timezone

from gardens.models import Garden, Person, Planting
from gardens.refusals import InTheWay, Refused
from schedules.models import CapLift, OwnRate
from schedules.rules import HOUSE

#: What a lifted cap becomes, µg/m2. Soil caps rise to the ceilings that no reason lifts.
LIFTED_TO = {
    "feed_n": int(HOUSE.soil_n_ceiling.value),
    "feed_mass": 1_000_000_000,
    "soil_n": int(HOUSE.soil_n_ceiling.value),
    "soil_b": int(HOUSE.soil_boron_ceiling.value),
}
MOST_UG_M2 = 1_000_000_000  # a kilogram to the square metre is a slip of the keyboard
MOST_FEEDS = 60


@transaction.atomic
def set_own_rate(
    *,
    planting: Planting,
    by: Person,
    written: str,
    of: str,
    per: str,
    ug_m2: int | Fraction,
    first_day: dt.date,
    feeds: int,
    every_weeks: int,
    reason: str,
) -> OwnRate:
    """Replaces steps 1 to 5 for this planting; the caps still cut it and say so. ``ug_m2`` is per feed and
    planting area.
    """
    if not reason.strip():
        raise Refused("reason_wanted", "Say why this planting has its own rate.", "reason")
    amount = int(Fraction(ug_m2) + Fraction(1, 2))
    if not 0 < amount <= MOST_UG_M2:
        raise Refused(
            "rate", "A rate is more than nothing and less than 1 kg/m², such as 15 g/m².", "written"
        )
    if not 1 <= feeds <= MOST_FEEDS or not 1 <= every_weeks <= 26:
        raise Refused("feeds", f"Between 1 and {MOST_FEEDS} feeds, every 1 to 26 weeks.", "feeds")
    if first_day < planting.day:
        raise Refused("before_planting", "The first feed comes before the planting day.", "first_day")
    values = {
        "programme": planting.programme,
        "written": written.strip()[:120],
        "of": of,
        "per": per,
        "ug_m2": amount,
        "first_day": first_day,
        "feeds": feeds,
        "every_weeks": every_weeks,
        "reason": reason.strip()[:400],
        "by": by,
        "at": timezone.now(),
    }
    return OwnRate.objects.update_or_create(planting=planting, defaults=values)[0]


@transaction.atomic
def drop_own_rate(*, planting: Planting, by: Person) -> None:
    """Back to the default algorithm."""
    if not OwnRate.objects.filter(planting=planting).delete()[0]:
        raise InTheWay("no_rate", "This planting has no rate of its own.")


@transaction.atomic
def lift_cap(
    *, by: Person, cap: str, reason: str, planting: Planting | None = None, garden: Garden | None = None
) -> CapLift:
    """Lift one named cap for one planting or one garden. A lift before it ends. No reason lifts the soil
    above 22.4 g of nitrogen to the square metre, or 3.4 kg of boron to the hectare.
    """
    if (planting is None) == (garden is None):
        raise Refused("of_what", "A cap is lifted for one planting or for one garden.")
    if cap not in LIFTED_TO:
        raise Refused("cap", "Choose the cap to lift.", "cap")
    if not reason.strip():
        raise Refused("reason_wanted", "Say why this cap is lifted.", "reason")
    now = timezone.now()
    CapLift.objects.filter(planting=planting, garden=garden, ended_at=None).update(ended_at=now)
    return CapLift.objects.create(
        programme=(planting or garden).programme,  # type: ignore[union-attr]
        cap=cap,
        planting=planting,
        garden=garden,
        to_ug_m2=LIFTED_TO[cap],
        reason=reason.strip()[:400],
        by=by,
        at=now,
    )


@transaction.atomic
def end_lift(*, lift: CapLift, by: Person) -> None:
    """The cap holds again."""
    if not CapLift.objects.filter(pk=lift.pk, ended_at=None).update(ended_at=timezone.now()):
        raise InTheWay("ended", "That cap holds again already.")
