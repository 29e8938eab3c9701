"""The scales that the programme has."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from blends.models import Scale
from gardens.models import Person, Programme
from gardens.refusals import InTheWay, Refused


@transaction.atomic
def add_scale(
    *, programme: Programme, by: Person, name: str, division_mg: int, min_mg: int = 0, max_mg: int
) -> Scale:
    """A named scale: its smallest step, smallest and largest load. Never changed: retired, entered anew."""
    text = " ".join(name.split())
    if not text or len(text) > 60:
        raise Refused("name_wanted", "Name it as people call it, such as Scale A.", "name")
    if not 1 <= division_mg <= 10_000_000:
        raise Refused("division", "The smallest step is more than nothing, such as 1 g.", "division")
    if min_mg < 0:
        raise Refused("minimum", "The smallest load is zero or more.", "minimum")
    if not max(min_mg, division_mg) < max_mg <= 10**10:
        raise Refused("maximum", "The largest load is more than one step and the smallest load.", "maximum")
    try:
        with transaction.atomic():
            return Scale.objects.create(
                programme=programme, name=text, division_mg=division_mg, min_mg=min_mg, max_mg=max_mg
            )
    except IntegrityError:
        raise InTheWay("have_it", f"There is a scale named “{text}” already.", "name") from None


@transaction.atomic
def retire_scale(*, scale: Scale, by: Person) -> Scale:
    """No longer used; what was read on it keeps its name."""
    if not Scale.objects.filter(pk=scale.pk, retired=False).update(retired=True):
        raise InTheWay("retired", f"{scale.name} is no longer used already; nothing changed.")
    scale.refresh_from_db()
    return scale
