"""A released, unopened pail of an earlier day is mixed less for, so it must be there to hand out of."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from blends.actions.days import close_day
from blends.actions.stock import count_place
from blends.models import DayState, Flag, Gate, MixingDay, Place
from gardens.refusals import InTheWay
from schedules.actions import desk
from schedules.models import Round
from schedules.queries.desk import portion_state
from schedules.queries.sizing import released_mg
from tests.play import Day, key, make_portion, mix, play_day

pytestmark = pytest.mark.django_db


@pytest.fixture
def later(cast: Any) -> Day:
    """Two pails of an earlier, closed day stand released and unopened; a new day has its own pail."""
    old = play_day(cast)
    Round.objects.filter(pk=old.round.pk).update(state="closed")
    before = old.day.day - dt.timedelta(days=28)
    MixingDay.objects.filter(pk=old.day.pk).update(state=DayState.CLOSED, day=before)
    day = MixingDay.objects.create(programme=cast.programme, garden=cast.garden, day=old.day.day)
    batch, pails = mix(
        day, old.revision, old.lots, old.scale, cast.steward, witness=cast.second_steward, pails=1,
        mass_mg=1_200_000, number=2,
    )  # fmt: skip
    round_ = Round.objects.create(
        programme=cast.programme, number=2, first_day=day.day, weeks=4, revision=old.revision, mixing_day=day,
        batch=batch, state="frozen", made_by=cast.organiser,
    )  # fmt: skip
    made = Day(cast.programme, day, round_, old.revision, old.lots, batch, [*old.pails, *pails], old.scale)
    made.portions["17"] = make_portion(round_, cast.plot, cast.household, 200_000)
    return made


def give(cast: Any, day: Day, pail: int = 0, **more: Any) -> Any:
    return desk.hand_out(
        portion=day.portions["17"], by=cast.steward, pail=day.pails[pail], reading_mg=200_000,
        collected_by=cast.holder, key=key(), **more,
    )  # fmt: skip


def test_what_was_not_mixed_because_it_stands_there_is_handed_out(cast: Any, later: Day) -> None:
    assert released_mg(later.round) == 12_000_000
    offered = {choice.pail for choice in portion_state(later.portions["17"]).pails}
    assert offered == set(later.pails)
    assert give(cast, later).ticket.told is False and not Flag.objects.exists()


def test_the_day_closes_once_the_earlier_pail_it_drew_from_is_counted(cast: Any, later: Day) -> None:
    give(cast, later)
    for place in Place.objects.filter(pail=later.pails[2]):
        count_place(place=place, by=cast.steward, counted_mg=place.balance_mg, key=key(), day=later.day)
    with pytest.raises(InTheWay, match="pail 1 of batch 1"):
        close_day(day=later.day, by=cast.steward)
    place = Place.objects.get(pail=later.pails[0])
    count_place(place=place, by=cast.steward, counted_mg=place.balance_mg, key=key(), day=later.day)
    assert close_day(day=later.day, by=cast.steward).state == DayState.CLOSED


def test_nothing_is_handed_out_of_it_once_its_own_desk_is_closed_too(cast: Any, later: Day) -> None:
    MixingDay.objects.filter(pk=later.day.pk).update(state=DayState.CLOSED)
    with pytest.raises(InTheWay, match="closed"):
        give(cast, later)
    Place.objects.filter(pail=later.pails[1]).update(gate=Gate.HELD)
    assert later.pails[1] not in {choice.pail for choice in portion_state(later.portions["17"]).pails}
