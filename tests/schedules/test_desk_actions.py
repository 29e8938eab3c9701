from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.utils import timezone

from blends import ledger
from blends.actions.settling import reverse_ticket, settle
from blends.models import (
    Flag,
    FlagCode,
    Gate,
    MixingDay,
    Movement,
    Pail,
    Place,
    PlaceKind,
    Ticket,
    TicketKind,
)
from gardens.models import Household, Member, Person
from gardens.refusals import InTheWay, Refused
from schedules import portions
from schedules.actions import desk
from schedules.models import Collection
from tests.cast import make_plot
from tests.play import Day, key, make_revision, mix, move, play_day


@pytest.fixture
def day(cast: Any) -> Day:
    return play_day(cast)


def give(cast: Any, day: Day, reading_g: int = 200, **more: Any) -> Collection:
    given: dict[str, Any] = {
        "portion": day.portions["17"],
        "by": cast.steward,
        "pail": day.pails[0],
        "reading_mg": reading_g * 1000,
        "collected_by": cast.holder,
        "key": key(),
    }
    return desk.hand_out(**{**given, **more})


def refused(code: str, cast: Any, day: Day, reading_g: int = 200, **more: Any) -> Refused:
    before = Ticket.objects.count(), Movement.objects.count(), Collection.objects.count()
    with pytest.raises(Refused) as caught:
        give(cast, day, reading_g, **more)
    assert caught.value.code == code, caught.value.message
    assert (Ticket.objects.count(), Movement.objects.count(), Collection.objects.count()) == before
    return caught.value


def drain(cast: Any, day: Day, leave_g: int) -> None:
    """Leave so many grams in pail 1."""
    place = day.pail_place()
    waste = ledger.single(day.programme, PlaceKind.WASTE)
    move(day.programme, cast.organiser, TicketKind.WASTE, place, waste, place.balance_mg - leave_g * 1000)


def other_pail(cast: Any, day: Day) -> Pail:
    """A released pail of another blend."""
    other = make_revision(day.programme, cast.organiser, "Other blend")
    _, pails = mix(
        day.day, other, day.lots, day.scale, cast.steward, witness=cast.organiser, mass_mg=120_000, number=2
    )
    return pails[0]


def test_it_hands_out_of_the_pail_into_the_tub_and_opens_the_pail(cast: Any, day: Day) -> None:
    collection = give(cast, day)
    assert (day.pail_place().balance_mg, day.tub(collection.portion).balance_mg) == (5_800_000, 200_000)
    assert day.pail_place().opened and not day.pail_place(2).opened
    assert collection.net_mg == collection.ticket.lines.get().mass_mg == 200_000
    assert not Flag.objects.exists() and ledger.disagreement_mg(day.programme) == 0


def test_the_same_key_ten_times_is_one_collection(cast: Any, day: Day) -> None:
    again = key()
    assert len({give(cast, day, key=again).pk for _ in range(10)}) == 1
    assert day.pail_place().balance_mg == 5_800_000


def test_the_same_key_for_something_else_is_refused(cast: Any, day: Day) -> None:
    again = key()
    give(cast, day, 150, key=again)
    refused("key_reused", cast, day, 50, key=again)


def test_it_refuses_a_portion_that_somebody_else_handed_out_and_says_who(cast: Any, day: Day) -> None:
    give(cast, day)
    refusal = refused("already_collected", cast, day, by=cast.second_steward)
    assert isinstance(refusal, InTheWay) and "Stevo handed 200 g to Henna" in refusal.message.replace(
        "\u00a0", " "
    )


def test_what_is_at_home_is_topped_up_and_stays_known_at_the_second_visit(cast: Any, day: Day) -> None:
    give(cast, day, 100, home_mg=45_000)
    refused("with_the_tub", cast, day, 100)
    assert give(cast, day, 55).home_mg == 45_000
    refused("already_collected", cast, day, 5)


def test_with_as_much_at_home_as_is_due_nothing_is_handed_out(cast: Any, day: Day) -> None:
    assert refused("nothing_due", cast, day, 20, home_mg=200_000).field == "home"


@pytest.mark.parametrize(
    ("reading_g", "left_g", "tub_g", "home_g", "asked"),
    [
        (155, 155, 58, 45, False),
        (175, 155, 58, 45, False),  # over by 20 g: not more than 20 g
        (176, 155, 58, 45, True),  # over by more than 20 g and 10 %
        (258, 155, 58, 45, True),
        (330, 300, 0, 0, False),  # 10 % of 300
        (331, 300, 0, 0, True),
        (165, 155, 10, 0, True),  # just what it would be with a light tub
        (159, 155, 10, 0, False),  # nearer to what is due
        (60, 155, 58, 0, False),
        (72, 15, 58, 0, True),
        (155, 155, 0, 0, False),  # no tub known, nothing at home
    ],
)
def test_it_asks_about_the_tub(reading_g: int, left_g: int, tub_g: int, home_g: int, asked: bool) -> None:
    found = portions.question(
        reading_mg=reading_g * 1000, portion_mg=200_000, left_mg=left_g * 1000, tub_mg=tub_g * 1000,
        home_mg=home_g * 1000,
    )  # fmt: skip
    assert bool(found) == asked


def test_answering_with_the_tub_books_the_net_and_keeps_the_reading(cast: Any, day: Day) -> None:
    question = refused("with_the_tub", cast, day, 258)
    assert isinstance(question, desk.TubQuestion) and question.question.net_mg == 200_000
    collection = give(cast, day, 258, with_tub=True)
    assert (collection.reading_mg, collection.tare_mg, collection.net_mg) == (258_000, 58_000, 200_000)
    assert collection.question == "tub"


def test_a_reason_keeps_a_reading_that_was_asked_about(cast: Any, day: Day) -> None:
    collection = give(cast, day, 258, question_reason="a second bed since Monday")
    assert (collection.net_mg, collection.question_reason) == (258_000, "a second bed since Monday")


def test_with_the_tub_and_still_too_much_is_asked_again(cast: Any, day: Day) -> None:
    question = refused("with_the_tub", cast, day, 458, with_tub=True)
    assert "200 g more than is due" in question.message.replace("\u00a0", " ")


@pytest.mark.parametrize(("reading_g", "with_tub"), [(0, False), (-5, False), (58, True), (40, True)])
def test_a_reading_without_mass_is_refused(cast: Any, day: Day, reading_g: int, with_tub: bool) -> None:
    assert refused("no_mass", cast, day, reading_g, with_tub=with_tub).field == "reading"


def test_a_held_pail_hands_out_nothing(cast: Any, day: Day) -> None:
    Place.objects.filter(pail=day.pails[0]).update(gate=Gate.HELD)
    assert refused("pail_not_released", cast, day).field == "pail"


def test_a_pail_with_less_hands_out_nothing(cast: Any, day: Day) -> None:
    drain(cast, day, 140)
    assert refused("not_enough", cast, day).field == "pail"


def test_a_pail_of_another_blend_is_refused(cast: Any, day: Day) -> None:
    other = make_revision(day.programme, cast.organiser, "Other blend")
    _, pails = mix(
        day.day, other, day.lots, day.scale, cast.steward, witness=cast.organiser, mass_mg=12_000, number=2
    )
    assert refused("other_blend", cast, day, pail=pails[0]).field == "pail"


def test_a_closed_day_is_refused(cast: Any, day: Day) -> None:
    MixingDay.objects.update(state="closed")
    refused("day_closed", cast, day)


def test_any_member_of_the_household_collects(cast: Any, day: Day) -> None:
    other = Person.objects.create(programme=cast.programme, name="Piet")
    Member.objects.create(programme=cast.programme, household=cast.household, person=other)
    assert give(cast, day, collected_by=other).question == ""


def test_a_neighbour_collects_once_it_is_said_who_agreed(cast: Any, day: Day) -> None:
    neighbour = Person.objects.create(programme=cast.programme, name="Nan")
    assert refused("not_of_household", cast, day, collected_by=neighbour).field == "consent"
    collection = give(cast, day, collected_by=neighbour, consent="letter of 1 May, in the folder")
    assert (collection.question, collection.question_reason) == (
        "neighbour",
        "letter of 1 May, in the folder",
    )


def test_who_left_the_household_is_an_outsider(cast: Any, day: Day) -> None:
    Member.objects.filter(person=cast.holder).update(until_day=dt.date(2026, 1, 1))
    refused("not_of_household", cast, day)


# ---------- told ----------


def flags(ticket: Ticket) -> set[tuple[str, int]]:
    return {(f.code, f.mass_mg) for f in ticket.flags.all()}


def test_what_was_told_twice_is_kept_twice_and_flagged(cast: Any, day: Day) -> None:
    first = give(cast, day, told=True)
    second = give(cast, day, told=True, by=cast.second_steward)
    assert flags(first.ticket) == set() and flags(second.ticket) == {(FlagCode.TWICE, 200_000)}
    assert day.pail_place().balance_mg == 5_600_000
    assert f"ticket {first.ticket}" in second.ticket.flags.get().note


def test_what_the_book_lacked_comes_from_difference_through_the_pail(cast: Any, day: Day) -> None:
    drain(cast, day, 140)
    collection = give(cast, day, told=True)
    lines = [(m.source.kind, m.target.kind, m.mass_mg) for m in collection.ticket.lines.all()]
    assert lines == [("difference", "pail", 60_000), ("pail", "tub", 200_000)]
    assert flags(collection.ticket) == {(FlagCode.LACKED, 60_000)}
    assert collection.net_mg == 200_000 and day.pail_place().balance_mg == 0


def test_told_of_a_held_pail_a_closed_day_or_another_blend_is_kept_and_flagged(cast: Any, day: Day) -> None:
    Place.objects.filter(pail=day.pails[0]).update(gate=Gate.HELD)
    assert flags(give(cast, day, 50, told=True).ticket) == {(FlagCode.HELD, 0)}
    MixingDay.objects.update(state="closed")
    assert flags(give(cast, day, 50, told=True).ticket) == {(FlagCode.LATE, 0), (FlagCode.HELD, 0)}
    MixingDay.objects.update(state="open")
    other = make_revision(day.programme, cast.organiser, "Other blend")
    _, pails = mix(
        day.day,
        other,
        day.lots,
        day.scale,
        cast.steward,
        witness=cast.organiser,
        mass_mg=12_000_000 // 100,
        number=2,
    )
    assert flags(give(cast, day, 50, told=True, pail=pails[0]).ticket) == {(FlagCode.OTHER, 0)}


def test_told_keeps_its_own_time_but_no_time_to_come(cast: Any, day: Day) -> None:
    then = timezone.now() - dt.timedelta(hours=2)
    assert give(cast, day, 100, told=True, happened_at=then).ticket.happened_at == then
    refused("in_future", cast, day, told=True, happened_at=timezone.now() + dt.timedelta(hours=2))


# ---------- corrections ----------


def correct(cast: Any, collection: Collection, reading_g: int, **more: Any) -> Collection:
    return desk.correct_collection(
        collection=collection, by=cast.steward, key=more.pop("key", key()), reason="typed wrong",
        reading_mg=reading_g * 1000, **more,
    )  # fmt: skip


def reverse(cast: Any, collection: Collection, reason: str) -> Ticket:
    return desk.reverse_collection(collection=collection, by=cast.organiser, key=key(), reason=reason)


def test_a_correction_is_a_reversal_and_a_new_ticket(cast: Any, day: Day) -> None:
    wrong = give(cast, day, 120)
    right = correct(cast, wrong, 210)
    reversal = wrong.ticket.reversed_by
    assert (reversal.reason, right.net_mg, right.portion) == ("typed wrong", 210_000, wrong.portion)
    assert day.pail_place().balance_mg == 6_000_000 - 210_000
    assert [c.pk for c in desk.what_stands(wrong.portion)] == [right.pk]


def test_the_same_correction_twice_is_one(cast: Any, day: Day) -> None:
    wrong, again = give(cast, day, 120), key()
    assert correct(cast, wrong, 150, key=again) == correct(cast, wrong, 150, key=again)
    with pytest.raises(InTheWay, match="already reversed"):
        correct(cast, wrong, 160)


def test_a_correction_goes_through_a_held_pail_and_draws_only_what_is_lacking(cast: Any, day: Day) -> None:
    wrong = give(cast, day, 20)
    drain(cast, day, 50)
    Place.objects.filter(pail=day.pails[0]).update(gate=Gate.HELD)
    right = correct(cast, wrong, 200)
    assert flags(right.ticket) == {(FlagCode.LACKED, 130_000)}
    assert day.pail_place().balance_mg == 0 and ledger.disagreement_mg(day.programme) == 0


def test_a_correction_wants_a_reason(cast: Any, day: Day) -> None:
    collection = give(cast, day)
    with pytest.raises(Refused, match="Say why"):
        reverse(cast, collection, " ")
    assert day.pail_place().balance_mg == 5_800_000


def test_reversing_gives_the_portion_back_and_settles_its_flags(cast: Any, day: Day) -> None:
    drain(cast, day, 140)
    collection = give(cast, day, told=True)
    reversal = desk.reverse_collection(
        collection=collection, by=cast.organiser, key=key(), reason="never happened"
    )
    assert day.pail_place().balance_mg == 140_000 and desk.what_stands(collection.portion) == []
    assert collection.ticket.flags.get().settled_reason == f"reversed by ticket {reversal}: never happened"


def test_reversing_one_of_a_pair_settles_the_pair(cast: Any, day: Day) -> None:
    first, second = give(cast, day, told=True), give(cast, day, told=True)
    reverse(cast, first, "same tub")
    assert "the other one was reversed" in second.ticket.flags.get().settled_reason


def test_correcting_one_of_a_pair_settles_the_pair_once_it_fits(cast: Any, day: Day) -> None:
    first, second = give(cast, day, 150, told=True), give(cast, day, 150, told=True)
    again = correct(cast, first, 100)
    assert second.ticket.flags.get().settled_at is None and flags(again.ticket) == {(FlagCode.TWICE, 50_000)}
    correct(cast, again, 50)
    assert "the other one was reversed" in second.ticket.flags.get().settled_reason
    assert not Flag.objects.filter(settled_at=None).exists()


def test_settling_twice_is_told_kindly(cast: Any, day: Day) -> None:
    give(cast, day, told=True)
    flag = give(cast, day, told=True).ticket.flags.get()
    settle(flag=flag, by=cast.organiser, reason="two tubs, both fed")
    with pytest.raises(InTheWay, match="Orla settled it already: two tubs, both fed"):
        settle(flag=flag, by=cast.steward, reason="no")
    assert flag.mass_mg == 200_000 and day.pail_place().balance_mg == 5_600_000


@pytest.mark.parametrize("reason", ["", "   "])
def test_settling_wants_a_reason(cast: Any, day: Day, reason: str) -> None:
    give(cast, day, told=True)
    with pytest.raises(Refused, match="Say what is known"):
        settle(flag=give(cast, day, told=True).ticket.flags.get(), by=cast.organiser, reason=reason)


# ---------- back, over ----------


def test_what_comes_back_opened_is_never_handed_out_again(cast: Any, day: Day) -> None:
    collection = give(cast, day)
    ticket = desk.take_back(
        portion=collection.portion, by=cast.steward, mass_mg=90_000, key=key(), reason="got wet"
    )
    assert ledger.single(day.programme, PlaceKind.TAKEN_BACK).balance_mg == 90_000
    assert day.tub(collection.portion).balance_mg == 110_000 and day.pail_place().balance_mg == 5_800_000
    refused("already_collected", cast, day)
    reverse_ticket(ticket=ticket, by=cast.organiser, key=key(), reason="not wet at all")
    assert day.tub(collection.portion).balance_mg == 200_000


def test_nothing_comes_back_from_a_plot_without_a_tub(cast: Any, day: Day) -> None:
    with pytest.raises(Refused, match="no tub"):
        desk.take_back(portion=day.portions["17"], by=cast.steward, mass_mg=1000, key=key(), reason="wet")


def test_a_tub_goes_with_the_plot(cast: Any, day: Day) -> None:
    collection = give(cast, day)
    nearest = Household.objects.create(programme=cast.programme, name="Next ones")
    desk.hand_over(
        plot=cast.plot,
        giver=cast.household,
        taker=nearest,
        batch=day.batch,
        by=cast.steward,
        mass_mg=36_000,
        key=key(),
    )
    assert day.tub(collection.portion).balance_mg == 164_000
    assert Place.objects.get(household=nearest).balance_mg == 36_000
    assert ledger.disagreement_mg(day.programme) == 0


def test_a_stranger_cannot_be_handed_anything(cast: Any, day: Day) -> None:
    from django.db import IntegrityError, transaction

    with pytest.raises(IntegrityError), transaction.atomic():
        give(cast, day, collected_by=cast.stranger, consent="x")
    assert not Collection.objects.exists()


def test_a_second_portion_of_another_plot_is_its_own(cast: Any) -> None:
    plot, _, household = make_plot(cast.garden, "18", cast.holder)
    day = play_day(cast, [(cast.plot, cast.household, 200_000), (plot, household, 110_000)])
    give(cast, day)
    assert give(cast, day, 110, portion=day.portions["18"]).net_mg == 110_000
