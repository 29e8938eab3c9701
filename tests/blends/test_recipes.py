"""Drafts may change, revisions may not; boron asks, then refuses."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.db import DatabaseError, transaction

from blends.actions import recipes, stock
from blends.models import Blend, Component, Material, Revision
from blends.queries.analyses import sheet
from blends.queries.plans import batch_plan, scaled_recipe
from gardens.refusals import InTheWay, Refused
from tests.blends.shed import Shed, fill_shed

pytestmark = pytest.mark.django_db


@pytest.fixture
def shed(cast: Any) -> Shed:
    return fill_shed(cast)


def freeze(shed: Shed, *lines: tuple[Material, int, str], **how: Any) -> Revision:
    return recipes.freeze_revision(blend=shed.revision.blend, by=shed.organiser, lines=lines, **how)


def test_the_first_blend_is_the_default_and_only_it(cast: Any) -> None:
    first = recipes.start_blend(programme=cast.programme, by=cast.organiser, name="All-round")
    second = recipes.start_blend(programme=cast.programme, by=cast.organiser, name="No phosphorus")
    assert first.is_default and not second.is_default


def test_another_blend_may_feed_everybody_once_it_is_frozen(shed: Shed) -> None:
    second = recipes.start_blend(programme=shed.programme, by=shed.organiser, name="No phosphorus")
    with pytest.raises(InTheWay, match="no frozen recipe"):
        recipes.make_default(blend=second, by=shed.organiser)
    lines = [(shed.material("magnesium"), 1_000_000, "1 kg")]
    recipes.freeze_revision(blend=second, by=shed.organiser, lines=lines)
    recipes.make_default(blend=second, by=shed.organiser)
    assert [b.name for b in Blend.objects.filter(is_default=True)] == ["No phosphorus"]


@pytest.mark.parametrize("name", ["", "  ", "x" * 81])
def test_a_blend_needs_a_short_name(cast: Any, name: str) -> None:
    with pytest.raises(Refused, match="short name"):
        recipes.start_blend(programme=cast.programme, by=cast.organiser, name=name)


def test_two_blends_of_one_name_are_told(shed: Shed) -> None:
    with pytest.raises(InTheWay, match="already"):
        recipes.start_blend(programme=shed.programme, by=shed.organiser, name="All-round")
    assert Blend.objects.count() == 1


def test_a_draft_keeps_what_was_typed_and_goes_when_frozen(shed: Shed) -> None:
    blend, compound = shed.revision.blend, shed.material("compound")
    recipes.save_draft(blend=blend, by=shed.organiser, lines=[{"material": compound.pk, "amount": "22 lb"}])
    assert Blend.objects.get(pk=blend.pk).draft == [{"material": compound.pk, "amount": "22 lb"}]
    revision = freeze(shed, (compound, 9_979_032, "22 lb"))
    assert revision.number == 2 and Blend.objects.get(pk=blend.pk).draft == []
    assert revision.components.get().written == "22 lb"


def test_a_revision_is_immutable_from_birth(shed: Shed) -> None:
    for rows, change in ((Revision.objects, {"number": 9}), (Component.objects, {"mass_mg": 1})):
        with pytest.raises(DatabaseError), transaction.atomic():
            rows.update(**change)
    assert shed.revision.mass_mg == 12_000_000


BAD_LINES = [
    ([], "empty"),
    ([("compound", 0, "0 kg")], "no_mass"),
    ([("compound", -5, "-5 kg")], "no_mass"),
    ([("compound", 10**12, "1000 t")], "no_mass"),
    ([("compound", 1000, "1 g"), ("compound", 1000, "1 g")], "twice"),
]


@pytest.mark.parametrize("lines, code", BAD_LINES)
def test_a_recipe_that_cannot_be_is_refused(shed: Shed, lines: list[tuple[str, int, str]], code: str) -> None:
    with pytest.raises(Refused) as refusal:
        freeze(shed, *((shed.material(name), mass, text) for name, mass, text in lines))
    assert refusal.value.code == code and Revision.objects.count() == 1


def test_boron_between_the_limits_needs_a_reason(shed: Shed) -> None:
    # 20 % of trace concentrate with 1 % B beside 12.8 % N: 14.647 / 12.8 × 0.2 × 10 = 2.29 kg/ha
    lines = [(shed.material("compound"), 8_000_000, "8 kg"), (shed.material("trace"), 2_000_000, "2 kg")]
    with pytest.raises(Refused, match="kg of boron a hectare") as refusal:
        freeze(shed, *lines)
    assert refusal.value.field == "boron_reason"
    assert freeze(shed, *lines, boron_reason="the soil has none").boron_reason == "the soil has none"


def test_boron_above_the_upper_limit_cannot_be_mixed(shed: Shed) -> None:
    lines = [(shed.material("compound"), 5_000_000, "5 kg"), (shed.material("trace"), 5_000_000, "5 kg")]
    with pytest.raises(Refused, match="cannot be mixed"):
        freeze(shed, *lines, boron_reason="please")
    assert Revision.objects.count() == 1


def test_boron_without_nitrogen_to_dose_it_by_needs_a_reason(shed: Shed) -> None:
    with pytest.raises(Refused, match="no soluble nitrogen"):
        freeze(shed, (shed.material("trace"), 1000, "1 g"))


def test_a_coated_component_is_said_and_not_for_weekly_feeding(shed: Shed) -> None:
    coated = stock.declare_material(
        programme=shed.programme,
        by=shed.organiser,
        name="Coated",
        kind="compound",
        values={"N": Decimal(18)},
        slow="yes",
    )
    told = sheet(freeze(shed, (coated, 1_000_000, "1 kg")).analysis())
    assert not told.weekly and "not for weekly feeding" in told.weekly_refusal


def test_a_blend_without_soluble_nitrogen_says_so(shed: Shed) -> None:
    told = sheet(freeze(shed, (shed.material("magnesium"), 1_000_000, "1 kg")).analysis())
    assert "no soluble nitrogen" in told.weekly_refusal


def test_a_recipe_is_scaled_to_any_mass_exactly(shed: Shed) -> None:
    masses = [mass for _, mass in scaled_recipe(shed.revision, 5_000_000)]
    assert masses == [4_166_667, 625_000, 62_500, 145_833] and sum(masses) == 5_000_000


def test_a_plan_says_pails_weigh_outs_bags_and_cost(shed: Shed) -> None:
    plan = batch_plan(shed.revision, 40_000_000)
    assert sum(plan.pails_mg) == 40_000_000 and len(plan.pails_mg) == 4  # 20 L × 60 % × 0.95 = 11.4 kg a pail
    assert [w.scale.name for w in plan.weigh_outs] == ["Scale A", "Scale A", "Scale A", "Scale B"]
    compound = plan.buys[0]
    assert (compound.need_mg, compound.stock_mg, compound.bags, compound.cost_minor) == (
        33_333_333, 25_000_000, 1, 2900,
    )  # fmt: skip
    assert plan.to_pay_minor == 2900 and round(plan.cost_minor or 0) == 5742 and not plan.unfit


def test_a_plan_without_scales_assumes_one_and_says_so(cast: Any, shed: Shed) -> None:
    assert batch_plan(shed.revision, 12_000_000, scales=[]).scales_assumed


@pytest.mark.parametrize("mass, code", [(0, "no_mass"), (-1, "no_mass"), (500, "too_small")])
def test_a_batch_that_cannot_be_weighed_is_refused(shed: Shed, mass: int, code: str) -> None:
    with pytest.raises(Refused) as refusal:
        batch_plan(shed.revision, mass)
    assert refusal.value.code == code and refusal.value.field == "mass"
