"""Races on real connections: nothing is over-issued, nothing waits in a circle, nothing drifts."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from blends import ledger
from blends.ledger import Entry, Line
from blends.models import Movement, Place, PlaceKind, Ticket, TicketKind
from tests.cast import make_cast
from tests.house.racing import race, rivals

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def stage(transactional_db: None) -> Any:
    cast = make_cast()
    cast.pail = ledger.single(cast.programme, PlaceKind.TAKEN_BACK)  # any place with a balance will do
    cast.tub = ledger.single(cast.programme, PlaceKind.WASTE)
    cast.supplier = ledger.single(cast.programme, PlaceKind.SUPPLIER)
    _move(cast, cast.supplier, cast.pail, 1_000_000)
    return cast


def _move(cast: Any, source: Place, target: Place, mass: int, key: uuid.UUID | None = None) -> Ticket:
    entry = Entry(TicketKind.MOVE, key or uuid.uuid4(), {"mass": mass}, [Line(source, target, mass)])
    return ledger.post(programme=cast.programme, by=cast.steward, entry=entry)


def test_the_last_kilogram_is_handed_out_once(stage: Any) -> None:
    count = rivals()
    ends = race([lambda: _move(stage, stage.pail, stage.tub, 100_000)] * count)
    assert ends == {"done": 10, "not_enough": count - 10}
    stage.pail.refresh_from_db()
    assert stage.pail.balance_mg == 0
    assert ledger.disagreement_mg(stage.programme) == 0


def test_rivals_with_one_key_are_one_act(stage: Any) -> None:
    key = uuid.uuid4()
    ends = race([lambda: _move(stage, stage.pail, stage.tub, 1_000, key)] * 32)
    assert ends == {"done": 32}
    assert Ticket.objects.filter(key=key).count() == 1
    assert Movement.objects.filter(ticket__key=key).count() == 1
    stage.tub.refresh_from_db()
    assert stage.tub.balance_mg == 1_000


def test_swaps_in_both_directions_never_wait_in_a_circle(stage: Any) -> None:
    _move(stage, stage.pail, stage.tub, 500_000)
    there = [lambda: _move(stage, stage.pail, stage.tub, 1_000)] * (rivals() // 2)
    back = [lambda: _move(stage, stage.tub, stage.pail, 1_000)] * (rivals() // 2)
    ends = race([act for pair in zip(there, back, strict=True) for act in pair])
    assert ends == {"done": 2 * (rivals() // 2)}
    stage.pail.refresh_from_db()
    assert stage.pail.balance_mg == 500_000
    assert ledger.disagreement_mg(stage.programme) == 0


def test_told_rivals_are_all_kept_and_the_rest_is_difference(stage: Any) -> None:
    def tell() -> None:
        entry = Entry(
            TicketKind.MOVE,
            uuid.uuid4(),
            {},
            [Line(stage.pail, stage.tub, 100_000)],
            told={stage.pail.pk},
            is_told=True,
        )
        ledger.post(programme=stage.programme, by=stage.steward, entry=entry)

    assert race([tell] * 20) == {"done": 20}
    stage.tub.refresh_from_db()
    assert stage.tub.balance_mg == 2_000_000
    assert ledger.single(stage.programme, PlaceKind.DIFFERENCE).balance_mg == -1_000_000
    assert ledger.disagreement_mg(stage.programme) == 0
