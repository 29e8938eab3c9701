"""Told acts: not before the batch was made; and what a hand-out beyond what is due leaves to settle."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.utils import timezone

from blends.models import DayState, Flag, FlagCode, Gate, MixingDay, Place, Ticket
from gardens.refusals import Refused
from schedules.actions import desk
from tests.blends.shed import start_weighing
from tests.play import Day, key, play_day

LONG_AGO = dt.datetime(1900, 1, 1, tzinfo=dt.UTC)


@pytest.fixture
def day(cast: Any) -> Day:
    return play_day(cast)


def give(cast: Any, day: Day, reading_g: int = 200, **more: Any) -> Any:
    given: dict[str, Any] = {
        "portion": day.portions["17"], "by": cast.steward, "pail": day.pails[0], "key": key(),
        "reading_mg": reading_g * 1000, "collected_by": cast.holder,
    }  # fmt: skip
    return desk.hand_out(**{**given, **more})


def closed(day: Day) -> None:
    MixingDay.objects.filter(pk=day.day.pk).update(state=DayState.CLOSED)


def test_nothing_was_handed_out_before_its_batch_was_made(cast: Any, day: Day) -> None:
    before = Ticket.objects.count()
    with pytest.raises(Refused, match="batch 1 was not there yet") as refused:
        give(cast, day, told=True, happened_at=LONG_AGO)
    assert (refused.value.code, refused.value.field) == ("too_early", "happened_at")
    assert Ticket.objects.count() == before


def test_nothing_came_back_or_changed_hands_before_its_batch_was_made(cast: Any, day: Day) -> None:
    made = give(cast, day)
    with pytest.raises(Refused, match="was not there yet"):
        desk.take_back(
            portion=made.portion, by=cast.steward, mass_mg=1000, key=key(), reason="wet", happened_at=LONG_AGO
        )


def test_nothing_was_weighed_before_its_batch_was_made(cast: Any) -> None:
    weighing = start_weighing(cast)
    with pytest.raises(Refused, match="was not there yet") as refused:
        weighing.weigh("compound", happened_at=LONG_AGO)
    assert refused.value.code == "too_early"


def test_a_day_noted_on_paper_is_told_in_the_evening(cast: Any) -> None:
    weighing = start_weighing(cast)
    made_at = type(weighing.batch).objects.get().made_at
    type(weighing.batch).objects.update(made_at=made_at + dt.timedelta(hours=3))
    assert weighing.weigh("compound", happened_at=timezone.now()).ticket.happened_at


def test_a_hand_out_kept_with_a_reason_is_settled_like_one_that_was_told(cast: Any, day: Day) -> None:
    made = give(cast, day, 700, question_reason="for the neighbour too")
    flag = Flag.objects.get()
    assert (flag.ticket, flag.code, flag.mass_mg) == (made.ticket, FlagCode.TWICE, 500_000)
    assert flag.note and flag.settled_at is None


def test_a_reason_given_for_a_reading_that_is_not_over_leaves_nothing(cast: Any, day: Day) -> None:
    give(cast, day, 205, question_reason="a lump")
    assert not Flag.objects.exists()


def test_told_late_out_of_a_held_pail_says_both(cast: Any, day: Day) -> None:
    Place.objects.filter(pk=day.pail_place().pk).update(gate=Gate.HELD)
    closed(day)
    give(cast, day, told=True)
    assert {f.code for f in Flag.objects.all()} == {FlagCode.LATE, FlagCode.HELD}


def count_all(cast: Any, day: Day) -> None:
    from blends.actions.stock import count_place

    place = day.pail_place()
    count_place(place=place, by=cast.steward, counted_mg=place.balance_mg, key=key(), day=day.day)
    closed(day)


def test_what_is_put_back_into_a_counted_pail_stands_to_settle(cast: Any, day: Day) -> None:
    made = give(cast, day)
    count_all(cast, day)
    back = desk.reverse_collection(collection=made, by=cast.steward, key=key(), reason="never came")
    flag = Flag.objects.get()
    assert (flag.ticket, flag.code, flag.place, flag.mass_mg) == (back, "late", day.pail_place(), 200_000)


def test_a_figure_corrected_after_the_count_stands_to_settle(cast: Any, day: Day) -> None:
    made = give(cast, day)
    count_all(cast, day)
    new = desk.correct_collection(
        collection=made, by=cast.steward, key=key(), reason="misread", reading_mg=150_000
    )
    flag = Flag.objects.get()
    assert (flag.ticket, flag.code, flag.mass_mg) == (new.ticket, "late", 50_000)


def test_who_collected_is_corrected_after_the_count_without_a_flag(cast: Any, day: Day) -> None:
    made = give(cast, day)
    count_all(cast, day)
    desk.correct_collection(
        collection=made, by=cast.steward, key=key(), reason="it was Orla", reading_mg=200_000,
        collected_by=cast.organiser,
    )  # fmt: skip
    assert not Flag.objects.exists()


@pytest.mark.parametrize("change", [{"reason": "dry"}, {"happened_at": "now"}])
def test_the_same_key_told_otherwise_is_another_act(cast: Any, day: Day, change: dict[str, Any]) -> None:
    made, again = give(cast, day), key()
    came = {"portion": made.portion, "by": cast.steward, "mass_mg": 1000, "key": again, "reason": "wet"}
    desk.take_back(**came)
    if "happened_at" in change:
        change = {"happened_at": timezone.now()}
    with pytest.raises(Refused) as refused:
        desk.take_back(**came | change)
    assert refused.value.code == "key_reused"
