"""A day that is counted and closed: what is refused then, in words, and what is flagged."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from blends.actions import days, stock
from blends.models import Flag, FlagCode, MixingDay, Pail, WeighOut
from gardens.refusals import InTheWay, Refused
from tests.blends.shed import Weighing, key, start_weighing

pytestmark = pytest.mark.django_db


@pytest.fixture
def weighing(cast: Any) -> Weighing:
    return start_weighing(cast)


def close(weighing: Weighing) -> None:
    for pail in days_to_count(weighing):
        stock.count_place(
            place=pail.place, by=weighing.shed.steward, counted_mg=pail.place.balance_mg, key=key(),
            day=weighing.day,
        )  # fmt: skip
    days.close_day(day=weighing.day, by=weighing.shed.steward)


def days_to_count(weighing: Weighing) -> list[Pail]:
    return days.pails_to_count(weighing.day)


def test_weighing_after_the_count_is_refused_and_says_what_to_do(weighing: Weighing) -> None:
    weighing.weigh("compound")
    close(weighing)
    with pytest.raises(InTheWay, match=r"counted and closed.*Correct a reading.*new mixing day") as refused:
        weighing.weigh("magnesium")
    assert refused.value.code == "day_closed" and WeighOut.objects.count() == 1


def test_release_after_the_count_is_refused_and_says_what_to_do(weighing: Weighing) -> None:
    weighing.weigh_all()
    close(weighing)
    with pytest.raises(InTheWay, match=r"counted and closed.*stays held.*waste") as refused:
        weighing.release()
    assert refused.value.code == "day_closed" and weighing.pail.place.gate != "released"


def test_the_page_of_a_pail_of_a_closed_day_offers_no_release(weighing: Weighing, as_: Any) -> None:
    weighing.weigh_all()
    close(weighing)
    page = as_(weighing.shed.steward).get(f"/p/{weighing.shed.programme.pk}/pails/{weighing.pail.pk}/")
    assert b"never released" in page.content and b'value="release"' not in page.content


def test_a_reading_taken_back_after_the_count_stands_to_settle(weighing: Weighing) -> None:
    weighing.weigh("compound")
    made = weighing.weigh("magnesium")
    close(weighing)
    days.reverse_weigh_out(weigh_out=made, by=weighing.shed.steward, key=key(), reason="wrong pail")
    flag = Flag.objects.get(code=FlagCode.LATE)
    assert (flag.place, flag.mass_mg, flag.settled_at) == (weighing.place(), made.net_mg, None)
    assert "after" in flag.note and "counted" in flag.note


def test_a_figure_corrected_after_the_count_stands_to_settle(weighing: Weighing) -> None:
    made = weighing.weigh("compound")
    close(weighing)
    days.correct_weigh_out(
        weigh_out=made, by=weighing.shed.steward, key=key(), reason="misread", gross_mg=made.gross_mg - 2_000
    )
    assert Flag.objects.get(code=FlagCode.LATE).mass_mg == 2_000


def test_a_reading_taken_back_before_the_count_needs_no_word(weighing: Weighing) -> None:
    made = weighing.weigh("compound")
    days.reverse_weigh_out(weigh_out=made, by=weighing.shed.steward, key=key(), reason="wrong pail")
    assert not Flag.objects.exists()


def test_a_garden_has_one_mixing_day_a_date(cast: Any, weighing: Weighing) -> None:
    again = {"programme": cast.programme, "garden": cast.garden, "day": weighing.day.day}
    with pytest.raises(IntegrityError), transaction.atomic():
        MixingDay.objects.create(**again)


def test_two_who_open_the_same_day_at_once_get_one_and_a_sentence(
    cast: Any, weighing: Weighing, monkeypatch: Any
) -> None:
    monkeypatch.setattr("django.db.models.query.QuerySet.exists", lambda self: False)  # both looked before
    with pytest.raises(InTheWay, match="mixing day at Lock Lane on that date already"):
        days.open_day(programme=cast.programme, by=cast.organiser, garden=cast.garden, day=weighing.day.day)
    assert MixingDay.objects.count() == 1


@pytest.mark.parametrize(
    "change", [{"question_reason": "said aloud"}, {"alone": True}, {"witness": "second"}]
)
def test_the_same_key_with_another_answer_is_another_act(
    cast: Any, weighing: Weighing, change: dict[str, Any]
) -> None:
    again = key()
    weighing.weigh("compound", key=again)
    if "witness" in change:
        change = {"witness": weighing.shed.witness}
    with pytest.raises(Refused) as refused:
        weighing.weigh("compound", key=again, **change)
    assert refused.value.code == "key_reused" and WeighOut.objects.count() == 1


def test_a_batch_withdrawn_a_moment_ago_is_told_to_who_weighs(weighing: Weighing) -> None:
    pail, target = weighing.pail, weighing.target("compound")
    read = {"lot": weighing.shed.lot("compound"), "scale": target.scale, "gross_mg": 1_000_000, "key": key()}
    type(pail.place).objects.filter(pail__batch=weighing.batch).delete()
    for row in weighing.pails:
        row.targets.all().delete()
    Pail.objects.filter(batch=weighing.batch).delete()
    with pytest.raises(InTheWay, match="batch was withdrawn") as refused:
        days.weigh_out(pail=pail, component=target.component, by=weighing.shed.steward, **read)
    with pytest.raises(InTheWay, match="batch was withdrawn"):
        days.release_pail(pail=pail, by=weighing.shed.steward)
    assert refused.value.code == "batch_withdrawn"


def test_a_pail_that_was_released_and_held_since_is_released_again(weighing: Weighing) -> None:
    weighing.weigh_all()
    weighing.release()
    close(weighing)
    days.hold_pail(pail=weighing.pail, by=weighing.shed.steward, reason="a lump")
    assert weighing.release(reason="broken up").verdict == "released"
