"""A round from open to closed: live demand, freeze, portions, exchange of the blend, batch."""

from __future__ import annotations

import datetime as dt
from fractions import Fraction
from typing import Any

import pytest

from blends.models import Batch, MixingDay, PailDecision, Place, Scale, Slow, WeighOut
from gardens import jobs
from gardens.models import Household, Job, Member, Plot, Tenancy
from gardens.refusals import InTheWay, Refused
from schedules.actions.feeding import log_feed, undo_log
from schedules.actions.rates import lift_cap, set_own_rate
from schedules.actions.rounds import (
    change_round,
    close_round,
    exchange_revision,
    freeze_round,
    mix_round,
    open_round,
)
from schedules.models import Collection, FrozenLine, Portion, Round
from schedules.queries.items import items_of_round
from schedules.queries.plans import demand_of, land_of_round, live_demand
from schedules.queries.round_page import round_page
from schedules.queries.sizing import sizing
from tests.cast import make_person, make_plot
from tests.play import make_revision, move, play_day, receive_lots
from tests.schedules.scenes import FIRST, NOW, a_round, another_revision, held_until, more_plots, planted

WEEK_MG = 13_608  # 4.577 g/m2 of revision R on a 4 x 8 ft bed, before anybody said what grows there


def frozen(cast: Any, **changes: Any) -> Round:
    round = a_round(cast, **changes)
    freeze_round(round=round, by=cast.organiser, now=NOW)
    round.refresh_from_db()
    return round


# Live demand ------------------------------------------------------------------------------------------------


def test_a_bed_nobody_told_about_is_assumed(cast: Any) -> None:
    need = live_demand(a_round(cast))
    assert need.mg == need.assumed_mg == 4 * WEEK_MG
    assert need.assumed_plots == 1


def test_the_same_figures_by_plot_garden_and_programme(cast: Any) -> None:
    more_plots(cast, 7)
    planted(cast.bed, "tomato", dt.date(2026, 5, 11))
    round = a_round(cast)
    need, land = live_demand(round), land_of_round(round)
    by_the_specification = sum(s.plan.due_mg(round.first_day, round.last_day) for s in land.surfaces)
    assert need.mg == sum(p.mg for p in need.plots) == sum(g.mg for g in need.gardens) == by_the_specification
    assert need.assumed_mg == 7 * 4 * WEEK_MG


def test_a_known_crop_is_not_assumed(cast: Any) -> None:
    """Tomato, transplanted 11 May: 10.89, 10.89, then 21.77 g a week, from 25 May on."""
    planted(cast.bed, "tomato", dt.date(2026, 5, 11), ends_on=dt.date(2026, 9, 28))
    need = live_demand(a_round(cast))
    assert need.assumed_mg == 0
    assert round_to_g(need.mg) == round_to_g(10_886 + 3 * 21_773)


def round_to_g(mg: int) -> int:
    return (mg + 500) // 1000


def test_a_plot_without_a_holder_has_no_demand_and_is_listed(cast: Any) -> None:
    Tenancy.objects.filter(plot=cast.plot).delete()
    need = live_demand(a_round(cast))
    assert need.mg == 0
    assert [p.label for p in need.unheld] == ["17"] and need.plots[0].note == "nobody holds it"


def test_two_households_at_once_are_counted_once(cast: Any) -> None:
    other = Household.objects.create(programme=cast.programme, name="Both")
    Tenancy.objects.create(
        programme=cast.programme, plot=cast.plot, household=other, start=dt.date(2026, 4, 1)
    )
    assert live_demand(a_round(cast)).mg == 4 * WEEK_MG


def test_a_plot_without_beds_counts_by_its_size_and_the_planted_share(cast: Any) -> None:
    cast.bed.delete()
    Plot.objects.filter(pk=cast.plot.pk).update(area_mm2=18_000_000, size_text="3 x 6 m")
    assert round_to_g(live_demand(a_round(cast)).mg) == round_to_g(4 * 49_436)  # 18 m2 x 60 % x 4.577 g


def test_none_and_nothing_get_nothing_and_say_why(cast: Any) -> None:
    Plot.objects.filter(pk=cast.plot.pk).update(feeding="none", feeding_reason="compost only")
    need = live_demand(a_round(cast))
    assert (need.mg, need.plots[0].note) == (0, "compost only")


def test_a_tenancy_that_ends_inside_the_round_loses_the_later_weeks(cast: Any) -> None:
    held_until(cast.plot, dt.date(2026, 6, 15))
    assert live_demand(a_round(cast)).mg == 2 * WEEK_MG


def test_a_skipped_feed_is_not_due_and_makes_no_other_larger(cast: Any, monkeypatch: Any) -> None:
    round = a_round(cast)
    monkeypatch.setattr("django.utils.timezone.now", lambda: dt.datetime(2026, 6, 3, tzinfo=dt.UTC))
    log = log_feed(plot=cast.plot, by=cast.holder, kind="skipped", day=FIRST, bed=cast.bed)
    assert live_demand(round).mg == 3 * WEEK_MG
    undo_log(log=log, by=cast.holder)
    assert live_demand(round).mg == 4 * WEEK_MG


def test_any_day_of_the_week_names_its_feed(cast: Any, monkeypatch: Any) -> None:
    round = a_round(cast)
    monkeypatch.setattr("django.utils.timezone.now", lambda: dt.datetime(2026, 6, 5, tzinfo=dt.UTC))
    log_feed(plot=cast.plot, by=cast.holder, kind="skipped", day=dt.date(2026, 6, 4), bed=cast.bed)
    assert live_demand(round).mg == 3 * WEEK_MG
    log_feed(plot=cast.plot, by=cast.holder, kind="fed", day=dt.date(2026, 6, 5), bed=cast.bed)
    assert live_demand(round).mg == 4 * WEEK_MG


def test_a_planting_half_a_bed_large_counts_half(cast: Any) -> None:
    planted(cast.bed, "tomato", dt.date(2026, 5, 11), share=50, ends_on=dt.date(2026, 9, 28))
    need = live_demand(a_round(cast))
    assert round_to_g(2 * need.mg) == round_to_g(10_886 + 3 * 21_773)


def test_an_own_rate_replaces_the_default_and_a_lifted_cap_lets_more_through(cast: Any) -> None:
    tomato = planted(cast.bed, "tomato", dt.date(2026, 5, 11))
    set_own_rate(
        planting=tomato, by=cast.organiser, written="30 g/m2", of="blend", per="area", ug_m2=30_000_000,
        first_day=FIRST, feeds=1, every_weeks=1, reason="a trial",
    )  # fmt: skip
    round = a_round(cast)
    capped = live_demand(round).mg
    assert capped == 54_431  # 2.44 g N/m2, the most in one feed, is 18.3 g/m2 of R
    lift_cap(by=cast.organiser, cap="feed_n", reason="the adviser said so", planting=tomato)
    assert live_demand(round).mg == 74_322  # now the 25 g/m2 of blend bind


def test_a_pot_gets_nothing_but_by_a_rate_per_litre(cast: Any) -> None:
    type(cast.bed).objects.filter(pk=cast.bed.pk).update(shape="pot", area_mm2=364_829)
    tomato = planted(cast.bed, "tomato", dt.date(2026, 5, 11))
    round = a_round(cast)
    assert live_demand(round).mg == 0
    set_own_rate(
        planting=tomato, by=cast.organiser, written="½ g", of="blend", per="litre", first_day=FIRST, feeds=1,
        ug_m2=Fraction(5_000_000 * 10**6, 364_829), every_weeks=1, reason="ten litres of mix",
    )  # fmt: skip
    assert live_demand(round).mg == 5_000


def test_a_cap_lifted_for_a_garden_lifts_it_for_default_plantings_too(cast: Any) -> None:
    round = a_round(cast)
    before = land_of_round(round).surfaces[0].request.plantings[0].lift
    lift_cap(by=cast.organiser, cap="soil_n", reason="soil test", garden=cast.garden)
    after = land_of_round(round).surfaces[0].request.plantings[0].lift
    assert before is None and after is not None and after.cap == "soil_n"


def test_the_dose_follows_the_tub(cast: Any) -> None:
    """A pail with 3 kg too much compound was accepted as it was: a tub from it keeps that analysis."""
    played = play_day(cast)
    (other,) = more_plots(cast, 1)
    pail = played.pails[0]
    compound = pail.targets.get(position=1)
    lot = played.lots[0]
    mg = 3 * compound.target_mg // 5
    ticket = move(cast.programme, cast.steward, "weigh_out", lot.places.get(), pail.place, mg)
    WeighOut.objects.create(
        programme=cast.programme, ticket=ticket, pail=pail, component=compound.component, lot=lot,
        scale=compound.scale, target_mg=mg, gross_mg=mg,
    )  # fmt: skip
    PailDecision.objects.create(
        programme=cast.programme, pail=pail, verdict="released", accepted=True, reason="as it is",
        by=cast.organiser, at=NOW,
    )  # fmt: skip
    tub = Place.objects.create(
        programme=cast.programme, kind="tub", plot=cast.plot, household=cast.household, batch=played.batch
    )
    handed = move(cast.programme, cast.steward, "hand_out", pail.place, tub, 200_000)
    Collection.objects.create(
        programme=cast.programme, ticket=handed, portion=played.portions["17"], pail=pail,
        collected_by=cast.holder, reading_mg=200_000,
    )  # fmt: skip
    played.round.refresh_from_db()
    items = items_of_round(played.round)
    by_design, from_tub = items.of(cast.garden.pk, other.pk), items.of(cast.garden.pk, cast.plot.pk)
    assert round_to_g(int(by_design.blend.soluble_n_percent * 1_000_000)) == 13_333
    assert round_to_g(int(from_tub.blend.soluble_n_percent * 1_000_000)) == 14_222  # (5 + 3) x 16 % in 9 kg


def test_a_large_round_is_frozen_in_the_background(cast: Any, as_: Any, monkeypatch: Any) -> None:
    monkeypatch.setattr("schedules.views.rounds.LARGE", 0)
    round = a_round(cast)
    as_(cast.organiser).post(f"/p/{cast.programme.pk}/rounds/{round.pk}/freeze/")
    job = Job.objects.get(kind="freeze")
    assert Round.objects.get(pk=round.pk).state == "open" and jobs.run(job.pk)
    assert round.snapshots.get().by == cast.organiser


def test_live_demand_takes_as_many_queries_for_many_plots(cast: Any, django_assert_num_queries: Any) -> None:
    round = a_round(cast)
    with django_assert_num_queries(7):
        live_demand(round)
    more_plots(cast, 25)
    round = Round.objects.select_related("programme", "revision__blend").get(pk=round.pk)
    with django_assert_num_queries(7):
        live_demand(round)


# Opening ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "slow", "code"),
    [
        ({"P2O5": "20"}, Slow.NO, "no_soluble_nitrogen"),
        ({"N": "10"}, Slow.UNKNOWN, "no_soluble_nitrogen"),
        ({"N": "10", "N slow": "4"}, Slow.YES, "slow_release"),
    ],
)
def test_a_blend_that_cannot_be_fed_weekly_is_refused_in_words(
    cast: Any, values: dict[str, str], slow: Slow, code: str
) -> None:
    with pytest.raises(Refused) as refusal:
        a_round(cast, revision=another_revision(cast, values, slow))
    assert refusal.value.code in (code, "slow_release") and refusal.value.field == "revision"
    assert "weekly" in refusal.value.message or "nitrogen" in refusal.value.message
    assert not Round.objects.exists()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"gardens": []}, "gardens"),
        ({"weeks": 0}, "weeks"),
        ({"weeks": 13}, "weeks"),
        ({"weeks": -4}, "weeks"),
    ],
)
def test_a_round_of_nothing_is_refused(cast: Any, changes: dict[str, Any], field: str) -> None:
    with pytest.raises(Refused) as refusal:
        a_round(cast, **changes)
    assert refusal.value.field == field and not Round.objects.exists()


def test_a_garden_is_in_one_round_at_a_time(cast: Any) -> None:
    first = a_round(cast)
    with pytest.raises(InTheWay, match="round 1 already, 1 June to 28 June"):
        a_round(cast, first_day=dt.date(2026, 6, 22), revision=first.revision)
    assert a_round(cast, first_day=dt.date(2026, 6, 29), revision=first.revision).number == 2


def test_a_closed_or_taken_mixing_day_is_refused(cast: Any) -> None:
    day = MixingDay.objects.create(programme=cast.programme, garden=cast.garden, day=FIRST, state="closed")
    first = a_round(cast)
    with pytest.raises(InTheWay, match="closed"):
        change_round(round=first, by=cast.organiser, mixing_day=day)
    MixingDay.objects.update(state="open")
    day.refresh_from_db()
    change_round(round=first, by=cast.organiser, mixing_day=day)
    with pytest.raises(InTheWay, match="Another round"):
        a_round(cast, revision=first.revision, first_day=dt.date(2026, 6, 29), mixing_day=day)


def test_an_open_round_changes_and_a_frozen_one_says_why_not(cast: Any) -> None:
    round = a_round(cast)
    assert change_round(round=round, by=cast.organiser, weeks=3).last_day == dt.date(2026, 6, 21)
    freeze_round(round=round, by=cast.organiser, now=NOW)
    with pytest.raises(InTheWay, match="Round 1 is frozen"):
        change_round(round=round, by=cast.organiser, weeks=4)
    round.refresh_from_db()
    assert round.weeks == 3


# Freeze -----------------------------------------------------------------------------------------------------


def test_a_freeze_keeps_lines_and_makes_portions_to_the_desk_scales_division(cast: Any) -> None:
    round = frozen(cast)
    line, portion = round.snapshots.get().lines.get(), round.portions.get()
    assert (line.bed, line.planting, line.assumed, line.mass_mg) == (cast.bed, None, True, 4 * WEEK_MG)
    assert [w["day"] for w in line.weeks] == ["2026-06-01", "2026-06-08", "2026-06-15", "2026-06-22"]
    assert {"unit", "feeds", "interval", "cap_blend", "room_n", "room_boron"} <= set(line.numbers)
    assert line.line and line.working
    assert (portion.household, portion.demand_mg, portion.due_mg) == (cast.household, 54_432, 55_000)


def test_the_frozen_need_is_the_live_need_to_the_milligram(cast: Any) -> None:
    more_plots(cast, 5)
    planted(cast.bed, "tomato", dt.date(2026, 5, 11))
    round = a_round(cast)
    before = live_demand(round).mg
    snapshot = freeze_round(round=round, by=cast.organiser, now=NOW)
    assert sum(snapshot.lines.values_list("mass_mg", flat=True)) == before
    assert sum(round.portions.values_list("demand_mg", flat=True)) == before


def test_a_plot_that_changes_hands_in_the_round_has_a_portion_for_each_household(cast: Any) -> None:
    held_until(cast.plot, dt.date(2026, 6, 15))
    comes = Household.objects.create(programme=cast.programme, name="Next")
    Tenancy.objects.create(
        programme=cast.programme, plot=cast.plot, household=comes, start=dt.date(2026, 6, 15)
    )
    round = frozen(cast)
    due = {p.household_id: p.demand_mg for p in round.portions.all()}
    assert due == {cast.household.pk: 2 * WEEK_MG, comes.pk: 2 * WEEK_MG}


def test_it_is_frozen_again_until_the_first_weigh_out_and_the_last_snapshot_counts(cast: Any) -> None:
    round = frozen(cast)
    make_plot(cast.garden, "18", make_person(cast.programme, "Ines"))
    again = freeze_round(round=round, by=cast.organiser, now=NOW)
    assert again.number == 2 and again.lines.count() == 2
    assert FrozenLine.objects.count() == 3 and round.portions.count() == 2


def test_nothing_due_is_not_frozen(cast: Any) -> None:
    Tenancy.objects.filter(plot=cast.plot).delete()
    round = a_round(cast)
    with pytest.raises(Refused, match="Nothing is due"):
        freeze_round(round=round, by=cast.organiser, now=NOW)
    round.refresh_from_db()
    assert round.state == "open" and not Portion.objects.exists()


def test_a_later_edit_shows_as_a_difference_and_changes_nothing(cast: Any) -> None:
    round = frozen(cast)
    Plot.objects.filter(pk=cast.plot.pk).update(feeding="nothing")
    round = Round.objects.select_related("programme", "revision__blend").get(pk=round.pk)
    page = round_page(round)
    assert page.demand.mg == 4 * WEEK_MG and page.live.mg == 0
    assert [(c.plot.label, c.by_mg) for c in page.changes] == [("17", -4 * WEEK_MG)]
    assert round.portions.get().due_mg == 55_000


def test_a_later_edit_never_raises_a_frozen_unit(cast: Any) -> None:
    """Fewer feeds would make each larger; what the first freeze fixed holds it down, in this round and the
    next.
    """
    tomato = planted(cast.bed, "tomato", dt.date(2026, 5, 11), ends_on=dt.date(2026, 9, 28))
    round = frozen(cast)
    was = [w["n_ug"] for w in round.snapshots.get().lines.get().weeks]
    type(tomato).objects.filter(pk=tomato.pk).update(ends_on=dt.date(2026, 8, 3))
    land = land_of_round(round)
    feeds = land.surfaces[0].plan.plantings[0].on(round.first_day, round.last_day)
    assert [f.ug_n for f in feeds] == was
    free = land_of_round(round, anew=True).surfaces[0].plan.plantings[0]
    assert max(f.ug_n for f in free.on(round.first_day, round.last_day)) > max(was)


def test_a_later_edit_may_lower_it(cast: Any) -> None:
    tomato = planted(cast.bed, "tomato", dt.date(2026, 5, 11), ends_on=dt.date(2026, 9, 28))
    round = frozen(cast)
    type(tomato).objects.filter(pk=tomato.pk).update(crop_code="carrot")
    feeds = land_of_round(round).surfaces[0].plan.plantings[0].on(round.first_day, round.last_day)
    was = {w["day"]: w["n_ug"] for w in round.snapshots.get().lines.get().weeks}
    assert all(f.ug_n <= max(was.values()) for f in feeds)


def test_a_crop_registered_later_takes_over_at_the_next_feed(cast: Any) -> None:
    """The default planting keeps 1 and 8 June, which were frozen; the tomato comes in with its first feed
    after.
    """
    round = frozen(cast)
    planted(
        cast.bed, "tomato", dt.date(2026, 5, 11), dt.datetime(2026, 6, 9, 12, tzinfo=dt.UTC),
        ends_on=dt.date(2026, 9, 28),
    )  # fmt: skip
    default, tomato = land_of_round(round).surfaces[0].plan.plantings
    assert [f.day for f in default.on(FIRST, round.last_day)] == [FIRST, dt.date(2026, 6, 8)]
    assert tomato.feeds[0].day == dt.date(2026, 6, 15)


def given_by_default(round: Round) -> list[tuple[dt.date, int]]:
    return [(entry.day, entry.ug_n) for entry in land_of_round(round).surfaces[0].request.given]


def test_printed_feeds_up_to_the_crops_first_count_as_given(cast: Any) -> None:
    """Transplanted on 8 June, the tomato is fed from the 22nd; the 15th is printed and in the tub."""
    round = frozen(cast)
    (line,) = round.snapshots.get().lines.all()
    planted(cast.bed, "tomato", dt.date(2026, 6, 8), dt.datetime(2026, 6, 9, 12, tzinfo=dt.UTC))
    default, tomato = land_of_round(round).surfaces[0].plan.plantings
    assert (default.feeds[-1].day, tomato.feeds[0].day) == (dt.date(2026, 6, 8), dt.date(2026, 6, 22))
    assert given_by_default(round) == [(dt.date(2026, 6, 15), line.weeks[2]["n_ug"])]


def test_of_a_crop_that_is_never_fed_all_printed_feeds_count_as_given(cast: Any) -> None:
    round = frozen(cast)
    planted(cast.bed, "snap-bean", dt.date(2026, 6, 8), dt.datetime(2026, 6, 9, 12, tzinfo=dt.UTC))
    assert [day for day, _ in given_by_default(round)] == [dt.date(2026, 6, 15), dt.date(2026, 6, 22)]


def test_a_crop_registered_after_the_freeze_and_before_the_round_finds_the_printed_feeds_given(
    cast: Any,
) -> None:
    round = frozen(cast)
    planted(cast.bed, "tomato", dt.date(2026, 5, 28), dt.datetime(2026, 5, 29, 12, tzinfo=dt.UTC))
    (tomato,) = land_of_round(round).surfaces[0].plan.plantings
    assert tomato.feeds[0].day == dt.date(2026, 6, 11)
    assert [day for day, _ in given_by_default(round)] == [FIRST, dt.date(2026, 6, 8)]


def test_frozen_anew_nothing_is_given_by_it(cast: Any) -> None:
    round = frozen(cast)
    planted(cast.bed, "tomato", dt.date(2026, 6, 8), dt.datetime(2026, 6, 9, 12, tzinfo=dt.UTC))
    assert land_of_round(round, anew=True).surfaces[0].request.given == ()


def test_a_crop_registered_before_anything_was_frozen_has_all_its_feeds(cast: Any) -> None:
    planted(cast.bed, "tomato", dt.date(2026, 5, 11), dt.datetime(2026, 6, 9, tzinfo=dt.UTC))
    plans = land_of_round(a_round(cast)).surfaces[0].plan.plantings
    assert len(plans) == 1 and plans[0].feeds[0].day == dt.date(2026, 5, 25)


def test_it_freezes_by_itself_at_its_time(cast: Any) -> None:
    round = a_round(cast, freeze_at=NOW)
    job = Job.objects.get(kind="freeze")
    assert jobs.run(job.pk) and Round.objects.get(pk=round.pk).state == "frozen"
    job.refresh_from_db()
    assert job.state == "done" and job.message == "Round 1 is frozen at 0.054 kg."
    assert round.snapshots.get().by is None


def test_its_time_is_taken_back(cast: Any) -> None:
    round = a_round(cast, freeze_at=dt.datetime(2027, 1, 1, tzinfo=dt.UTC))
    changed = change_round(round=round, by=cast.organiser, freeze_by_hand=True)
    assert changed.freeze_at is None and not Job.objects.filter(kind="freeze").exists()


def test_a_freeze_that_cannot_be_tells_the_organiser(cast: Any) -> None:
    Tenancy.objects.filter(plot=cast.plot).delete()
    round = a_round(cast, freeze_at=NOW)
    job = Job.objects.get(kind="freeze")
    assert not jobs.run(job.pk)
    job.refresh_from_db()
    assert job.state == "failed" and "Nothing is due" in job.message
    assert Round.objects.get(pk=round.pk).state == "open"


def test_frozen_by_hand_there_is_nothing_left_to_do_at_its_time(cast: Any) -> None:
    round = a_round(cast, freeze_at=dt.datetime(2027, 1, 1, tzinfo=dt.UTC))
    freeze_round(round=round, by=cast.organiser, now=NOW)
    assert not Job.objects.filter(kind="freeze").exists()


# Another blend ----------------------------------------------------------------------------------------------


def test_a_weaker_bag_keeps_the_nitrogen_where_no_cap_binds(cast: Any) -> None:
    round = frozen(cast)
    was = [w["n_ug"] for w in round.snapshots.get().lines.get().weeks]
    weaker = another_revision(cast, {"N": "10"})
    exchange_revision(round=round, by=cast.organiser, revision=weaker)
    line = round.snapshots.order_by("-number")[0].lines.get()
    assert [w["n_ug"] for w in line.weeks] == was
    assert line.mass_mg == 4 * 18_144 and round.portions.get().revision == weaker


def test_with_another_bag_nitrogen_may_fall_and_never_rises(cast: Any) -> None:
    """At 3 % nitrogen the 25 g of blend to the square metre bind: 0.75 g N instead of 0.98."""
    planted(cast.bed, "tomato", dt.date(2026, 5, 11), ends_on=dt.date(2026, 9, 28))
    round = frozen(cast)
    rich = round.revision
    poor = another_revision(cast, {"N": "3"}, name="Poor")
    exchange_revision(round=round, by=cast.organiser, revision=poor)
    fell = [w["n_ug"] for w in round.snapshots.get(number=2).lines.get().weeks]
    assert max(fell) == 2_229_673  # 0.75 g x 2.972897 m2
    exchange_revision(round=round, by=cast.organiser, revision=rich)
    back = [w["n_ug"] for w in round.snapshots.get(number=3).lines.get().weeks]
    assert back == fell


def test_a_slow_blend_is_no_exchange(cast: Any) -> None:
    round = frozen(cast)
    with pytest.raises(Refused):
        exchange_revision(
            round=round, by=cast.organiser, revision=another_revision(cast, {"N": "10"}, Slow.YES)
        )
    assert round.snapshots.count() == 1


# Mix and close ----------------------------------------------------------------------------------------------


@pytest.fixture
def ready(cast: Any) -> Round:
    """A frozen round with a mixing day, a scale and bags in the shed."""
    revision = make_revision(cast.programme, cast.organiser)
    receive_lots(revision, cast.garden, cast.organiser)
    Scale.objects.create(programme=cast.programme, name="Bench", division_mg=100, min_mg=0, max_mg=40_000_000)
    day = MixingDay.objects.create(programme=cast.programme, garden=cast.garden, day=dt.date(2026, 5, 30))
    more_plots(cast, 39)
    return frozen(cast, revision=revision, mixing_day=day)


def test_the_batch_is_portions_and_reserve(cast: Any, ready: Round) -> None:
    """Forty portions of 55 g are 2.200 kg, and 5 % for walk-ins."""
    size = sizing(ready)
    assert (size.need_mg, size.portions_mg, size.reserve_mg) == (40 * 54_432, 2_200_000, 110_000)
    batch = mix_round(round=ready, by=cast.organiser)
    assert batch.mass_mg == 2_310_000 and batch.pails.count() == 1
    assert Round.objects.get(pk=ready.pk).batch == batch


def test_an_open_round_is_not_mixed(cast: Any) -> None:
    with pytest.raises(InTheWay, match="freeze its need first"):
        mix_round(round=a_round(cast), by=cast.organiser)


def test_a_round_is_mixed_once(cast: Any, ready: Round) -> None:
    mix_round(round=ready, by=cast.organiser)
    with pytest.raises(InTheWay, match="batch 1 already"):
        mix_round(round=ready, by=cast.organiser)
    assert Batch.objects.count() == 1


def test_freezing_again_takes_back_a_batch_of_which_nothing_is_weighed(cast: Any, ready: Round) -> None:
    mix_round(round=ready, by=cast.organiser)
    assert freeze_round(round=ready, by=cast.organiser, now=NOW).number == 2
    assert not Batch.objects.exists() and Round.objects.get(pk=ready.pk).batch is None
    assert mix_round(round=ready, by=cast.organiser).number == 1


def test_once_something_is_weighed_what_is_frozen_stands(cast: Any, ready: Round) -> None:
    from blends.models import Lot

    batch = mix_round(round=ready, by=cast.organiser)
    pail = batch.pails.get()
    target = pail.targets.select_related("component", "scale")[0]
    lot = Lot.objects.get(material=target.component.material)
    ticket = move(cast.programme, cast.steward, "weigh_out", lot.places.get(), pail.place, 1_000)
    WeighOut.objects.create(
        programme=cast.programme, ticket=ticket, pail=pail, component=target.component, lot=lot,
        scale=target.scale, target_mg=1_000, gross_mg=1_000,
    )  # fmt: skip
    with pytest.raises(InTheWay, match="is being weighed"):
        freeze_round(round=ready, by=cast.organiser, now=NOW)
    with pytest.raises(InTheWay, match="is being weighed"):
        exchange_revision(round=ready, by=cast.organiser, revision=another_revision(cast, {"N": "10"}))
    assert ready.snapshots.count() == 1 and Batch.objects.get() == batch


def test_released_unopened_pails_of_the_same_revision_are_mixed_less(cast: Any) -> None:
    """6 kg stand in two released pails; an earlier round still owes 200 g of them."""
    played = play_day(cast)
    Round.objects.filter(pk=played.round.pk).update(first_day=dt.date(2026, 5, 4))
    round = a_round(cast, revision=played.revision)
    size = sizing(round)
    assert size.released_mg == 12_000_000 - 200_000 and size.batch_mg == 0


def test_a_closed_round_stays_closed(cast: Any, ready: Round) -> None:
    close_round(round=ready, by=cast.organiser)
    with pytest.raises(InTheWay):
        close_round(round=ready, by=cast.organiser)
    with pytest.raises(InTheWay, match="closed"):
        freeze_round(round=ready, by=cast.organiser, now=NOW)


def test_another_programmes_garden_is_refused_by_the_wall(cast: Any) -> None:
    from django.db import IntegrityError, transaction

    revision = make_revision(cast.programme, cast.organiser)
    with pytest.raises(IntegrityError), transaction.atomic():
        open_round(
            programme=cast.programme, by=cast.organiser, gardens=[cast.other_garden], first_day=FIRST,
            weeks=4, revision=revision,
        )  # fmt: skip


def test_of_a_household_of_several_the_portion_is_one(cast: Any) -> None:
    Member.objects.create(
        programme=cast.programme, household=cast.household, person=make_person(cast.programme, "Ida")
    )
    assert frozen(cast).portions.count() == 1


def test_demand_of_a_span_needs_no_round(cast: Any) -> None:
    land = land_of_round(a_round(cast))
    assert demand_of(land, FIRST, dt.date(2026, 6, 7)).mg == WEEK_MG
