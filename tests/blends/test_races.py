"""Two stewards at the same pail, bag or form at once: one is first, the other is told, nothing is booked twice."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest

from blends import ledger
from blends.actions import days, recipes, stock
from blends.models import Batch, Gate, Lot, Revision, WeighOut
from gardens.clock import today
from tests.blends.shed import Weighing, key, start_weighing
from tests.cast import make_cast
from tests.house.racing import race

pytestmark = pytest.mark.django_db(transaction=True)
RIVALS = 12


@pytest.fixture
def weighing(transactional_db: None) -> Weighing:
    cast = make_cast()
    made = start_weighing(cast)
    made.cast = cast  # type: ignore[attr-defined]
    return made


def test_one_component_goes_into_a_pail_once(weighing: Weighing) -> None:
    ends = race([lambda: weighing.weigh("compound")] * RIVALS)
    assert ends == {"done": 1, "already_weighed": RIVALS - 1}
    assert WeighOut.objects.count() == 1 and weighing.place().balance_mg == 5_142_000


def test_one_key_is_one_reading(weighing: Weighing) -> None:
    once = key()
    ends = race([lambda: weighing.weigh("trace", key=once)] * RIVALS)
    assert ends == {"done": RIVALS} and WeighOut.objects.count() == 1


def test_a_pail_is_released_once(weighing: Weighing) -> None:
    weighing.weigh_all()
    ends = race([weighing.release] * RIVALS)
    assert ends == {"done": 1, "already_released": RIVALS - 1}
    assert weighing.place().gate == Gate.RELEASED and weighing.pail.decisions.count() == 1


def test_a_reading_is_corrected_once(weighing: Weighing) -> None:
    made = weighing.weigh("compound")

    def correct() -> Any:
        return days.correct_weigh_out(
            weigh_out=made,
            by=weighing.shed.steward,
            key=key(),
            reason="typed wrong",
            gross_mg=made.gross_mg - 9_000,
        )

    ends = race([correct] * RIVALS)
    assert ends["done"] == 1 and WeighOut.objects.count() == 2
    assert weighing.place().balance_mg == made.net_mg - 9_000
    assert ledger.disagreement_mg(weighing.shed.programme) == 0


def test_readings_corrections_and_releases_at_once_leave_a_good_book(weighing: Weighing) -> None:
    made = weighing.weigh("compound")
    acts: list[Any] = [partial(weighing.weigh, name) for name in ("magnesium", "drying", "trace")]
    acts += [
        lambda: days.correct_weigh_out(
            weigh_out=made,
            by=weighing.shed.steward,
            key=key(),
            reason="typed wrong",
            gross_mg=made.gross_mg + 1_000,
        ),
        lambda: days.hold_pail(pail=weighing.pail, by=weighing.shed.witness),
        lambda: stock.state_loss(
            place=weighing.place(), by=weighing.shed.witness, mass_mg=5_000, reason="spilt", key=key()
        ),
        lambda: stock.count_place(
            place=weighing.place(),
            by=weighing.shed.witness,
            counted_mg=5_000_000,
            key=key(),
            reason="so it stands",
        ),
    ]
    race(acts)
    assert ledger.disagreement_mg(weighing.shed.programme) == 0


def test_numbers_of_batches_and_revisions_are_given_once(weighing: Weighing) -> None:
    shed = weighing.shed
    line = (shed.material("compound"), 1_000_000, "1 kg")
    race(
        [
            lambda: days.start_batch(
                day=weighing.day, by=shed.organiser, revision=shed.revision, mass_mg=6_000_000
            )
        ]
        * 4
        + [lambda: recipes.freeze_revision(blend=shed.revision.blend, by=shed.organiser, lines=[line])] * 4
    )
    assert sorted(Batch.objects.values_list("number", flat=True)) == [1, 2, 3, 4, 5]
    assert sorted(Revision.objects.values_list("number", flat=True)) == [1, 2, 3, 4, 5]


def test_a_delivery_sent_many_times_is_one(weighing: Weighing) -> None:
    shed, once = weighing.shed, key()

    def receive() -> Any:
        return stock.receive_lot(
            programme=shed.programme, by=shed.organiser, material=shed.material("compound"), code="C-09", bags=1,
            bag_mass_mg=25_000_000, price_minor=2900, supplier="", day=today(shed.programme),
            garden=weighing.day.garden, spot="north shed", key=once,
        )  # fmt: skip

    assert race([receive] * RIVALS) == {"done": RIVALS}
    assert Lot.objects.filter(code="C-09").count() == 1 and ledger.disagreement_mg(shed.programme) == 0
