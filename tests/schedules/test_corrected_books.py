"""What a correction must not lose: who agreed, what is still odd, and figures that add up."""

from __future__ import annotations

from typing import Any

import pytest

from blends.models import Flag, FlagCode, Gate, Place
from gardens.clock import today
from schedules import account
from schedules.actions import desk
from schedules.models import Collection
from schedules.queries.books import Wanted, ticket_list
from schedules.queries.totals import totals_of
from tests.play import Day, key, play_day

pytestmark = pytest.mark.django_db


@pytest.fixture
def day(cast: Any) -> Day:
    return play_day(cast)


def give(cast: Any, day: Day, grams: int = 200, **more: Any) -> Collection:
    given: dict[str, Any] = {
        "portion": day.portions["17"], "by": cast.steward, "pail": day.pails[0], "reading_mg": grams * 1000,
        "collected_by": cast.holder, "key": key(),
    }  # fmt: skip
    return desk.hand_out(**{**given, **more})


def correct(cast: Any, wrong: Collection, grams: int) -> Collection:
    return desk.correct_collection(
        collection=wrong, by=cast.organiser, key=key(), reason="typed wrong", reading_mg=grams * 1000
    )


def back(cast: Any, day: Day, grams: int, **more: Any) -> Any:
    return desk.take_back(
        portion=day.portions["17"], by=cast.steward, mass_mg=grams * 1000, reason="wet",
        key=more.pop("key", key()), **more,
    )  # fmt: skip


def test_what_was_taken_back_before_the_hand_out_was_reversed_counts_once(cast: Any, day: Day) -> None:
    wrong = give(cast, day)
    back(cast, day, 200)
    desk.reverse_collection(collection=wrong, by=cast.organiser, key=key(), reason="it was another plot")
    now = today(cast.programme)
    totals = totals_of(cast.programme, None, now)
    (plot,), (person,) = totals.plots, totals.persons
    assert (plot.handed_out_mg, plot.taken_back_mg, person.took_mg, person.collections) == (0, 200_000, 0, 0)
    assert plot.other_mg == 200_000 == totals.found_mg and totals.came_in_mg == totals.is_now_mg
    behind = ticket_list(cast.programme, None, now, Wanted("tub", person=cast.holder))
    assert behind.sum_mg == person.took_mg


def test_a_correction_below_what_came_back_already_counts_what_was_handed_out(cast: Any, day: Day) -> None:
    wrong = give(cast, day)
    back(cast, day, 200)
    correct(cast, wrong, 150)
    (plot,), (person,) = (
        (totals := totals_of(cast.programme, None, today(cast.programme))).plots,
        totals.persons,
    )
    assert (plot.handed_out_mg, person.took_mg, person.collections) == (150_000, 150_000, 1)


def test_a_correction_keeps_who_agreed_that_a_neighbour_collects(cast: Any, day: Day) -> None:
    wrong = give(cast, day, 120, collected_by=cast.auditor, consent="Henna's letter, in the folder")
    right = correct(cast, wrong, 150)
    assert (right.question, right.question_reason) == ("neighbour", "Henna's letter, in the folder")


def test_what_was_odd_about_a_hand_out_stays_to_settle_when_its_figure_is_corrected(
    cast: Any, day: Day
) -> None:
    Place.objects.filter(pail=day.pails[0]).update(gate=Gate.HELD)
    wrong = give(cast, day, 200, told=True)
    right = correct(cast, wrong, 190)
    assert list(Flag.objects.filter(settled_at=None).values_list("ticket", "code")) == [
        (right.ticket_id, FlagCode.HELD)
    ]


def test_the_same_key_takes_back_once_though_a_newer_tub_came_meanwhile(cast: Any, day: Day) -> None:
    give(cast, day, 150)
    first, once = None, key()
    first = back(cast, day, 30, key=once)
    newer = type(day.batch).objects.create(
        programme=cast.programme, day=day.day, number=2, revision=day.revision, mass_mg=1_000_000
    )
    Place.objects.create(
        programme=cast.programme, kind="tub", plot=cast.plot, household=cast.household, batch=newer
    )
    assert back(cast, day, 30, key=once) == first


def test_the_account_owes_what_the_desk_owes_and_its_band_is_that_of_the_totals(cast: Any, day: Day) -> None:
    from blends.actions.stock import count_place

    give(cast, day, 155, home_mg=45_000)
    for pail in day.pails:
        place = Place.objects.get(pail=pail)
        count_place(place=place, by=cast.steward, counted_mg=place.balance_mg, key=key(), day=day.day)
    told = account.account_of(day.day)
    totals = totals_of(cast.programme, None, today(cast.programme))
    assert (told.owed, told.owed_mg) == (0, totals.owed_mg) == (0, 0)
    assert told.band_mg == totals.counted.band_mg
