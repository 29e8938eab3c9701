"""A delivery entered wrong is taken back while all of it stands where it came in."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from blends import ledger
from blends.actions import stock
from blends.actions.settling import reverse_ticket
from blends.models import Lot, Ticket, TicketKind
from blends.queries.store import cost_of, lots_of_day, newest_lots
from gardens.clock import today
from gardens.refusals import InTheWay
from tests.blends.shed import Shed, Weighing, fill_shed, key, start_weighing

pytestmark = pytest.mark.django_db


@pytest.fixture
def shed(cast: Any) -> Shed:
    return fill_shed(cast)


def again(cast: Any, shed: Shed, **changes: Any) -> Lot:
    """Another delivery of the compound; 250 kg for 25 unless told."""
    fields: dict[str, Any] = {
        "material": shed.material("compound"), "code": "C-08", "bags": 10, "bag_mass_mg": 25_000_000,
        "price_minor": 2900, "supplier": "farm store", "day": today(cast.programme), "garden": cast.garden,
        "spot": "north shed", "key": key(),
    }  # fmt: skip
    return stock.receive_lot(programme=cast.programme, by=cast.organiser, **fields | changes)


def ticket_of(lot: Lot) -> Ticket:
    return Ticket.objects.get(kind=TicketKind.RECEIVE, lines__target__lot=lot)


def withdraw(cast: Any, lot: Lot, **changes: Any) -> Ticket:
    how: dict[str, Any] = {"by": cast.organiser, "key": key(), "reason": "250 kg typed for 25"}
    return reverse_ticket(ticket=ticket_of(lot), **how | changes)


def test_a_wrong_delivery_is_taken_back_and_counts_for_no_price(cast: Any, shed: Shed) -> None:
    lot, material = again(cast, shed), shed.material("compound")
    withdraw(cast, lot)
    lot.refresh_from_db()
    assert lot.withdrawn and lot.places.get().balance_mg == 0
    assert newest_lots(cast.programme, [material.pk]) == {material.pk: shed.lot("compound")}
    assert cost_of(cast.programme, [(material, 25_000_000)]).minor == 2900
    assert ledger.disagreement_mg(cast.programme) == 0


def test_its_mark_is_free_for_the_delivery_as_it_was(cast: Any, shed: Shed) -> None:
    withdraw(cast, again(cast, shed))
    right = again(cast, shed, bags=1)
    assert right.code == "C-08" and right.places.get().balance_mg == 25_000_000


def test_the_same_key_twice_is_one_reversal(cast: Any, shed: Shed) -> None:
    lot, once = again(cast, shed), key()
    assert withdraw(cast, lot, key=once).pk == withdraw(cast, lot, key=once).pk
    with pytest.raises(InTheWay, match="already reversed"):
        withdraw(cast, lot)


def carried(cast: Any, lot: Lot) -> None:
    stock.move_lot(
        place=lot.places.get(), by=cast.steward, mass_mg=1_000, garden=cast.garden, spot="hall", key=key()
    )


def counted(cast: Any, lot: Lot) -> None:
    place = lot.places.get()
    stock.count_place(
        place=place, by=cast.steward, counted_mg=place.balance_mg - 5_000_000, key=key(), reason="torn"
    )


def spilt(cast: Any, lot: Lot) -> None:
    stock.state_loss(place=lot.places.get(), by=cast.steward, mass_mg=1_000, reason="spilt", key=key())


@pytest.mark.parametrize("act", [carried, counted, spilt])
def test_once_some_of_it_moved_it_is_counted_or_sent_back(cast: Any, shed: Shed, act: Any) -> None:
    lot = again(cast, shed)
    act(cast, lot)
    with pytest.raises(InTheWay, match=r"Count what stands there.*send it back") as refused:
        withdraw(cast, lot)
    assert refused.value.code == "lot_begun" and not Lot.objects.get(pk=lot.pk).withdrawn


def test_a_loss_that_was_taken_back_stands_in_no_way(cast: Any, shed: Shed) -> None:
    lot = again(cast, shed)
    loss = stock.state_loss(place=lot.places.get(), by=cast.steward, mass_mg=9, reason="spilt", key=key())
    reverse_ticket(ticket=loss, by=cast.organiser, key=key(), reason="not so")
    assert withdraw(cast, lot).reverses_id == ticket_of(lot).pk


def test_who_weighs_is_not_offered_its_bags(cast: Any) -> None:
    weighing: Weighing = start_weighing(cast)
    lot = again(cast, weighing.shed)
    assert lot in lots_of_day(weighing.day)
    withdraw(cast, lot)
    assert lot not in lots_of_day(weighing.day)


def test_the_lots_page_leads_to_it_and_then_shows_it_withdrawn(cast: Any, shed: Shed, as_: Any) -> None:
    lot, client = again(cast, shed, price_minor=777_00), as_(cast.organiser)
    page = client.get(reverse("lot", args=[cast.programme.pk, lot.pk])).content.decode()
    link = reverse("ticket_reverse", args=[cast.programme.pk, ticket_of(lot).pk])
    assert link in page
    client.post(link, {"reason": "250 kg typed for 25", "key": str(key())})
    assert "Withdrawn" in (page := client.get(reverse("lots", args=[cast.programme.pk])).content.decode())
    assert "4 deliveries" in page
    page = client.get(reverse("lot", args=[cast.programme.pk, lot.pk])).content.decode()
    assert link not in page and "was taken back: it was entered wrong" in page
