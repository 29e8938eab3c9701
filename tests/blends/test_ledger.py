"""The one writer: asked and told, gates, keys, reversals, traces, and verify that sees what was altered."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

from blends import ledger
from blends.ledger import Entry, Line, Require
from blends.models import Flag, FlagCode, Gate, Movement, Place, PlaceKind, Ticket, TicketKind
from gardens.refusals import InTheWay, Refused
from tests.blends.shed import key, start_weighing

pytestmark = pytest.mark.django_db


@pytest.fixture
def places(cast: Any) -> tuple[Place, Place]:
    """Waste with 1000 mg in it, and lost."""
    programme = cast.programme
    supplier, waste = (ledger.single(programme, k) for k in (PlaceKind.SUPPLIER, PlaceKind.WASTE))
    post(cast, Line(supplier, waste, 1000), kind=TicketKind.RECEIVE)
    return waste, ledger.single(programme, PlaceKind.LOST)


def post(cast: Any, *lines: Line, kind: TicketKind = TicketKind.MOVE, **how: Any) -> Ticket:
    entry = Entry(kind, how.pop("key", key()), how.pop("payload", {"n": 1}), lines, **how)
    return ledger.post(programme=cast.programme, by=cast.steward, entry=entry)


def balance(place: Place) -> int:
    return Place.objects.get(pk=place.pk).balance_mg


def test_what_is_asked_for_moves(cast: Any, places: tuple[Place, Place]) -> None:
    waste, lost = places
    ticket = post(cast, Line(waste, lost, 400))
    assert (balance(waste), balance(lost)) == (600, 400)
    assert ticket.by == cast.steward and not ticket.told and not ticket.replayed
    assert sum(p.balance_mg for p in Place.objects.filter(programme=cast.programme)) == 0


def test_more_than_there_is_is_refused_and_nothing_is_kept(cast: Any, places: tuple[Place, Place]) -> None:
    waste, lost = places
    before = Ticket.objects.count()
    with pytest.raises(InTheWay) as refusal:
        post(cast, Line(waste, lost, 1001))
    assert refusal.value.code == "not_enough"
    assert (balance(waste), balance(lost), Ticket.objects.count()) == (1000, 0, before)


def test_what_is_told_draws_the_lack_from_difference_through_the_place(
    cast: Any, places: tuple[Place, Place]
) -> None:
    waste, lost = places
    ticket = post(cast, Line(waste, lost, 1250), told={waste.pk}, is_told=True, told_about="a heavier bag")
    difference = ledger.single(cast.programme, PlaceKind.DIFFERENCE)
    assert [(m.source_id, m.target_id, m.mass_mg) for m in ticket.lines.order_by("id")] == [
        (difference.pk, waste.pk, 250),
        (waste.pk, lost.pk, 1250),
    ]
    assert (balance(waste), balance(lost), balance(difference)) == (0, 1250, -250)
    flag = Flag.objects.get(ticket=ticket)
    assert (flag.code, flag.place, flag.mass_mg, flag.note) == (FlagCode.LACKED, waste, 250, "a heavier bag")


def test_what_is_told_and_fits_flags_nothing(cast: Any, places: tuple[Place, Place]) -> None:
    waste, lost = places
    post(cast, Line(waste, lost, 1000), told={waste.pk}, is_told=True)
    assert not Flag.objects.exists() and balance(waste) == 0


@pytest.mark.parametrize("gate, passes", [(Gate.RELEASED, True), (Gate.HELD, False), (Gate.FILLING, False)])
def test_a_gate_stands_in_the_same_update(
    cast: Any, places: tuple[Place, Place], gate: Gate, passes: bool
) -> None:
    waste, lost = places
    Place.objects.filter(pk=waste.pk).update(gate=gate)
    if passes:
        post(cast, Line(waste, lost, 10), require={waste.pk: ledger.RELEASED})
    else:
        with pytest.raises(InTheWay, match="held"):
            post(cast, Line(waste, lost, 10), require={waste.pk: ledger.RELEASED})
    assert balance(waste) == (990 if passes else 1000)


def test_an_opened_pail_takes_nothing_more_in(cast: Any, places: tuple[Place, Place]) -> None:
    waste, lost = places
    post(cast, Line(waste, lost, 10), opens={waste.pk})
    assert Place.objects.get(pk=waste.pk).opened
    with pytest.raises(InTheWay, match="opened"):
        post(cast, Line(lost, waste, 5), require={waste.pk: Require(unopened=True)})


@pytest.mark.parametrize(("swings", "end"), [(1, "done"), (99, "changed_meanwhile")])
def test_a_gate_that_swings_in_the_same_instant_is_not_told_as_a_lack_of_mass(
    cast: Any, places: tuple[Place, Place], monkeypatch: pytest.MonkeyPatch, swings: int, end: str
) -> None:
    waste, lost = places
    gate = Place.objects.filter(pk=waste.pk)
    gate.update(gate=Gate.HELD)
    look, looks = ledger._in_the_way, []

    def released_as_one_looks(place: Place, *how: Any) -> Refused | None:
        looks.append(gate.update(gate=Gate.RELEASED))
        place.refresh_from_db()
        found = look(place, *how)
        gate.update(gate=Gate.HELD if len(looks) < swings else Gate.RELEASED)
        return found

    monkeypatch.setattr(ledger, "_in_the_way", released_as_one_looks)
    try:
        post(cast, Line(waste, lost, 400), require={waste.pk: ledger.RELEASED})
        said = "done"
    except InTheWay as refusal:
        said = refusal.code
    assert said == end and balance(lost) == (400 if end == "done" else 0)


def test_the_same_key_twice_is_the_same_act(cast: Any, places: tuple[Place, Place]) -> None:
    waste, lost = places
    once = key()
    first = post(cast, Line(waste, lost, 100), key=once)
    again = post(cast, Line(waste, lost, 100), key=once)
    assert again == first and again.replayed
    assert balance(lost) == 100


def test_the_same_key_for_another_act_is_refused(cast: Any, places: tuple[Place, Place]) -> None:
    waste, lost = places
    once = key()
    post(cast, Line(waste, lost, 100), key=once, payload={"typed": "100 g"})
    with pytest.raises(InTheWay) as refusal:
        post(cast, Line(waste, lost, 200), key=once, payload={"typed": "200 g"})
    assert refusal.value.code == "key_reused" and balance(lost) == 100


def test_a_reversal_takes_a_ticket_back_once(cast: Any, places: tuple[Place, Place]) -> None:
    waste, lost = places
    ticket = post(cast, Line(waste, lost, 300))
    back = ledger.reverse(ticket=ticket, by=cast.organiser, key=key(), reason="another bag")
    assert (balance(waste), balance(lost)) == (1000, 0) and back.reverses == ticket
    with pytest.raises(InTheWay, match="already reversed"):
        ledger.reverse(ticket=ticket, by=cast.organiser, key=key(), reason="again")
    with pytest.raises(Refused, match="not reversed"):
        ledger.reverse(ticket=back, by=cast.organiser, key=key(), reason="back again")


def test_a_reversal_of_what_is_gone_draws_on_difference(cast: Any, places: tuple[Place, Place]) -> None:
    waste, lost = places
    ticket = post(cast, Line(waste, lost, 300))
    post(cast, Line(lost, waste, 300))
    ledger.reverse(ticket=ticket, by=cast.organiser, key=key(), reason="never happened")
    assert balance(lost) == 0 and Flag.objects.get().mass_mg == 300
    assert ledger.disagreement_mg(cast.programme) == 0


@pytest.mark.parametrize("mass", [0, -5])
def test_no_mass_is_no_act(cast: Any, places: tuple[Place, Place], mass: int) -> None:
    waste, lost = places
    with pytest.raises(Refused, match="no mass"):
        post(cast, Line(waste, lost, mass))


@pytest.mark.parametrize("what", ["update", "delete"])
def test_what_is_written_stays_written(cast: Any, places: tuple[Place, Place], what: str) -> None:
    with pytest.raises(DatabaseError), transaction.atomic():
        if what == "update":
            Movement.objects.update(mass_mg=1)
        else:
            Movement.objects.all().delete()
    assert Movement.objects.get().mass_mg == 1000


def test_verify_is_content_with_a_good_book(cast: Any, places: tuple[Place, Place], capsys: Any) -> None:
    call_command("verify")
    assert f"{cast.programme.name}: disagreement 0 mg" in capsys.readouterr().out


def test_verify_goes_red_and_names_a_balance_that_was_altered(
    cast: Any, places: tuple[Place, Place], capsys: Any
) -> None:
    waste, _ = places
    with connection.cursor() as cursor:
        cursor.execute("UPDATE blends_place SET balance_mg = balance_mg + 7 WHERE id = %s", [waste.pk])
    with pytest.raises(SystemExit) as red:
        call_command("verify")
    out = capsys.readouterr().out
    assert red.value.code == 1
    assert "disagreement 7 mg" in out and f"place {waste.pk}" in out and "1007 mg" in out


def test_verify_lists_what_is_to_settle_and_stays_green(
    cast: Any, places: tuple[Place, Place], capsys: Any
) -> None:
    waste, lost = places
    post(cast, Line(waste, lost, 1250), told={waste.pk}, is_told=True, told_about="a heavier bag")
    call_command("verify")
    out = capsys.readouterr().out
    assert "disagreement 0 mg" in out and "to settle" in out and "a heavier bag" in out


def test_traces_run_both_ways_and_skip_what_was_reversed(cast: Any) -> None:
    weighing = start_weighing(cast)
    right, wrong = weighing.weigh("compound"), weighing.weigh("magnesium")
    from blends.actions.days import reverse_weigh_out

    reverse_weigh_out(weigh_out=wrong, by=cast.steward, key=key(), reason="other pail")
    compound, pail = Place.objects.get(lot=right.lot), weighing.place()
    assert list(ledger.onwards(compound)) == [pail]
    assert list(ledger.backwards(pail)) == [compound]
    assert not ledger.onwards(Place.objects.get(lot=wrong.lot))


def test_a_trace_never_passes_through_supplier_or_difference(cast: Any) -> None:
    weighing = start_weighing(cast)
    weighing.weigh("compound")
    others = {p.kind for p in ledger.backwards(weighing.place())}
    assert others == {PlaceKind.LOT}


def test_another_programmes_key_is_another_act(cast: Any, places: tuple[Place, Place]) -> None:
    waste, lost = places
    shared = uuid.uuid4()
    post(cast, Line(waste, lost, 10), key=shared)
    supplier = ledger.single(cast.other, PlaceKind.SUPPLIER)
    entry = Entry(
        TicketKind.RECEIVE, shared, {"n": 1}, [Line(supplier, ledger.single(cast.other, PlaceKind.WASTE), 5)]
    )
    assert not ledger.post(programme=cast.other, by=cast.stranger, entry=entry).replayed
