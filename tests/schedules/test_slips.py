"""A slip belongs to one household: its days, its tub, and what was frozen, whatever is planned since."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from gardens.actions.tenancies import pass_on
from gardens.models import Bed, Plot
from schedules.actions.feeding import log_feed
from schedules.actions.rounds import exchange_revision, freeze_round
from schedules.models import Portion, Round
from schedules.queries.items import Item, Items, items_of_round
from schedules.queries.slips import Slip, slips
from schedules.specs import BlendItem
from tests.cast import make_person, make_plot
from tests.schedules.scenes import FIRST, NOW, a_round, another_revision, more_plots, planted

pytestmark = pytest.mark.django_db


def test_a_plot_that_changes_hands_inside_the_round_has_a_slip_for_each_household(cast: Any) -> None:
    nadia = make_person(cast.programme, "Nadia", signs_in=False)
    pass_on(plot=cast.plot, by=cast.organiser, persons=[nadia], day=FIRST + dt.timedelta(weeks=3))
    round = a_round(cast)
    freeze_round(round=round, by=cast.organiser, now=NOW)
    old, new = slips(round).each
    assert (old.holders, new.holders) == ("Henna", "Nadia")
    days = [[day for line in slip.lines for day in line.days] for slip in (old, new)]
    assert days == [
        [FIRST, FIRST + dt.timedelta(weeks=1), FIRST + dt.timedelta(weeks=2)],
        [FIRST + dt.timedelta(weeks=3)],
    ]
    for slip in (old, new):
        held = sum(line.mg * len(line.days) for line in slip.lines)
        assert held <= slip.due_mg < held + cast.programme.desk_division_mg


# As frozen --------------------------------------------------------------------------------------------------


@pytest.fixture
def round(cast: Any) -> Round:
    """Frozen: plot 17's one bed, of which nobody told anything."""
    row = a_round(cast)
    freeze_round(round=row, by=cast.organiser, now=NOW)
    row.refresh_from_db()
    return row


def printed(slip: Slip) -> int:
    return sum(line.mg * len(line.days) for line in slip.lines)


def changed(slip: Slip) -> list[str]:
    return [said.replace("\u00a0", " ") for said in slip.changed]


def another_bed(plot: Plot) -> Bed:
    return Bed.objects.create(
        programme=plot.programme,
        plot=plot,
        name="2",
        shape="rectangle",
        a_mm=1000,
        b_mm=2000,
        area_mm2=2_000_000,
    )


def test_unchanged_a_slip_prints_its_portions_demand_and_says_nothing(cast: Any) -> None:
    for plot in more_plots(cast, 3):
        planted(Bed.objects.get(plot=plot), "tomato", dt.date(2026, 5, 11))
    row = a_round(cast)
    freeze_round(round=row, by=cast.organiser, now=NOW)
    row.refresh_from_db()
    found = slips(row)
    demand = {p.plot_id: p.demand_mg for p in Portion.objects.filter(round=row)}
    assert {slip.plot.pk: printed(slip) for slip in found.each} == demand and len(demand) == 4
    assert found.changed == 0 and found.late == ()


def test_a_bed_added_after_the_freeze_changes_no_figure_and_is_said(cast: Any, round: Round) -> None:
    another_bed(cast.plot)
    (slip,) = slips(round).each
    assert printed(slip) == Portion.objects.get(round=round).demand_mg == 54_432
    assert [line.title for line in slip.lines] == ["Bed 1"] and slip.rest == ()
    assert changed(slip) == ["Bed 2 would now get 37 g, and none of it is in this tub"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"drains": False}, "Bed 1 would now get 27 g instead of 54 g"),
        ({"feeding": "nothing"}, "Bed 1 would now get nothing"),
        ({"area_mm2": 1_486_448}, "Bed 1 would now get 27 g instead of 54 g"),
    ],
)
def test_a_bed_changed_after_the_freeze_prints_what_is_in_the_tub(
    cast: Any, round: Round, change: dict[str, Any], said: str
) -> None:
    Bed.objects.filter(pk=cast.bed.pk).update(**change)
    (slip,) = slips(round).each
    assert printed(slip) == 54_432 and changed(slip) == [said]


def test_a_crop_registered_after_the_freeze_is_said(cast: Any, round: Round) -> None:
    planted(cast.bed, "tomato", dt.date(2026, 6, 8), dt.datetime(2026, 6, 9, 12, tzinfo=dt.UTC))
    (slip,) = slips(round).each
    assert printed(slip) == 54_432 and slip.assumed and slip.changed and slip.rest == ()


def test_a_skipped_feed_is_no_change_of_the_plan(cast: Any, round: Round, monkeypatch: Any) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: dt.datetime(2026, 6, 3, tzinfo=dt.UTC))
    log_feed(plot=cast.plot, bed=cast.bed, planting=None, day=FIRST, kind="skipped", by=cast.holder)
    (slip,) = slips(round).each
    assert printed(slip) == 54_432 and slip.changed == ()


def test_another_bag_is_printed_by_its_own_snapshot(cast: Any, round: Round) -> None:
    weaker = another_revision(cast, {"N": "10"})
    exchange_revision(round=round, by=cast.organiser, revision=weaker)
    round.refresh_from_db()
    (slip,) = slips(round).each
    assert printed(slip) == Portion.objects.get(round=round).demand_mg == 4 * 18_144 and not slip.changed


@pytest.mark.parametrize(("n_percent", "each_mg"), [("12.0", 15_120), ("16.0", 11_340), ("1.0", 74_322)])
def test_out_of_a_pail_accepted_as_it_was_the_frozen_nitrogen_is_printed(
    cast: Any, round: Round, monkeypatch: Any, n_percent: str, each_mg: int
) -> None:
    """By the tub's own analysis; of a blend so weak that 25 g to the square metre bind, those."""

    def tubs(row: Round, *, accepted: bool | None = None) -> Items:
        item = items_of_round(row, accepted=accepted).default
        return Items(item, {}, {cast.plot.pk: Item(BlendItem("tub", Decimal(n_percent)), item.scoop_mg)})

    monkeypatch.setattr("schedules.queries.slips.items_of_round", tubs)
    (slip,) = slips(round).each
    assert [line.mg for line in slip.lines] == [each_mg] and slip.changed == ()


def test_whose_tub_it_is_was_frozen_too(cast: Any, round: Round) -> None:
    """Passed on after the freeze: the tub is Henna's, all of it; Nadia has none, and that is said."""
    nadia = make_person(cast.programme, "Nadia", signs_in=False)
    pass_on(plot=cast.plot, by=cast.organiser, persons=[nadia], day=FIRST + dt.timedelta(weeks=3))
    found = slips(round)
    assert [(s.holders, printed(s)) for s in found.each] == [("Henna", 54_432)]
    assert changed(found.each[0]) == ["Bed 1 would now get 41 g instead of 54 g"]
    assert [(row.holders, row.mg) for row in found.late] == [("Nadia", 13_608)]


def test_a_plot_frozen_with_nothing_and_planned_now_is_said(cast: Any, as_: Any, round: Round) -> None:
    make_plot(cast.garden, "21", make_person(cast.programme, "Ines", signs_in=False))
    found = slips(round)
    assert [(row.plot.label, row.holders, row.mg) for row in found.late] == [("21", "Ines", 54_432)]
    address = reverse("slips", args=[cast.programme.pk, round.pk])
    text = as_(cast.organiser).get(address).content.decode()
    assert "Frozen with nothing, and something is planned now" in text and "plot 21, Lock Lane (Ines)" in text


def test_the_slip_and_its_page_say_what_changed(cast: Any, as_: Any, round: Round) -> None:
    another_bed(cast.plot)
    text = as_(cast.organiser).get(reverse("slips", args=[cast.programme.pk, round.pk])).content.decode()
    assert "On 1 plot the plan has changed since the freeze" in text
    assert "Changed since the freeze:</b> Bed 2 would now get 37" in text


def test_of_a_closed_round_the_plan_of_now_is_not_asked(cast: Any, round: Round) -> None:
    Round.objects.filter(pk=round.pk).update(state="closed")
    round.refresh_from_db()
    another_bed(cast.plot)
    assert slips(round).changed == 0 and printed(slips(round).each[0]) == 54_432
