"""Boron that nobody declared is not known: it is frozen so, and next year's account does not begin from none."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from gardens.models import Garden
from schedules.actions.rounds import exchange_revision, freeze_round
from schedules.models import Round
from schedules.queries.plans import land_of_round
from tests.play import make_revision
from tests.schedules.scenes import FIRST, NOW, a_round, another_revision

pytestmark = pytest.mark.django_db


def frozen(cast: Any, **changes: Any) -> Round:
    round = a_round(cast, **changes)
    freeze_round(round=round, by=cast.organiser, now=NOW)
    return round


def kept(round: Round) -> list[int | None]:
    return [week["b_ug"] for week in round.snapshots.order_by("-number")[0].lines.get().weeks]


def test_a_freeze_keeps_that_it_is_not_known(cast: Any) -> None:
    assert kept(frozen(cast, revision=another_revision(cast, {"N": "10"}))) == [None] * 4


def test_none_declared_is_none(cast: Any) -> None:
    assert kept(frozen(cast, revision=another_revision(cast, {"N": "10", "B": "0"}))) == [0] * 4


def test_so_does_another_bag(cast: Any) -> None:
    round = frozen(cast)
    assert all(kept(round))
    exchange_revision(round=round, by=cast.organiser, revision=another_revision(cast, {"N": "10"}))
    assert kept(round) == [None] * 4


@pytest.mark.parametrize(("label", "known"), [({"N": "10"}, False), ({"N": "10", "B": "0.02"}, True)])
def test_next_years_account_begins_from_what_is_known(cast: Any, label: dict[str, str], known: bool) -> None:
    frozen(cast, first_day=dt.date(2026, 8, 3), revision=another_revision(cast, label))
    Garden.objects.update(first_feed=dt.date(2027, 5, 3), last_feed=dt.date(2027, 9, 13))
    (plan,) = (
        land_of_round(
            a_round(
                cast,
                first_day=dt.date(2027, 5, 3),
                revision=make_revision(cast.programme, cast.organiser, name="Next year's"),
            )
        )
        .surfaces[0]
        .plan.plantings
    )
    assert (plan.room_boron is not None) is known
    assert any("did not declare its boron" in note for note in plan.notes) is not known


def test_another_bag_in_the_same_season_does_not_make_the_first_ones_boron_known(cast: Any) -> None:
    frozen(cast, revision=another_revision(cast, {"N": "10"}))
    later = a_round(cast, first_day=FIRST + dt.timedelta(weeks=4))
    plan = land_of_round(later).surfaces[0].plan.plantings[0]
    assert plan.room_boron is None and plan.feeds[0].ug_boron is not None
