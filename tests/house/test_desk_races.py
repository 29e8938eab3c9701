"""Races at the desk: who comes second is told so; no portion, pail, round or job is served twice."""

from __future__ import annotations

import datetime as dt
import threading
import uuid
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from django.db.models import Sum
from django.utils import timezone

from blends import ledger
from blends.actions.days import close_day, pails_to_count
from blends.actions.release import hold_pail, release_pail
from blends.actions.stock import count_place
from blends.models import Gate, Place, PlaceKind, Ticket, TicketKind
from gardens import jobs
from gardens.models import Job, JobState
from schedules.actions import desk
from schedules.actions.rounds import FREEZE, freeze_round, open_round
from schedules.models import Collection, FrozenLine, Portion, Round, RoundState, Snapshot
from tests.cast import make_cast, make_person, make_plot
from tests.house.racing import race, rivals
from tests.play import Day, key, make_revision, move, play_day

pytestmark = pytest.mark.django_db(transaction=True)

PORTION = 200_000


@pytest.fixture
def cast(transactional_db: None) -> Any:
    return make_cast()


def with_plots(cast: Any, count: int) -> Day:
    """A day with as many more plots, each due 200 g, each with its own holder."""
    due = [(cast.plot, cast.household, PORTION)]
    for n in range(count - 1):
        plot, _, household = make_plot(
            cast.garden, f"r{n}", make_person(cast.programme, f"Holder {n}", signs_in=False)
        )
        due.append((plot, household, PORTION))
    return play_day(cast, due)


def ask(
    cast: Any, day: Day, portion: Portion, *, pail: int = 1, one_key: uuid.UUID | None = None
) -> Collection:
    """One steward's tap: 200 g out of a pail for this portion."""
    person = portion.household.members.select_related("person")[0].person
    return desk.hand_out(
        portion=portion,
        by=cast.steward,
        pail=day.pails[pail - 1],
        reading_mg=PORTION,
        collected_by=person,
        key=one_key or key(),
    )


def leave(cast: Any, day: Day, mass_mg: int) -> None:
    """Pour out of pail 1 until so much is left in it."""
    place = day.pail_place()
    lost = ledger.single(cast.programme, PlaceKind.LOST)
    move(
        cast.programme, cast.steward, TicketKind.LOSS, place, lost, place.balance_mg - mass_mg, reason="spilt"
    )


def handed_out(day: Day) -> int:
    return Ticket.objects.filter(kind=TicketKind.HAND_OUT).aggregate(g=Sum("lines__mass_mg"))["g"] or 0


def test_one_portion_is_collected_once_however_many_ask(cast: Any) -> None:
    day, count = play_day(cast), rivals()
    ends = race([lambda: ask(cast, day, day.portions["17"])] * count)
    assert ends == {"done": 1, "already_collected": count - 1}
    assert Collection.objects.count() == 1
    assert day.pail_place().balance_mg == 6_000_000 - PORTION
    assert day.tub(day.portions["17"]).balance_mg == PORTION
    assert ledger.disagreement_mg(cast.programme) == 0


def test_rivals_with_one_key_make_one_collection(cast: Any) -> None:
    day, one = play_day(cast), key()
    ends = race([lambda: ask(cast, day, day.portions["17"], one_key=one)] * 32)
    assert ends == {"done": 32}
    assert Collection.objects.get().ticket.key == one
    assert day.pail_place().balance_mg == 6_000_000 - PORTION
    assert ledger.disagreement_mg(cast.programme) == 0


def test_eight_stewards_share_out_the_last_of_a_pail_and_no_more(cast: Any) -> None:
    day = with_plots(cast, 8)
    leave(cast, day, 500_000)
    ends = race([lambda portion=portion: ask(cast, day, portion) for portion in day.portions.values()])
    assert ends == {"done": 2, "not_enough": 6}
    assert day.pail_place().balance_mg == 100_000
    assert Collection.objects.count() == 2
    assert ledger.disagreement_mg(cast.programme) == 0


def test_nothing_leaves_a_pail_once_somebody_has_held_it(cast: Any) -> None:
    day, seen = with_plots(cast, 20), []

    def hold() -> None:
        hold_pail(pail=day.pails[0], by=cast.second_steward, reason="lumps")
        seen.append(day.pail_place().balance_mg)

    acts: list[Callable[[], Any]] = [lambda p=p: ask(cast, day, p) for p in day.portions.values()]
    ends = race([*acts[:8], hold, *acts[8:]])
    assert ends["done"] + ends["pail_not_released"] == 21
    assert seen == [day.pail_place().balance_mg]
    assert day.pail_place().gate == Gate.HELD
    assert 6_000_000 - seen[0] == PORTION * Collection.objects.count() == PORTION * (ends["done"] - 1)
    assert ledger.disagreement_mg(cast.programme) == 0


def test_holding_and_releasing_over_and_over_loses_no_hand_out(cast: Any) -> None:
    day = with_plots(cast, 20)

    def swing() -> None:
        for _ in range(4):
            hold_pail(pail=day.pails[0], by=cast.second_steward, reason="lumps")
            release_pail(pail=day.pails[0], by=cast.second_steward)

    acts: list[Callable[[], Any]] = [lambda p=p: ask(cast, day, p) for p in day.portions.values()]
    ends = race([swing, *acts])
    assert set(ends) <= {"done", "pail_not_released"} and sum(ends.values()) == 21
    assert Collection.objects.count() == ends["done"] - 1
    assert day.pail_place().balance_mg == 6_000_000 - PORTION * Collection.objects.count()
    assert day.pail_place().gate == Gate.RELEASED
    assert ledger.disagreement_mg(cast.programme) == 0


def test_corrections_that_cross_between_two_pails_never_wait_in_a_circle(cast: Any) -> None:
    day = with_plots(cast, 16)
    first = [ask(cast, day, p, pail=1 + n % 2) for n, p in enumerate(day.portions.values())]

    def cross(collection: Collection) -> Collection:
        other = day.pails[1] if collection.pail_id == day.pails[0].pk else day.pails[0]
        return desk.correct_collection(
            collection=collection,
            by=cast.steward,
            key=key(),
            reason="the other pail",
            reading_mg=PORTION,
            pail=other,
        )

    ends = race([lambda c=c: cross(c) for c in first])
    assert ends == {"done": 16}
    assert [day.pail_place(n).balance_mg for n in (1, 2)] == [6_000_000 - 8 * PORTION] * 2
    assert Collection.objects.filter().standing().count() == 16
    assert ledger.disagreement_mg(cast.programme) == 0


def test_a_hand_out_is_taken_back_once(cast: Any) -> None:
    day = play_day(cast)
    stands = ask(cast, day, day.portions["17"])
    ends = race(
        [lambda: desk.reverse_collection(collection=stands, by=cast.steward, key=key(), reason="not here")]
        * 16
    )
    assert ends == {"done": 1, "already_reversed": 15}
    assert day.pail_place().balance_mg == 6_000_000
    assert ledger.disagreement_mg(cast.programme) == 0


def test_what_is_handed_out_while_the_day_closes_is_counted_or_refused(
    cast: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The hand-out has looked at the day, and is about to write, when somebody closes it."""
    day = with_plots(cast, 2)
    ask(cast, day, day.portions["r0"])
    asked, closed, post = threading.Event(), threading.Event(), desk._post

    def slowly(*args: Any) -> Ticket:
        asked.set()
        closed.wait(timeout=1)  # in vain where the database lets one writer in at a time
        return post(*args)

    def close() -> None:
        asked.wait(timeout=10)
        for number in (1, 2):
            place = day.pail_place(number)
            count_place(place=place, by=cast.steward, counted_mg=place.balance_mg, key=key(), day=day.day)
        close_day(day=day.day, by=cast.organiser)
        closed.set()

    monkeypatch.setattr(desk, "_post", slowly)
    ends = race([lambda: ask(cast, day, day.portions["17"]), close])
    day.day.refresh_from_db()
    assert (day.day.is_open, ends["day_closed"]) in [(False, 1), (False, 0), (True, 0)]
    assert day.day.is_open or pails_to_count(day.day) == []
    assert ledger.disagreement_mg(cast.programme) == 0


# Rounds and jobs -------------------------------------------------------------------------------------------


def opened(cast: Any) -> Round:
    revision = make_revision(cast.programme, cast.organiser)
    return open_round(
        programme=cast.programme,
        by=cast.organiser,
        gardens=[cast.garden],
        first_day=dt.date(2026, 6, 1),
        weeks=4,
        revision=revision,
    )


def test_freezes_at_once_leave_one_set_of_portions_that_the_last_snapshot_explains(cast: Any) -> None:
    for n in range(5):
        make_plot(cast.garden, f"f{n}", make_person(cast.programme, f"Freezer {n}", signs_in=False))
    round = opened(cast)
    ends = race([lambda: freeze_round(round=round, by=cast.organiser, now=timezone.now())] * 8)
    assert set(ends) <= {"done", "frozen_meanwhile"} and ends["done"] >= 1
    round.refresh_from_db()
    assert round.state == RoundState.FROZEN
    numbers = list(Snapshot.objects.filter(round=round).values_list("number", flat=True))
    assert numbers == list(range(1, ends["done"] + 1))
    last = FrozenLine.objects.filter(snapshot__round=round, snapshot__number=numbers[-1])
    due = Counter({p.plot_id: p.demand_mg for p in round.portions.all()})
    assert due == Counter({line.plot_id: line.mass_mg for line in last}) and len(due) == 6


def test_the_freeze_of_the_clock_and_of_a_hand_meet_in_one_frozen_round(cast: Any) -> None:
    round = opened(cast)
    job = jobs.ask(
        programme=cast.programme, kind=FREEZE, key=str(round.pk), due_at=timezone.now(), by=cast.organiser
    )
    ends = race(
        [lambda: jobs.run(job.pk)] * 4
        + [lambda: freeze_round(round=round, by=cast.organiser, now=timezone.now())] * 4
    )
    assert set(ends) <= {"done", "frozen_meanwhile"}
    assert round.portions.get().demand_mg == 54_432
    assert not Job.objects.filter(kind=FREEZE).exclude(state=JobState.DONE).exists()


def test_a_job_claimed_by_many_is_done_once(cast: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    place = ledger.single(cast.programme, PlaceKind.WASTE)
    supplier = ledger.single(cast.programme, PlaceKind.SUPPLIER)

    def work(job: Job) -> str:
        move(cast.programme, cast.steward, TicketKind.MOVE, supplier, place, 1_000)
        return "moved"

    monkeypatch.setitem(jobs.KINDS, "move_a_gram", work)
    job = jobs.ask(programme=cast.programme, kind="move_a_gram", key="1")
    ran: list[bool] = []
    race([lambda: ran.append(jobs.run(job.pk))] * 32)
    assert Counter(ran) == {True: 1, False: 31}
    job.refresh_from_db()
    assert (job.state, job.attempts, job.message) == (JobState.DONE, 1, "moved")
    assert Place.objects.get(pk=place.pk).balance_mg == 1_000


def test_sweeps_at_once_do_each_job_once(cast: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    done: list[str] = []
    monkeypatch.setitem(jobs.KINDS, "note", lambda job: done.append(job.key) or "noted")
    for n in range(20):
        Job.objects.create(programme=cast.programme, kind="note", key=str(n), due_at=timezone.now())
    swept: list[int] = []
    race([lambda: swept.append(jobs.sweep())] * 6)
    assert sum(swept) == 20 and sorted(done, key=int) == [str(n) for n in range(20)]
