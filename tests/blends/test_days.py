"""Opening, releasing, holding, closing a mixing day; what doses are reckoned with."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

import pytest

from blends import ledger
from blends.actions import days, stock
from blends.batching import Held, Never
from blends.models import Gate, MixingDay, Pail, PailDecision, Place, PlaceKind, SafetyTick, Verdict
from blends.queries.pails import dose_analysis, pail_analysis, pail_state
from blends.safety import POINTS
from gardens.clock import today
from gardens.nutrients import Nutrient
from gardens.refusals import InTheWay, Refused
from tests.blends.shed import Weighing, fill_shed, key, start_weighing

pytestmark = pytest.mark.django_db


@pytest.fixture
def weighing(cast: Any) -> Weighing:
    return start_weighing(cast)


def open_day(cast: Any, **changes: Any) -> MixingDay:
    fields: dict[str, Any] = {"garden": cast.garden, "day": today(cast.programme), "crew": [cast.steward]}
    return days.open_day(programme=cast.programme, by=cast.organiser, **(fields | changes))


def test_a_day_has_its_crew_once(cast: Any) -> None:
    day = open_day(cast, crew=[cast.steward, cast.steward])
    days.add_crew(day=day, by=cast.organiser, person=cast.second_steward)
    assert {c.person for c in day.crew.all()} == {cast.steward, cast.second_steward}
    days.drop_crew(day=day, by=cast.organiser, person=cast.steward)
    assert day.crew.count() == 1


@pytest.mark.parametrize("off", [-400, 400])
def test_a_day_lies_within_a_year(cast: Any, off: int) -> None:
    with pytest.raises(Refused, match="within a year"):
        open_day(cast, day=today(cast.programme) + dt.timedelta(days=off))


def test_one_garden_has_one_day_on_a_date(cast: Any) -> None:
    open_day(cast)
    with pytest.raises(InTheWay, match="already"):
        open_day(cast)


def test_a_point_is_ticked_once_and_back_only_before_weighing(cast: Any) -> None:
    weighing = start_weighing(cast, safe=False)
    point = next(iter(POINTS))
    first = days.tick(day=weighing.day, by=cast.steward, point=point)
    assert days.tick(day=weighing.day, by=cast.organiser, point=point) == first
    days.untick(day=weighing.day, by=cast.steward, point=point)
    assert not SafetyTick.objects.exists()
    with pytest.raises(Refused, match="no point"):
        days.tick(day=weighing.day, by=cast.steward, point="smile")
    for each in POINTS:
        days.tick(day=weighing.day, by=cast.steward, point=each)
    weighing.weigh("compound")
    with pytest.raises(InTheWay, match="Weighing has begun"):
        days.untick(day=weighing.day, by=cast.steward, point=point)


# --- batches --------------------------------------------------------------------------------------------


def test_a_batch_is_divided_equally_and_its_targets_sum_exactly(cast: Any) -> None:
    weighing = start_weighing(cast, 25_000_001)
    assert [p.target_mg for p in weighing.pails] == [8_333_334, 8_333_334, 8_333_333]
    for pail in weighing.pails:
        assert sum(t.target_mg for t in pail.targets.all()) == pail.target_mg
        assert pail.place.gate == Gate.FILLING and pail.place.balance_mg == 0
    assert [t.component.material.name for t in weighing.pail.targets.all()] == [
        "Compound 16-16-16", "Magnesium salt", "Drying agent", "Trace concentrate",
    ]  # fmt: skip


def test_trace_goes_on_the_finest_scale_the_rest_on_the_coarsest_that_will_do(weighing: Weighing) -> None:
    assert {t.component.material.name: t.scale.name for t in weighing.pail.targets.all()} == {
        "Compound 16-16-16": "Scale A", "Magnesium salt": "Scale A", "Drying agent": "Scale A",
        "Trace concentrate": "Scale B",
    }  # fmt: skip


def test_batches_are_numbered_in_the_programme(weighing: Weighing, cast: Any) -> None:
    second = days.start_batch(
        day=weighing.day, by=cast.organiser, revision=weighing.shed.revision, mass_mg=5_000_000
    )
    assert (weighing.batch.number, second.number) == (1, 2)


@pytest.mark.parametrize(
    "mass, code", [(0, "no_mass"), (-1, "no_mass"), (900, "too_small"), (10**10, "many_pails")]
)
def test_a_batch_that_cannot_be_is_refused(weighing: Weighing, cast: Any, mass: int, code: str) -> None:
    with pytest.raises(Refused) as refusal:
        days.start_batch(day=weighing.day, by=cast.organiser, revision=weighing.shed.revision, mass_mg=mass)
    assert refusal.value.code == code and Pail.objects.count() == 1


def test_without_a_scale_there_is_no_batch(cast: Any) -> None:
    shed = fill_shed(cast)
    with pytest.raises(Refused, match="no scale"):
        days.start_batch(
            day=open_day(cast), by=cast.organiser, revision=shed.revision, mass_mg=10**7, scales=[]
        )


@pytest.mark.parametrize("mass", [0, -1, 4_999, 5_000_001])
def test_ten_scoops_weigh_something_sensible(weighing: Weighing, cast: Any, mass: int) -> None:
    with pytest.raises(Refused, match="Ten struck scoops"):
        days.weigh_scoops(batch=weighing.batch, by=cast.steward, ten_scoops_mg=mass)


def test_ten_scoops_are_one_figure_for_the_batch(weighing: Weighing, cast: Any) -> None:
    days.weigh_scoops(batch=weighing.batch, by=cast.steward, ten_scoops_mg=141_000)
    days.weigh_scoops(batch=weighing.batch, by=cast.second_steward, ten_scoops_mg=142_000)
    weighing.batch.refresh_from_db()
    assert (weighing.batch.ten_scoops_mg, weighing.batch.scoop_by) == (142_000, cast.second_steward)


# --- release --------------------------------------------------------------------------------------------


def test_a_pail_weighed_right_is_released_with_its_analysis(weighing: Weighing) -> None:
    weighing.weigh_all()
    decision = weighing.release()
    assert weighing.place().gate == Gate.RELEASED and not decision.accepted
    assert Decimal(decision.analysis["percent"]["N"]) == pytest.approx(Decimal("13.33"), abs=Decimal("0.01"))


def test_a_pail_without_a_component_is_not_released_by_anybody(weighing: Weighing, cast: Any) -> None:
    weighing.weigh("compound")
    with pytest.raises(InTheWay, match="not complete: Magnesium salt, Drying agent, Trace concentrate"):
        weighing.release(by=cast.organiser, accept=True, reason="hurry")
    assert weighing.place().gate == Gate.FILLING


def test_releasing_twice_is_told_kindly(weighing: Weighing) -> None:
    weighing.weigh_all()
    weighing.release()
    with pytest.raises(InTheWay, match="released already; nothing changed"):
        weighing.release()
    assert PailDecision.objects.count() == 1


def test_outside_ten_percent_only_the_organiser_accepts_with_a_reason(weighing: Weighing, cast: Any) -> None:
    weighing.weigh("compound")
    weighing.weigh("drying")
    weighing.weigh("trace")
    weighing.weigh("magnesium", 900_000, question_reason="the bag was open")
    assert isinstance(pail_state(weighing.pail).verdict, Held)
    with pytest.raises(InTheWay, match="Magnesium is"):
        weighing.release()
    with pytest.raises(Refused, match="Only an organiser"):
        weighing.release(accept=True, reason="fine by me")
    with pytest.raises(Refused, match="Say why"):
        weighing.release(by=cast.organiser, accept=True)
    assert weighing.place().gate == Gate.HELD
    decision = weighing.release(by=cast.organiser, accept=True, reason="a little more magnesium harms nobody")
    assert decision.accepted and weighing.place().gate == Gate.RELEASED


def test_boron_above_one_and_a_half_times_is_never_released(weighing: Weighing, cast: Any) -> None:
    weighing.weigh("compound")
    weighing.weigh("magnesium")
    weighing.weigh("drying")
    weighing.weigh("trace", 120_000, question_reason="slipped")
    assert isinstance(pail_state(weighing.pail).verdict, Never)
    with pytest.raises(InTheWay, match="never handed out"):
        weighing.release(by=cast.organiser, accept=True, reason="please")
    assert weighing.place().gate == Gate.HELD


def test_a_wrong_bag_that_leaves_a_nutrient_out_is_held(weighing: Weighing) -> None:
    weighing.weigh("compound")
    weighing.weigh("drying")
    weighing.weigh("trace")
    weighing.weigh("magnesium", lot=weighing.shed.lot("drying"), question_reason="grabbed the drying agent")
    verdict = pail_state(weighing.pail).verdict
    assert isinstance(verdict, Held) and any(r.nutrient is Nutrient.MG for r in verdict.reasons)


def test_a_released_pail_is_held_again_with_one_tap(weighing: Weighing, cast: Any) -> None:
    weighing.weigh_all()
    weighing.release()
    days.hold_pail(pail=weighing.pail, by=cast.steward)
    assert weighing.place().gate == Gate.HELD
    with pytest.raises(InTheWay, match="is held"):
        ledger.post(
            programme=cast.programme, by=cast.steward,
            entry=ledger.Entry(
                ledger.TicketKind.HAND_OUT, key(), {}, [ledger.Line(weighing.place(), _lost(cast), 1)],
                require={weighing.place().pk: ledger.RELEASED},
            ),
        )  # fmt: skip
    weighing.release()
    assert [d.verdict for d in PailDecision.objects.all()] == [
        Verdict.RELEASED,
        Verdict.HELD,
        Verdict.RELEASED,
    ]


def _lost(cast: Any) -> Place:
    return ledger.single(cast.programme, PlaceKind.LOST)


def test_nothing_goes_into_a_released_pail(weighing: Weighing) -> None:
    weighing.weigh_all()
    weighing.release()
    with pytest.raises(InTheWay, match="released"):
        weighing.weigh("compound")


# --- what doses are reckoned with -----------------------------------------------------------------------


def test_within_five_percent_doses_follow_the_design(weighing: Weighing) -> None:
    weighing.weigh_all()
    weighing.release()
    assert dose_analysis(weighing.pail) == weighing.shed.revision.analysis()
    assert pail_analysis(weighing.pail) != weighing.shed.revision.analysis()


def test_a_pail_accepted_outside_five_percent_of_nitrogen_doses_as_made(
    weighing: Weighing, cast: Any
) -> None:
    weighing.weigh("magnesium")
    weighing.weigh("drying")
    weighing.weigh("trace")
    weighing.weigh("compound", 3_500_000, question_reason="the bag ran out")
    assert dose_analysis(weighing.pail) == weighing.shed.revision.analysis()
    weighing.release(by=cast.organiser, accept=True, reason="feed more of it")
    made = dose_analysis(weighing.pail)
    assert made == pail_analysis(weighing.pail) and made.percent[Nutrient.N] < Decimal("12.8")
    assert dose_analysis(weighing.batch) == made


def test_a_batch_with_one_good_pail_doses_by_the_design(cast: Any) -> None:
    weighing = start_weighing(cast, 12_000_000)
    for number in (1, 2):
        for name in ("magnesium", "drying", "trace"):
            weighing.weigh(name, number=number)
    weighing.weigh("compound", number=1)
    weighing.weigh("compound", 3_500_000, number=2, question_reason="the bag ran out")
    weighing.release(1)
    weighing.release(2, by=cast.organiser, accept=True, reason="feed more of it")
    assert dose_analysis(weighing.batch) == weighing.shed.revision.analysis()
    assert dose_analysis(weighing.pails[1]) != weighing.shed.revision.analysis()


def test_an_empty_pail_has_no_analysis(weighing: Weighing) -> None:
    with pytest.raises(InTheWay, match="Nothing has gone into"):
        pail_analysis(weighing.pail)


# --- closing --------------------------------------------------------------------------------------------


def count(weighing: Weighing, by: Any, counted_mg: int | None = None, **how: Any) -> Any:
    place = weighing.place()
    counted = place.balance_mg if counted_mg is None else counted_mg
    return stock.count_place(place=place, by=by, counted_mg=counted, key=key(), day=weighing.day, **how)


def test_a_day_is_closed_when_its_pails_are_counted(weighing: Weighing, cast: Any) -> None:
    weighing.weigh_all()
    with pytest.raises(InTheWay, match="Count first: pail 1 of batch 1"):
        days.close_day(day=weighing.day, by=cast.steward)
    count(weighing, cast.steward)
    closed = days.close_day(day=weighing.day, by=cast.steward)
    assert (closed.is_open, closed.closed_by) == (False, cast.steward)
    with pytest.raises(InTheWay, match="closed already"):
        days.close_day(day=weighing.day, by=cast.organiser)


def test_what_moved_after_the_count_is_counted_again(weighing: Weighing, cast: Any) -> None:
    weighing.weigh_all()
    count(weighing, cast.steward)
    stock.state_loss(place=weighing.place(), by=cast.steward, mass_mg=5_000, reason="spilt", key=key())
    with pytest.raises(InTheWay, match="Count first"):
        days.close_day(day=weighing.day, by=cast.steward)


def test_a_pail_that_never_held_anything_needs_no_count(weighing: Weighing, cast: Any) -> None:
    assert not days.close_day(day=weighing.day, by=cast.steward).is_open


def test_on_a_closed_day_nothing_is_weighed_ticked_or_begun(weighing: Weighing, cast: Any) -> None:
    days.close_day(day=weighing.day, by=cast.steward)
    with pytest.raises(InTheWay, match="closed"):
        weighing.weigh("compound")
    with pytest.raises(InTheWay, match="closed"):
        days.tick(day=weighing.day, by=cast.steward, point=next(iter(POINTS)))
    with pytest.raises(InTheWay, match="closed"):
        days.start_batch(day=weighing.day, by=cast.organiser, revision=weighing.shed.revision, mass_mg=10**7)


def test_the_book_balances_to_the_milligram_at_the_end(weighing: Weighing, cast: Any) -> None:
    weighing.weigh_all()
    weighing.release()
    count(weighing, cast.steward, weighing.place().balance_mg - 1_000)
    days.close_day(day=weighing.day, by=cast.steward)
    assert ledger.disagreement_mg(cast.programme) == 0
    assert sum(p.balance_mg for p in Place.objects.filter(programme=cast.programme)) == 0
