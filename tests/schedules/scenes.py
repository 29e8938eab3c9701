"""Scenes for the tests of rounds: many plots, a crop on a bed, a round, made with plain rows."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.utils import timezone

from blends.models import Basis, Blend, Component, Declaration, Kind, Material, Revision, Slow
from gardens.models import Bed, Planting, Plot, Tenancy
from schedules import crops
from schedules.actions.rounds import open_round
from schedules.models import Round
from tests.cast import make_person, make_plot
from tests.play import make_revision

FIRST = dt.date(2026, 6, 1)
NOW = dt.datetime(2026, 5, 27, 9, 0, tzinfo=dt.UTC)  # a Wednesday, before the round


def a_round(cast: Any, **changes: Any) -> Round:
    """Four weeks from 1 June over the cast's garden, on revision R."""
    asked: dict[str, Any] = {"gardens": [cast.garden], "first_day": FIRST, "weeks": 4, **changes}
    if "revision" not in asked:
        asked["revision"] = make_revision(cast.programme, cast.organiser)
    return open_round(programme=cast.programme, by=cast.organiser, **asked)


def more_plots(cast: Any, count: int) -> list[Plot]:
    """So many plots more, each of one bed and held by a person of its own."""
    return [
        make_plot(cast.garden, f"{100 + n}", make_person(cast.programme, f"Holder{n}", signs_in=False))[0]
        for n in range(count)
    ]


def planted(
    bed: Bed, code: str, day: dt.date, registered: dt.datetime | None = None, **more: Any
) -> Planting:
    """A crop of the catalogue on a bed, registered at some time (before the round unless told)."""
    crop = crops.crop(code)
    row = Planting.objects.create(
        programme=bed.programme, bed=bed, crop_code=code, crop_version=crops.version(), crop_name=crop.name,
        day=day, **more,
    )  # fmt: skip
    Planting.objects.filter(pk=row.pk).update(registered_at=registered or NOW)
    row.refresh_from_db()
    return row


def held_until(plot: Plot, day: dt.date) -> None:
    Tenancy.objects.filter(plot=plot).update(until_day=day)


def another_revision(
    cast: Any, values: dict[str, str], slow: Slow = Slow.NO, name: str = "Other"
) -> Revision:
    """A blend of one material with this label."""
    programme, by = cast.programme, cast.organiser
    material = Material.objects.create(programme=programme, name=f"Bag of {name}", kind=Kind.COMPOUND)
    declaration = Declaration.objects.create(
        programme=programme, material=material, basis=Basis.LABEL, values=values, slow=slow, by=by
    )
    blend = Blend.objects.create(programme=programme, name=name)
    revision = Revision.objects.create(programme=programme, blend=blend, number=1, by=by)
    Component.objects.create(
        programme=programme, revision=revision, position=1, material=material, declaration=declaration,
        mass_mg=10_000_000, written="10 kg",
    )  # fmt: skip
    return revision


def later(days: int) -> dt.datetime:
    return timezone.now() + dt.timedelta(days=days)
