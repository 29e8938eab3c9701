"""Weigh-outs: asked for scale and gate, told for the bag; questions, witnesses, corrections."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.utils import timezone

from blends import ledger
from blends.actions import days, scales
from blends.actions.stock import state_loss
from blends.models import Flag, Gate, Look, Place, Ticket, Verdict, WeighOut
from blends.queries.pails import open_questions, pail_state
from blends.readings import ReadingAsked
from gardens.refusals import InTheWay, Refused
from tests.blends.shed import Weighing, key, start_weighing

pytestmark = pytest.mark.django_db


@pytest.fixture
def weighing(cast: Any) -> Weighing:
    return start_weighing(cast)


def nothing_recorded() -> bool:
    return not WeighOut.objects.exists() and not Ticket.objects.filter(kind="weigh_out").exists()


def test_a_reading_is_booked_net_from_its_lot_into_its_pail(weighing: Weighing) -> None:
    made = weighing.weigh("compound")
    assert (made.net_mg, made.gross_mg, made.tare_mg) == (5_142_000, 5_154_400, 12_400)
    assert weighing.place().balance_mg == 5_142_000
    assert Place.objects.get(lot=made.lot).balance_mg == 25_000_000 - 5_142_000
    assert made.question == "" and made.ticket.by == weighing.shed.steward


def test_nothing_is_weighed_before_the_safety_list(cast: Any) -> None:
    weighing = start_weighing(cast, safe=False)
    with pytest.raises(InTheWay, match="Safety first"):
        weighing.weigh("compound")
    assert nothing_recorded()


def test_the_same_key_is_one_reading(weighing: Weighing) -> None:
    once = key()
    assert weighing.weigh("compound", key=once) == weighing.weigh("compound", key=once)
    assert WeighOut.objects.count() == 1


def test_a_component_is_weighed_once(weighing: Weighing) -> None:
    weighing.weigh("compound")
    with pytest.raises(InTheWay, match="already"):
        weighing.weigh("compound")
    assert WeighOut.objects.count() == 1


def test_a_bag_that_held_more_than_the_book_is_never_refused(weighing: Weighing) -> None:
    place = Place.objects.get(lot=weighing.shed.lot("trace"))
    state_loss(place=place, by=weighing.shed.steward, mass_mg=990_000, reason="spilt", key=key())
    made = weighing.weigh("trace")
    assert Place.objects.get(pk=place.pk).balance_mg == 0
    assert Flag.objects.get().mass_mg == made.net_mg - 10_000
    assert ledger.disagreement_mg(weighing.shed.programme) == 0


# --- questions ------------------------------------------------------------------------------------------

READINGS = [
    # component, reading in mg, what the question says
    ("trace", 771_000, "ten times"),
    ("trace", 7_700, "a tenth"),
    ("trace", 770_000, "fits Magnesium salt"),
    ("magnesium", 77_100, "fits Trace concentrate"),
    ("trace", 80_000, "2.9 g over"),
    ("drying", 100_000, "short"),
    ("trace", 2_185_700, "showed g where oz was typed"),
    ("drying", 6_300, "showed oz where g was typed"),
]


@pytest.mark.parametrize("name, mass, said", READINGS)
def test_a_doubtful_reading_is_asked_about_and_nothing_is_recorded(
    weighing: Weighing, name: str, mass: int, said: str
) -> None:
    with pytest.raises(ReadingAsked) as question:
        weighing.weigh(name, mass, scale=weighing.shed.coarse)
    assert said in question.value.message
    assert nothing_recorded() and weighing.place().gate == Gate.FILLING


def test_ten_times_the_trace_tells_what_boron_becomes(weighing: Weighing) -> None:
    with pytest.raises(ReadingAsked, match="Boron in this pail would be 10 times the design"):
        weighing.weigh("trace", 771_000, scale=weighing.shed.coarse)


def test_a_kept_reading_is_booked_as_it_happened_and_holds_the_pail(weighing: Weighing) -> None:
    made = weighing.weigh("drying", 200_000, question_reason="it was damp")
    assert (made.question, made.question_reason) == ("outside", "it was damp")
    assert weighing.place().gate == Gate.HELD and weighing.place().balance_mg == 200_000
    assert open_questions(weighing.pail) == (made,)


def test_the_wrong_bag_is_asked_about_then_booked_from_where_it_came(weighing: Weighing) -> None:
    magnesium = weighing.shed.lot("magnesium")
    with pytest.raises(ReadingAsked, match="you chose is Magnesium salt; this weighing is for Drying agent"):
        weighing.weigh("drying", lot=magnesium)
    made = weighing.weigh("drying", lot=magnesium, question_reason="took the wrong bag")
    assert "wrong_bag" in made.question and weighing.place().gate == Gate.HELD
    assert Place.objects.get(lot=magnesium).balance_mg == 10_000_000 - made.net_mg


def test_the_exchange_of_magnesium_salt_and_trace_is_caught_at_each_reading(cast: Any) -> None:
    weighing = start_weighing(cast, 5_272_000)  # 659 g magnesium salt, 65.9 g trace
    assert (weighing.shown("magnesium"), weighing.shown("trace")) == (659_000, 65_900)
    with pytest.raises(ReadingAsked, match="fits Trace concentrate"):
        weighing.weigh("magnesium", 65_900)
    with pytest.raises(ReadingAsked, match="fits Magnesium salt"):
        weighing.weigh("trace", 659_000, scale=weighing.shed.coarse)
    # right figures, exchanged bags: the lot chosen at the reading tells
    with pytest.raises(ReadingAsked, match="Trace concentrate; this weighing is for Magnesium salt"):
        weighing.weigh("magnesium", lot=weighing.shed.lot("trace"), witness=weighing.shed.witness)
    assert nothing_recorded()


def test_a_part_may_be_short_and_the_rest_completes_it(weighing: Weighing) -> None:
    weighing.weigh("compound", 2_000_000, part=True)
    state = pail_state(weighing.pail)
    assert state.components[0].left_mg == 3_142_000 and not state.components[0].complete
    rest = weighing.weigh("compound", 3_142_000)
    assert pail_state(weighing.pail).components[0].complete
    assert rest.question == "" and not open_questions(weighing.pail)


def test_a_part_may_not_be_more_than_the_whole(weighing: Weighing) -> None:
    with pytest.raises(ReadingAsked, match="over"):
        weighing.weigh("compound", 6_000_000, part=True)


# --- scales ---------------------------------------------------------------------------------------------


def test_over_a_scales_maximum_is_refused_vessel_included(weighing: Weighing) -> None:
    with pytest.raises(Refused, match=r"carries up to 0\.5 kg") as refusal:
        weighing.weigh("magnesium", 490_000, scale=weighing.shed.fine)
    assert refusal.value.field == "gross" and nothing_recorded()


def test_a_retired_scale_is_refused(weighing: Weighing) -> None:
    scales.retire_scale(scale=weighing.shed.fine, by=weighing.shed.organiser)
    with pytest.raises(Refused, match="no longer used"):
        weighing.weigh("trace", scale=weighing.shed.fine.__class__.objects.get(pk=weighing.shed.fine.pk))
    with pytest.raises(InTheWay, match="already"):
        scales.retire_scale(scale=weighing.shed.fine, by=weighing.shed.organiser)


def test_a_scale_too_coarse_is_told_and_goes_on_with_a_reason_that_holds_nothing(weighing: Weighing) -> None:
    coarse = scales.add_scale(
        programme=weighing.shed.programme,
        by=weighing.shed.organiser,
        name="Platform",
        division_mg=50_000,
        max_mg=10**8,
    )
    with pytest.raises(ReadingAsked, match="finer scale"):
        weighing.weigh("magnesium", 750_000, scale=coarse, tare_mg=0, gross_mg=750_000)
    made = weighing.weigh(
        "magnesium", scale=coarse, tare_mg=0, gross_mg=750_000, question_reason="no other here"
    )
    assert made.question == "scale_too_coarse" and weighing.place().gate == Gate.FILLING


def test_below_a_scales_minimum_is_told(weighing: Weighing) -> None:
    heavy = scales.add_scale(
        programme=weighing.shed.programme, by=weighing.shed.organiser, name="Floor", division_mg=1_000,
        min_mg=200_000, max_mg=10**8,
    )  # fmt: skip
    with pytest.raises(ReadingAsked, match="smallest load"):
        weighing.weigh("trace", 77_000, scale=heavy)


BAD_SCALES = [
    ({"name": " "}, "name"),
    ({"division_mg": 0}, "division"),
    ({"division_mg": -1}, "division"),
    ({"min_mg": -1}, "minimum"),
    ({"max_mg": 0}, "maximum"),
    ({"min_mg": 5_000, "max_mg": 5_000}, "maximum"),
    ({"name": "Scale A"}, "name"),
]


@pytest.mark.parametrize("changes, field", BAD_SCALES)
def test_a_scale_that_cannot_be_is_refused(weighing: Weighing, changes: dict[str, Any], field: str) -> None:
    fields: dict[str, Any] = {"name": "C", "division_mg": 1_000, "min_mg": 0, "max_mg": 5_000_000}
    with pytest.raises(Refused) as refusal:
        scales.add_scale(programme=weighing.shed.programme, by=weighing.shed.organiser, **(fields | changes))
    assert refusal.value.field == field


BAD_READINGS = [
    ({"gross_mg": 12_400}, "gross"),
    ({"gross_mg": 0}, "gross"),
    ({"gross_mg": -5}, "gross"),
    ({"gross_mg": 10**15}, "gross"),
    ({"tare_mg": -1}, "tare"),
    ({"happened_at": timezone.now() + dt.timedelta(days=1)}, "happened_at"),
]


@pytest.mark.parametrize("changes, field", BAD_READINGS)
def test_a_reading_that_cannot_be_is_refused(weighing: Weighing, changes: dict[str, Any], field: str) -> None:
    with pytest.raises(Refused) as refusal:
        weighing.weigh("compound", **changes)
    assert refusal.value.field == field and nothing_recorded()


# --- witnesses ------------------------------------------------------------------------------------------


def test_a_trace_component_needs_a_witness_or_a_word(weighing: Weighing) -> None:
    with pytest.raises(Refused, match="second person") as refusal:
        weighing.weigh("trace", witness=None)
    assert refusal.value.field == "witness" and nothing_recorded()


def test_a_trace_bag_needs_one_whatever_it_is_weighed_for(weighing: Weighing) -> None:
    with pytest.raises(Refused, match="second person"):
        weighing.weigh("drying", lot=weighing.shed.lot("trace"), question_reason="so it was")


@pytest.mark.parametrize("who", ["steward", "stranger"])
def test_the_witness_is_another_person_of_the_programme(weighing: Weighing, cast: Any, who: str) -> None:
    with pytest.raises(Refused) as refusal:
        weighing.weigh("trace", witness=getattr(cast, who))
    assert refusal.value.field == "witness" and nothing_recorded()


def test_who_weighs_alone_holds_the_pail_until_a_second_person_looked(weighing: Weighing, cast: Any) -> None:
    for name in ("compound", "magnesium", "drying"):
        weighing.weigh(name)
    made = weighing.weigh("trace", witness=None, alone=True)
    assert weighing.place().gate == Gate.HELD
    with pytest.raises(InTheWay, match="second person has to look"):
        weighing.release(by=cast.organiser, accept=True, reason="I trust them")
    with pytest.raises(Refused, match="second person has to look"):
        days.look_at(weigh_out=made, by=cast.steward)
    days.look_at(weigh_out=made, by=cast.second_steward)
    with pytest.raises(InTheWay, match="already"):
        days.look_at(weigh_out=made, by=cast.organiser)
    assert Look.objects.count() == 1
    assert weighing.release().verdict == Verdict.RELEASED


# --- corrections ----------------------------------------------------------------------------------------


def correct(weighing: Weighing, made: WeighOut, **changes: Any) -> WeighOut:
    how: dict[str, Any] = {"by": weighing.shed.steward, "key": key(), "reason": "typed wrong"}
    return days.correct_weigh_out(weigh_out=made, **(how | changes))


def test_a_correction_is_a_reversal_and_a_new_ticket(weighing: Weighing) -> None:
    made = weighing.weigh("compound")
    right = correct(weighing, made, gross_mg=made.gross_mg - 50_000)
    assert right.net_mg == 5_092_000 == weighing.place().balance_mg
    assert made.ticket.reversed_by.reason == "typed wrong"
    assert right.ticket.told and not right.question
    lot = Place.objects.get(lot=made.lot)
    assert lot.balance_mg == 25_000_000 - 5_092_000 and list(ledger.onwards(lot)) == [weighing.place()]


def test_the_same_correction_twice_is_one(weighing: Weighing) -> None:
    made, once = weighing.weigh("compound"), key()
    first = correct(weighing, made, gross_mg=made.gross_mg - 50_000, key=once)
    again = correct(weighing, made, gross_mg=made.gross_mg - 50_000, key=once)
    assert first == again and WeighOut.objects.count() == 2


def test_a_correction_needs_a_reason_and_what_stands(weighing: Weighing) -> None:
    made = weighing.weigh("compound")
    with pytest.raises(Refused, match="why"):
        correct(weighing, made, reason=" ")
    correct(weighing, made, gross_mg=made.gross_mg - 50_000)
    with pytest.raises(Refused):
        correct(weighing, made, gross_mg=made.gross_mg)
    assert WeighOut.objects.count() == 2


def test_a_doubtful_correction_is_asked_about_too(weighing: Weighing) -> None:
    made = weighing.weigh("compound")
    with pytest.raises(ReadingAsked):
        correct(weighing, made, gross_mg=3_000_000)
    assert weighing.place().balance_mg == made.net_mg


def test_a_correction_after_release_that_stays_good_stays_released(weighing: Weighing) -> None:
    weighing.weigh_all()
    weighing.release()
    made = WeighOut.objects.get(component__material__name="Magnesium salt")
    correct(weighing, made, gross_mg=made.gross_mg + 5_000)
    assert weighing.place().gate == Gate.RELEASED
    assert weighing.pail.decisions.last().reason.startswith("a reading was corrected")


def test_a_correction_after_release_that_spoils_it_holds_the_pail_and_is_booked_all_the_same(
    weighing: Weighing,
) -> None:
    weighing.weigh_all()
    weighing.release()
    Place.objects.filter(pk=weighing.place().pk).update(opened=True)
    made = WeighOut.objects.get(component__material__name="Magnesium salt")
    correct(weighing, made, gross_mg=made.gross_mg + 200_000, question_reason="it was so")
    assert weighing.place().gate == Gate.HELD


def test_a_correction_takes_only_what_the_pail_lacks_from_difference(weighing: Weighing) -> None:
    weighing.weigh_all()
    state_loss(
        place=weighing.place(),
        by=weighing.shed.steward,
        mass_mg=weighing.place().balance_mg,
        reason="burst",
        key=key(),
    )
    made = WeighOut.objects.get(component__material__name="Drying agent")
    correct(weighing, made, gross_mg=made.gross_mg - 3_000)
    assert Flag.objects.get().mass_mg == 3_000 and weighing.place().balance_mg == 0


def test_a_reading_that_went_elsewhere_is_taken_back(weighing: Weighing) -> None:
    made = weighing.weigh("compound")
    days.reverse_weigh_out(weigh_out=made, by=weighing.shed.steward, key=key(), reason="into pail 2")
    assert weighing.place().balance_mg == 0 and not pail_state(weighing.pail).components[0].begun
    weighing.weigh("compound")
    assert weighing.place().balance_mg == made.net_mg
