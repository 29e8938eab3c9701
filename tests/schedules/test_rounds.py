"""A round from open to mixed: live demand, freeze, portions, exchange, batch."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from gardens.models import Bed, Planting, Plot, Tenancy
from gardens.refusals import InTheWay, Refused
from schedules.actions.rounds import (
    change_round,
    close_round,
    exchange_revision,
    freeze_round,
    mix_round,
    open_round,
)
from schedules.models import FrozenLine, Portion, Round
from schedules.queries.plans import live_demand
from schedules.queries.sizing import sizing
from tests.cast import make_person, make_plot
from tests.play import make_revision

FIRST = dt.date(2026, 6, 1)


@pytest.fixture
def revision(cast: Any) -> Any:
    return make_revision(cast.programme, cast.organiser)


def opened(cast: Any, revision: Any, **changes: Any) -> Round:
    asked = {"gardens": [cast.garden], "first_day": FIRST, "weeks": 4, "revision": revision, **changes}
    return open_round(programme=cast.programme, by=cast.organiser, **asked)


def test_the_live_demand_of_a_bed_nobody_told_about_is_assumed(cast: Any, revision: Any) -> None:
    """4.577 g/m2 a week of revision R on a 4 x 8 ft bed, four weeks: 54.4 g."""
    need = live_demand(opened(cast, revision))
    assert need.mg == need.assumed_mg == 4 * 13_608
    assert [g.garden for g in need.gardens] == [cast.garden]
    assert need.mg == sum(p.mg for p in need.plots)


def test_a_freeze_keeps_lines_and_makes_portions_to_the_desk_scales_division(
    cast: Any, revision: Any, now: dt.datetime
) -> None:
    round = opened(cast, revision)
    snapshot = freeze_round(round=round, by=cast.organiser, now=now)
    line, portion = snapshot.lines.get(), round.portions.get()
    assert (line.bed, line.planting, line.assumed, line.mass_mg) == (cast.bed, None, True, 54_432)
    assert [w["day"] for w in line.weeks] == ["2026-06-01", "2026-06-08", "2026-06-15", "2026-06-22"]
    assert (portion.household, portion.demand_mg, portion.due_mg) == (cast.household, 54_432, 55_000)


def test_it_is_frozen_again_until_the_first_weigh_out_and_the_last_snapshot_counts(
    cast: Any, revision: Any, now: dt.datetime
) -> None:
    round = opened(cast, revision)
    freeze_round(round=round, by=cast.organiser, now=now)
    make_plot(cast.garden, "18", make_person(cast.programme, "Ines"))
    again = freeze_round(round=round, by=cast.organiser, now=now)
    assert again.number == 2
    assert again.lines.count() == 2 and FrozenLine.objects.count() == 3
    assert round.portions.count() == 2
