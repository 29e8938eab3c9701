"""Materials, deliveries, losses, counts: each refusal in its own sentence, and what did not change."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

import pytest

from blends import catalogue, ledger
from blends.actions import stock
from blends.chemistry import Slow
from blends.models import Count, Flag, Lot, Material, Place, PlaceKind, Ticket
from blends.queries.store import cost_of_revision, lots_of_day
from blends.queries.store import stock as in_store
from gardens.clock import today
from gardens.nutrients import Nutrient
from gardens.refusals import InTheWay, Refused
from tests.blends.shed import Shed, fill_shed, key, start_weighing

pytestmark = pytest.mark.django_db


@pytest.fixture
def shed(cast: Any) -> Shed:
    return fill_shed(cast)


def adopt(cast: Any, code: str = "compound-16-16-16") -> Material:
    return stock.adopt_material(programme=cast.programme, by=cast.organiser, code=code)


def declare(cast: Any, **changes: Any) -> Material:
    fields: dict[str, Any] = {"name": "Bag", "kind": "compound", "values": {"N": Decimal(12)}, "slow": "no"}
    return stock.declare_material(programme=cast.programme, by=cast.organiser, **(fields | changes))


def receive(cast: Any, material: Material, **changes: Any) -> Lot:
    fields: dict[str, Any] = {
        "code": "C-01", "bags": 2, "bag_mass_mg": 25_000_000, "price_minor": 5800, "supplier": "farm store",
        "day": today(cast.programme), "garden": cast.garden, "spot": "north shed", "key": key(),
    }  # fmt: skip
    return stock.receive_lot(
        programme=cast.programme, by=cast.organiser, material=material, **(fields | changes)
    )


def place_of(lot: Lot) -> Place:
    return lot.places.get()


# --- materials ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", [m.code for m in catalogue.materials()])
def test_every_entry_of_the_catalogue_is_adopted_with_its_figures(cast: Any, code: str) -> None:
    material, entry = adopt(cast, code), catalogue.material(code)
    assert (material.catalogue_code, material.catalogue_version) == (code, catalogue.VERSION)
    assert dict(material.current().analysis().percent) == dict(entry.analysis().percent)
    assert material.current().source and material.current().confidence in catalogue.CONFIDENCE


def test_adopting_twice_is_told(cast: Any) -> None:
    adopt(cast)
    with pytest.raises(InTheWay, match="You have a material named"):
        adopt(cast)
    assert Material.objects.count() == 1


def test_what_the_catalogue_does_not_have_is_refused(cast: Any) -> None:
    with pytest.raises(Refused, match="no such material"):
        adopt(cast, "moon-dust")


def test_a_bag_that_is_silent_is_not_zero(cast: Any) -> None:
    analysis = declare(cast).current().analysis()
    assert Nutrient.P not in analysis.percent and analysis.percent[Nutrient.N] == 12


@pytest.mark.parametrize("slow, weekly", [("no", True), ("yes", False), ("unknown", False)])
def test_slow_or_unknown_is_not_for_weekly_feeding(cast: Any, slow: str, weekly: bool) -> None:
    analysis = declare(cast, slow=slow).current().analysis()
    assert analysis.slow_nitrogen is not weekly
    assert analysis.slow is Slow(slow)


BAD_BAGS = [
    ({"values": {"N": Decimal(60), "K2O": Decimal(60)}}, "more than there is in the bag"),
    ({"values": {"N": Decimal(-1)}}, "less than 0"),
    ({"values": {"N": Decimal("NaN")}}, "percent"),
    ({"values": {"Gold": Decimal(1)}}, "not a nutrient"),
    ({"values": {}, "formula": "MgSO4·"}, "formula"),
    ({"values": {}, "formula": "Xx2O"}, "no element"),
    ({"values": {}, "formula": "KCl", "purity": Decimal(0)}, "purity"),
    ({"values": {"N": Decimal(1)}, "formula": "KCl"}, "not both"),
    ({"name": "  "}, "name"),
    ({"name": "x" * 121}, "too long"),
    ({"kind": "gold"}, "what sort"),
    ({"slow": "perhaps"}, "Slow-release"),
    ({"bulk_density": Decimal(900)}, "bulk density"),
]


@pytest.mark.parametrize("changes, said", BAD_BAGS, ids=lambda value: str(value)[:40])
def test_a_label_that_cannot_be_is_refused(cast: Any, changes: dict[str, Any], said: str) -> None:
    with pytest.raises(Refused, match=said):
        declare(cast, **changes)
    assert not Material.objects.exists()


def test_a_new_declaration_leaves_lots_and_revisions_theirs(shed: Shed) -> None:
    material, lot = shed.material("compound"), shed.lot("compound")
    stock.declare_again(material=material, by=shed.organiser, values={"N": Decimal(15)}, slow="no")
    assert material.current().analysis().percent[Nutrient.N] == 15
    assert Lot.objects.get(pk=lot.pk).declaration.analysis().percent[Nutrient.N] == 16
    assert shed.revision.components.get(material=material).declaration.analysis().percent[Nutrient.N] == 16


# --- deliveries -----------------------------------------------------------------------------------------


def test_a_delivery_stands_in_its_spot_at_what_its_bags_say(cast: Any) -> None:
    lot = receive(cast, adopt(cast))
    place = place_of(lot)
    assert (place.balance_mg, place.spot, place.garden) == (50_000_000, "north shed", cast.garden)
    assert ledger.single(cast.programme, PlaceKind.SUPPLIER).balance_mg == -50_000_000


def test_the_same_form_twice_is_one_delivery(cast: Any) -> None:
    material, once = adopt(cast), key()
    assert receive(cast, material, key=once) == receive(cast, material, key=once)
    assert Lot.objects.count() == 1 and Ticket.objects.count() == 1


def test_a_mark_is_used_once(cast: Any) -> None:
    material = adopt(cast)
    receive(cast, material)
    with pytest.raises(InTheWay, match="lot C-01 already"):
        receive(cast, material)
    assert Ticket.objects.count() == 1


BAD_LOTS = [
    ({"bags": 0}, "bags"),
    ({"bags": 10**6}, "bags"),
    ({"bag_mass_mg": 0}, "bag_mass"),
    ({"bag_mass_mg": -1}, "bag_mass"),
    ({"bag_mass_mg": 10**13}, "bag_mass"),
    ({"price_minor": -1}, "price"),
    ({"code": ""}, "code"),
    ({"spot": " "}, "spot"),
    ({"day": dt.date(2999, 1, 1)}, "day"),
    ({"day": dt.date(1999, 1, 1)}, "day"),
]


@pytest.mark.parametrize("changes, field", BAD_LOTS)
def test_a_delivery_that_cannot_be_is_refused_at_its_field(
    cast: Any, changes: dict[str, Any], field: str
) -> None:
    with pytest.raises(Refused) as refusal:
        receive(cast, adopt(cast), **changes)
    assert refusal.value.field == field
    assert not Lot.objects.exists() and not Ticket.objects.exists()


def test_cost_per_kilogram_of_the_first_example(shed: Shed) -> None:
    assert round(float(cost_of_revision(shed.revision).minor_per_kg or 0), 1) == 143.5


def test_a_cost_without_a_delivery_says_which(cast: Any, shed: Shed) -> None:
    Lot.objects.filter(material=shed.material("trace")).update(material=shed.material("drying"))
    cost = cost_of_revision(shed.revision)
    assert cost.minor_per_kg is None and cost.unpriced == ("Trace concentrate",)


# --- moves, losses --------------------------------------------------------------------------------------


def test_a_bag_is_carried_to_another_spot(shed: Shed, cast: Any) -> None:
    place = place_of(shed.lot("compound"))
    there = stock.move_lot(
        place=place, by=shed.steward, mass_mg=25_000_000, garden=cast.garden, spot="bench", key=key()
    )
    assert (
        Place.objects.get(pk=place.pk).balance_mg == 0
        and Place.objects.get(pk=there.pk).balance_mg == 25_000_000
    )
    assert [s.total_mg for s in in_store(shed.programme) if s.material == shed.material("compound")] == [
        25_000_000
    ]


def test_a_move_to_where_it_stands_is_refused(shed: Shed, cast: Any) -> None:
    with pytest.raises(Refused, match="already"):
        stock.move_lot(
            place=place_of(shed.lot("compound")), by=shed.steward, mass_mg=1, garden=cast.garden,
            spot="north shed", key=key(),
        )  # fmt: skip


def test_what_goes_back_to_the_supplier_needs_a_reason(shed: Shed) -> None:
    place = place_of(shed.lot("trace"))
    with pytest.raises(Refused, match="why"):
        stock.send_back(place=place, by=shed.organiser, mass_mg=5, reason=" ", key=key())
    stock.send_back(place=place, by=shed.organiser, mass_mg=1_000_000, reason="wrong bag", key=key())
    assert Place.objects.get(pk=place.pk).balance_mg == 0


@pytest.mark.parametrize("to", ["lost", "waste"])
def test_a_loss_is_stated_with_its_reason_and_opens_nothing(cast: Any, to: str) -> None:
    weighing = start_weighing(cast)
    weighing.weigh_all()
    book = weighing.place().balance_mg
    stock.state_loss(
        place=weighing.place(), by=cast.steward, mass_mg=150_000, reason="spilt", key=key(), to=to
    )
    assert weighing.place().balance_mg == book - 150_000 and not weighing.place().opened
    assert ledger.single(cast.programme, PlaceKind(to)).balance_mg == 150_000


def test_a_loss_larger_than_the_book_is_kept_and_flagged(shed: Shed) -> None:
    place = place_of(shed.lot("trace"))
    stock.state_loss(place=place, by=shed.steward, mass_mg=1_020_000, reason="bag burst", key=key())
    assert Place.objects.get(pk=place.pk).balance_mg == 0
    assert Flag.objects.get().mass_mg == 20_000 and ledger.disagreement_mg(shed.programme) == 0


@pytest.mark.parametrize(
    "changes, field",
    [({"reason": ""}, "reason"), ({"mass_mg": 0}, "mass"), ({"mass_mg": -1}, "mass"), ({"to": "sold"}, "to")],
)
def test_a_loss_that_says_nothing_is_refused(shed: Shed, changes: dict[str, Any], field: str) -> None:
    how: dict[str, Any] = {"mass_mg": 1000, "reason": "spilt", "key": key()}
    with pytest.raises(Refused) as refusal:
        stock.state_loss(place=place_of(shed.lot("trace")), by=shed.steward, **(how | changes))
    assert refusal.value.field == field


# --- counts ---------------------------------------------------------------------------------------------


def test_a_count_inside_its_band_is_within_weighing(cast: Any) -> None:
    weighing = start_weighing(cast)
    weighing.weigh("compound")
    place = place_of(weighing.shed.lot("compound"))
    book = Place.objects.get(pk=place.pk).balance_mg
    # one weigh-out and the count itself, each to 1 g: band = 2 × sqrt(2 / 12) g = 0.816 g
    made = stock.count_place(place=place, by=cast.steward, counted_mg=book + 800, key=key())
    assert (made.weighings, made.band_mg, made.within, made.difference_mg) == (2, 816, True, 800)
    assert Place.objects.get(pk=place.pk).balance_mg == book + 800
    assert not Flag.objects.exists()


def test_a_count_outside_its_band_needs_words(shed: Shed) -> None:
    place = place_of(shed.lot("compound"))
    with pytest.raises(Refused, match="less than the book") as refusal:
        stock.count_place(place=place, by=shed.steward, counted_mg=24_000_000, key=key())
    assert refusal.value.field == "reason" and not Count.objects.exists()
    made = stock.count_place(
        place=place, by=shed.steward, counted_mg=24_000_000, key=key(), reason="a corner was torn"
    )
    assert not made.within and Place.objects.get(pk=place.pk).balance_mg == 24_000_000
    assert Flag.objects.get().settled_reason == "a corner was torn"


def test_a_count_that_agrees_moves_nothing(shed: Shed) -> None:
    made = stock.count_place(
        place=place_of(shed.lot("drying")), by=shed.steward, counted_mg=2_000_000, key=key()
    )
    assert made.difference_mg == 0 and made.ticket and not made.ticket.lines.exists()


def test_the_same_count_twice_is_one(shed: Shed) -> None:
    place, once = place_of(shed.lot("drying")), key()
    first, again = (
        stock.count_place(place=place, by=shed.steward, counted_mg=1_999_900, key=once) for _ in range(2)
    )
    assert first == again and Count.objects.count() == 1


@pytest.mark.parametrize("counted", [-1, 10**13])
def test_a_count_that_cannot_be_is_refused(shed: Shed, counted: int) -> None:
    with pytest.raises(Refused, match="count"):
        stock.count_place(place=place_of(shed.lot("drying")), by=shed.steward, counted_mg=counted, key=key())


def test_the_band_begins_again_after_a_count(cast: Any) -> None:
    weighing = start_weighing(cast)
    weighing.weigh("compound")
    place = place_of(weighing.shed.lot("compound"))
    stock.count_place(place=place, by=cast.steward, counted_mg=place.balance_mg, key=key(), reason="first")
    assert list(stock.weighings(place)) == []


def test_lots_of_the_day_are_all_that_stand_in_store(cast: Any) -> None:
    weighing = start_weighing(cast)
    assert [lot.code for lot in lots_of_day(weighing.day)] == ["C-07", "D-01", "M-02", "T-03"]
