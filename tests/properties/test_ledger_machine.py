"""The ledger against a plain model: any order of asks, tells, reversals and counts leaves the same balances."""

from __future__ import annotations

import uuid
from collections import defaultdict

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from blends import ledger
from blends.ledger import Entry, Line, Require
from blends.models import Flag, Gate, Place, PlaceKind, Ticket, TicketKind
from gardens.refusals import Refused
from tests.cast import make_cast

pytestmark = pytest.mark.django_db

MASS = st.integers(min_value=1, max_value=5_000)
NAMES = ("a", "b", "c")
STEPS = {"taken": 0}


class LedgerMachine(RuleBasedStateMachine):
    """Three gated places beside supplier and difference; the model is a dict and a list."""

    def __init__(self) -> None:
        super().__init__()
        self.cast = make_cast()
        self.places: dict[str, Place] = {}
        for name in NAMES:
            self.places[name] = self._place(name)
        self.supplier = ledger.single(self.cast.programme, PlaceKind.SUPPLIER)
        self.model: dict[str, int] = defaultdict(int)
        self.gates = dict.fromkeys(NAMES, str(Gate.RELEASED))
        self.acts: list[tuple[Ticket, list[tuple[str, str, int]], Entry]] = []
        self.reversed: set[int] = set()

    def _place(self, name: str) -> Place:
        kind = {"a": PlaceKind.TAKEN_BACK, "b": PlaceKind.WASTE, "c": PlaceKind.LOST}[name]
        place = ledger.single(self.cast.programme, kind)
        Place.objects.filter(pk=place.pk).update(gate=Gate.RELEASED)
        place.refresh_from_db()
        return place

    def _post(self, entry: Entry) -> Ticket:
        return ledger.post(programme=self.cast.programme, by=self.cast.organiser, entry=entry)

    def _record(self, ticket: Ticket, entry: Entry) -> None:
        names = {p.pk: n for n, p in self.places.items()}
        moved = [
            (names.get(m.source_id, ""), names.get(m.target_id, ""), m.mass_mg) for m in ticket.lines.all()
        ]
        for source, target, mass in moved:
            self.model[source] -= mass
            self.model[target] += mass
        self.acts.append((ticket, moved, entry))

    @rule(target_name=st.sampled_from(NAMES), mass=MASS)
    def receive(self, target_name: str, mass: int) -> None:
        STEPS["taken"] += 1
        entry = Entry(
            TicketKind.RECEIVE,
            uuid.uuid4(),
            {"m": mass},
            [Line(self.supplier, self.places[target_name], mass)],
        )
        self._record(self._post(entry), entry)

    @rule(source=st.sampled_from(NAMES), target_name=st.sampled_from(NAMES), mass=MASS)
    def ask(self, source: str, target_name: str, mass: int) -> None:
        if source == target_name:
            return
        STEPS["taken"] += 1
        entry = Entry(
            TicketKind.MOVE,
            uuid.uuid4(),
            {"m": mass},
            [Line(self.places[source], self.places[target_name], mass)],
            require={self.places[source].pk: Require(gates=frozenset({Gate.RELEASED}))},
        )
        allowed = self.model[source] >= mass and self.gates[source] == Gate.RELEASED
        before = Ticket.objects.count()
        try:
            ticket = self._post(entry)
        except Refused:
            assert not allowed and Ticket.objects.count() == before
        else:
            assert allowed
            self._record(ticket, entry)

    @rule(source=st.sampled_from(NAMES), target_name=st.sampled_from(NAMES), mass=MASS)
    def tell(self, source: str, target_name: str, mass: int) -> None:
        if source == target_name:
            return
        STEPS["taken"] += 1
        lacking = max(0, mass - self.model[source])
        flags = Flag.objects.count()
        entry = Entry(
            TicketKind.MOVE,
            uuid.uuid4(),
            {"m": mass},
            [Line(self.places[source], self.places[target_name], mass)],
            told={self.places[source].pk},
            is_told=True,
        )
        self._record(self._post(entry), entry)
        assert Flag.objects.count() == flags + (lacking > 0)
        assert self.model[source] >= 0

    @precondition(lambda self: self.acts)
    @rule(index=st.integers(min_value=0, max_value=10**6))
    def reverse(self, index: int) -> None:
        STEPS["taken"] += 1
        ticket, _, _ = self.acts[index % len(self.acts)]
        known = ticket.pk in self.reversed or ticket.kind == TicketKind.REVERSAL
        try:
            back = ledger.reverse(
                ticket=ticket, by=self.cast.organiser, key=uuid.uuid4(), reason="typed wrong"
            )
        except Refused:
            assert known
        else:
            assert not known
            self.reversed.add(ticket.pk)
            self._record(back, self.acts[0][2])

    @precondition(lambda self: self.acts)
    @rule(index=st.integers(min_value=0, max_value=10**6))
    def repeat(self, index: int) -> None:
        STEPS["taken"] += 1
        ticket, _, entry = self.acts[index % len(self.acts)]
        if ticket.kind == TicketKind.REVERSAL:
            return
        again = self._post(entry)
        assert again.pk == ticket.pk and again.replayed

    @rule(name=st.sampled_from(NAMES))
    def turn_gate(self, name: str) -> None:
        STEPS["taken"] += 1
        self.gates[name] = str(Gate.HELD if self.gates[name] == Gate.RELEASED else Gate.RELEASED)
        Place.objects.filter(pk=self.places[name].pk).update(gate=self.gates[name])

    @invariant()
    def the_books_are_the_model(self) -> None:
        for name, place in self.places.items():
            place.refresh_from_db()
            assert place.balance_mg == self.model[name] >= 0
        assert sum(Place.objects.values_list("balance_mg", flat=True)) == 0
        assert ledger.disagreement_mg(self.cast.programme) == 0


def test_the_ledger_and_a_plain_model_agree_over_many_steps(db: None) -> None:
    run_state_machine_as_test(
        LedgerMachine,
        settings=settings(
            max_examples=15, stateful_step_count=60, deadline=None, derandomize=True, database=None
        ),
    )
    assert STEPS["taken"] >= 500, STEPS
