"""A slip belongs to one household: its days, its tub."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from gardens.actions.tenancies import pass_on
from schedules.actions.rounds import freeze_round
from schedules.queries.slips import slips
from tests.cast import make_person
from tests.schedules.scenes import FIRST, NOW, a_round

pytestmark = pytest.mark.django_db


def test_a_plot_that_changes_hands_inside_the_round_has_a_slip_for_each_household(cast: Any) -> None:
    nadia = make_person(cast.programme, "Nadia", signs_in=False)
    pass_on(plot=cast.plot, by=cast.organiser, persons=[nadia], day=FIRST + dt.timedelta(weeks=3))
    round = a_round(cast)
    freeze_round(round=round, by=cast.organiser, now=NOW)
    old, new = slips(round)
    assert (old.holders, new.holders) == ("Henna", "Nadia")
    days = [[day for line in slip.lines for day in line.days] for slip in (old, new)]
    assert days == [
        [FIRST, FIRST + dt.timedelta(weeks=1), FIRST + dt.timedelta(weeks=2)],
        [FIRST + dt.timedelta(weeks=3)],
    ]
    for slip in (old, new):
        held = sum(line.mg * len(line.days) for line in slip.lines)
        assert held <= slip.due_mg < held + cast.programme.desk_division_mg
