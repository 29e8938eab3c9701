"""A corrected reading of trace is looked at anew; a tub keeps the dose of the pail that it was filled from."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from blends.actions import days
from blends.models import Gate, WeighOut
from blends.queries.pails import dose_analysis
from gardens.nutrients import Nutrient
from gardens.refusals import Refused
from tests.blends.shed import Weighing, start_weighing
from tests.play import key

pytestmark = pytest.mark.django_db


@pytest.fixture
def weighing(cast: Any) -> Weighing:
    return start_weighing(cast)


def correct(weighing: Weighing, made: WeighOut, **changes: Any) -> WeighOut:
    how: dict[str, Any] = {"by": weighing.shed.steward, "key": key(), "reason": "typed wrong"}
    return days.correct_weigh_out(weigh_out=made, **(how | changes))


def test_who_witnessed_the_wrong_figure_has_not_seen_the_right_one(weighing: Weighing, cast: Any) -> None:
    weighing.weigh_all()
    weighing.release()
    made = WeighOut.objects.get(component__material__name="Trace concentrate")
    with pytest.raises(Refused, match="second person") as refusal:
        correct(weighing, made, gross_mg=made.gross_mg + 1_000)
    assert refusal.value.field == "witness" and weighing.place().gate == Gate.RELEASED
    seen = correct(weighing, made, gross_mg=made.gross_mg + 1_000, witness=cast.second_steward)
    assert seen.witness == cast.second_steward and weighing.place().gate == Gate.RELEASED


def test_a_word_only_keeps_the_witness(weighing: Weighing, cast: Any) -> None:
    made = weighing.weigh("trace")
    assert correct(weighing, made).witness == made.witness


def test_a_tub_keeps_the_dose_of_an_accepted_pail_that_is_held_again(weighing: Weighing, cast: Any) -> None:
    for name in ("magnesium", "drying", "trace"):
        weighing.weigh(name)
    weighing.weigh("compound", 3_500_000, question_reason="the bag ran out")
    weighing.release(by=cast.organiser, accept=True, reason="feed more of it")
    days.hold_pail(pail=weighing.pail, by=cast.steward, reason="a tub got wet")
    assert dose_analysis(weighing.pail).percent[Nutrient.N] < Decimal("12.8")


def test_a_trace_bag_weighed_alone_for_something_else_can_be_looked_at_on_the_page(
    weighing: Weighing, cast: Any, client: Client
) -> None:
    lot = weighing.shed.lot("trace")
    weighing.weigh("drying", lot=lot, witness=None, alone=True, question_reason="so it was")
    client.force_login(cast.second_steward.user)
    page = client.get(reverse("pail", args=[cast.programme.pk, weighing.pail.pk])).content.decode()
    made = WeighOut.objects.get()
    assert reverse("look", args=[cast.programme.pk, made.pk]) in page


def test_the_page_of_a_correction_names_no_witness_beforehand(
    weighing: Weighing, cast: Any, client: Client
) -> None:
    made = weighing.weigh("trace")
    client.force_login(cast.steward.user)
    page = client.get(reverse("weigh_correct", args=[cast.programme.pk, made.pk])).content.decode()
    box = page[page.index('name="witness"') :].partition("</select>")[0]
    assert "selected" not in box.replace('value="" selected', "")
