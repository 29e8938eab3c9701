"""The pages of rounds, plots' weeks and slips: what they show, to whom, in how many queries."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.urls import reverse

from blends.models import MixingDay, Place
from gardens.models import Bed, Household, Member, Plot, Tenancy
from schedules.actions.rates import lift_cap
from schedules.actions.rounds import freeze_round
from schedules.models import CapLift, FeedLog, OwnRate, Round
from tests.cast import make_person
from tests.house.routes_rounds import ROUTES
from tests.play import make_revision, play_day
from tests.schedules.scenes import NOW, a_round, more_plots, planted

TODAY = dt.datetime(2026, 6, 3, 9, 0, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def june(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is Wednesday 3 June 2026."""
    from django.utils import timezone

    monkeypatch.setattr(timezone, "now", lambda: TODAY)


@pytest.fixture
def round(cast: Any) -> Round:
    return a_round(cast)


def page(client: Any, name: str, status: int = 200, query: str = "", **kwargs: Any) -> str:
    response = client.get(reverse(name, kwargs=kwargs) + query)
    assert response.status_code == status, response.status_code
    return str(response.content.decode()).replace("\u00a0", " ").replace("\u202f", " ")


@pytest.mark.parametrize("route", [r for r in ROUTES if "get" in r.methods], ids=lambda r: r.name)
def test_every_page_opens_for_the_organiser(cast: Any, as_: Any, route: Any) -> None:
    kwargs = route.kwargs(cast)
    response = as_(cast.organiser).get(reverse(route.name, kwargs=kwargs))
    assert response.status_code in (200, 302)


def test_the_round_page_says_what_to_mix_and_freezes(cast: Any, as_: Any, round: Round) -> None:
    at = {"programme": cast.programme.pk, "round": round.pk}
    text = page(as_(cast.organiser), "round", **at)
    assert "Mix 58 g" in text and "Freeze at 54 g" in text and "Lock Lane" in text
    as_(cast.organiser).post(reverse("freeze", kwargs=at))
    round.refresh_from_db()
    assert round.state == "frozen" and round.portions.get().due_mg == 55_000
    assert "Choose the mixing day" in page(as_(cast.organiser), "round", **at)


def of(cast: Any, **more: Any) -> dict[str, Any]:
    return {"programme": cast.programme.pk, **more}


# Front door -------------------------------------------------------------------------------------------------


def test_nobody_is_asked_to_sign_in(as_: Any, db: None) -> None:
    assert as_(None).get("/").url == reverse("login")


def test_one_programme_opens_at_once(cast: Any, as_: Any) -> None:
    assert as_(cast.organiser).get("/").url == reverse("programme", kwargs=of(cast))


def test_a_user_of_two_programmes_chooses(cast: Any, as_: Any) -> None:
    from gardens.models import Person, Role

    person = Person.objects.create(programme=cast.other, user=cast.organiser.user, name="Orla")
    Role.objects.create(programme=cast.other, person=person, name="auditor")
    text = page(as_(cast.organiser), "home")
    assert "Elsewhere" in text and "Ostermere Shared Gardens" in text


def test_a_holder_goes_straight_to_the_plot(cast: Any, as_: Any) -> None:
    response = as_(cast.holder).get(reverse("programme", kwargs=of(cast)))
    assert response.url == reverse("plot", kwargs=of(cast, plot=cast.plot.pk))


def test_a_holder_without_a_plot_is_told_what_to_do(cast: Any, as_: Any) -> None:
    Tenancy.objects.filter(plot=cast.plot).delete()
    assert "No plot is in your name yet" in page(as_(cast.holder), "programme", **of(cast))


def test_an_empty_programme_shows_the_next_step(cast: Any, as_: Any) -> None:
    Tenancy.objects.filter(programme=cast.programme).delete()
    Bed.objects.filter(programme=cast.programme).delete()
    Plot.objects.filter(programme=cast.programme).delete()
    text = page(as_(cast.organiser), "programme", **of(cast))
    assert "Nothing is here yet. Begin with a garden and its plots." in text
    assert "Bring in plots from a sheet" in text and "Type one garden by hand" in text


def test_before_a_blend_a_week_is_reckoned_with_a_typical_one_and_marked(cast: Any, as_: Any) -> None:
    text = page(as_(cast.organiser), "programme", **of(cast))
    assert "A week needs 14 g of blend, all of it assumed." in text
    assert "13.3 % nitrogen until you have your own" in text and "Write the blend" in text


def test_with_a_blend_the_next_step_is_a_round(cast: Any, as_: Any) -> None:
    make_revision(cast.programme, cast.organiser)
    text = page(as_(cast.organiser), "programme", **of(cast))
    assert "Open a round" in text and "Reckoned with Garden blend, revision 1" in text


def test_then_the_freeze_then_the_day(cast: Any, as_: Any, round: Round) -> None:
    assert "Look at round 1 and freeze it" in page(as_(cast.organiser), "programme", **of(cast))
    freeze_round(round=round, by=cast.organiser, now=NOW)
    text = page(as_(cast.organiser), "programme", **of(cast))
    assert "Choose the mixing day" in text and "0 of 1 served" in text


def test_from_weighing_to_the_desk_to_the_next_round(cast: Any, as_: Any) -> None:
    """One played day, step by step: the one act of the front page follows it."""
    played = play_day(cast)
    at = of(cast)
    assert "Go to the desk" in page(as_(cast.steward), "programme", **at)
    Place.objects.filter(pail=played.pails[0]).update(gate="held")
    text = page(as_(cast.steward), "programme", **at)
    assert "1 of 2 pails released" in text and "Go to the mixing day" in text
    Place.objects.filter(pail=played.pails[0]).update(gate="released")
    MixingDay.objects.update(state="closed", closed_at=TODAY, closed_by=cast.organiser)
    assert "Close round 1" in page(as_(cast.organiser), "programme", **at)
    Round.objects.update(state="closed")
    assert "Open a round" in page(as_(cast.organiser), "programme", **at)


def test_the_tub_of_the_page_is_the_one_for_the_feeds_day(cast: Any, as_: Any, monkeypatch: Any) -> None:
    """On Wednesday the round of four weeks ended yesterday; this week's feed, on Saturday, is from the next."""
    planted(cast.bed, "tomato", dt.date(2026, 5, 9))  # fed on Saturdays, from 23 May on
    first = a_round(cast, first_day=dt.date(2026, 5, 6))
    second = a_round(cast, first_day=dt.date(2026, 6, 4), weeks=2, revision=first.revision)
    for row in (first, second):
        freeze_round(round=row, by=cast.organiser, now=NOW)
    text = page(as_(cast.holder), "plot", **of(cast, plot=cast.plot.pk))
    assert "4 to 17 June" in text


def test_a_lifted_cap_and_its_reason_stand_beside_the_dose(cast: Any, as_: Any, round: Round) -> None:
    tomato = planted(cast.bed, "tomato", dt.date(2026, 5, 11))
    lift_cap(by=cast.organiser, cap="soil_n", reason="soil test of May", planting=tomato)
    text = page(as_(cast.holder), "plot", **of(cast, plot=cast.plot.pk))
    assert "the most nitrogen on the soil is lifted: soil test of May" in text


def test_a_failed_freeze_stands_on_the_organisers_front_page(cast: Any, as_: Any) -> None:
    from gardens.models import Job

    Job.objects.create(
        programme=cast.programme, kind="freeze", key="1", state="failed", due_at=TODAY, finished_at=TODAY,
        message="Nothing is due in these gardens.",
    )  # fmt: skip
    assert "Nothing is due in these gardens." in page(as_(cast.organiser), "programme", **of(cast))
    assert "Nothing is due in these gardens." not in page(as_(cast.steward), "programme", **of(cast))


@pytest.mark.parametrize("who", ["steward", "auditor"])
def test_others_see_how_far_it_is_but_are_not_asked_to_organise(
    cast: Any, as_: Any, who: str, round: Round
) -> None:
    text = page(as_(getattr(cast, who)), "programme", **of(cast))
    assert "Open a round" not in text and "freeze it" not in text


# A plot's week ----------------------------------------------------------------------------------------------


def test_the_holder_sees_grams_scoops_why_and_when_to_stop(cast: Any, as_: Any, round: Round) -> None:
    planted(cast.bed, "tomato", dt.date(2026, 5, 11), ends_on=dt.date(2026, 9, 28))
    freeze_round(round=round, by=cast.organiser, now=NOW)
    text = page(as_(cast.holder), "plot", **of(cast, plot=cast.plot.pk))
    assert "This week: 11 g on the tomato." in text
    assert "¾ level scoop" in text and "Last feed 7 September; after it, nothing." in text
    assert "heavy feeder" in text and "Feed 2 of 16" in text and "Next: 8 June, 22 g" in text
    assert "Never a double scoop" in text and "frozen, soaked or bone-dry" in text and "555 0142" in text


def test_what_nobody_registered_is_fed_and_marked(cast: Any, as_: Any, round: Round) -> None:
    freeze_round(round=round, by=cast.organiser, now=NOW)
    text = page(as_(cast.holder), "plot", **of(cast, plot=cast.plot.pk))
    assert "This week: 14 g on bed 1." in text and "Assumed" in text and "No tub yet" not in text


def test_nothing_to_do_is_said_plainly_with_the_reason(cast: Any, as_: Any, round: Round) -> None:
    planted(cast.bed, "beans-bush", dt.date(2026, 5, 11)) if _has("beans-bush") else planted(
        cast.bed, _bean(), dt.date(2026, 5, 11)
    )
    text = page(as_(cast.holder), "plot", **of(cast, plot=cast.plot.pk))
    assert "Nothing this week." in text and "nitrogen from the air" in text


def _has(code: str) -> bool:
    from schedules import crops

    return any(c.code == code for c in crops.catalogue())


def _bean() -> str:
    from schedules import crops

    return next(c.code for c in crops.catalogue() if c.needs.value == "legume")


def test_before_any_blend_the_page_says_to_feed_nothing_yet(cast: Any, as_: Any) -> None:
    assert "Feed nothing before your organiser" in page(
        as_(cast.holder), "plot", **of(cast, plot=cast.plot.pk)
    )


def test_fed_skipped_and_undone(cast: Any, as_: Any, round: Round) -> None:
    client, at = as_(cast.holder), of(cast, plot=cast.plot.pk)
    feed = f"b{cast.bed.pk}@2026-06-01"
    client.post(reverse("feed_log", kwargs=at), {"kind": "skipped", "feed": feed})
    assert "Skipped this week. Nothing is made up for it." in page(client, "plot", **at)
    log = FeedLog.objects.get()
    client.post(reverse("feed_undo", kwargs=of(cast, log=log.pk)))
    text = page(client, "plot", **at)
    assert "This week: 14 g" in text and "undone by Henna" in text
    client.post(reverse("feed_log", kwargs=at), {"kind": "fed", "feed": feed})
    assert "All is said for this week." in page(client, "plot", **at)


def test_an_extra_is_taken_off_the_last_feeds(cast: Any, as_: Any, round: Round) -> None:
    client, at = as_(cast.holder), of(cast, plot=cast.plot.pk)
    extra = {"kind": "extra", "on": f"b{cast.bed.pk}", "mass": "20 g", "day": "2 June 2026"}
    client.post(reverse("feed_log", kwargs=at), extra)
    assert FeedLog.objects.get().mass_mg == 20_000
    text = page(client, "plot", **at)
    assert "Extra, 20 g" in text and "This week: 14 g" in text


@pytest.mark.parametrize("mass", ["", "a handful", "-5 g", "0 g", "99 kg", "20 m2"])
def test_an_extra_that_is_no_mass_keeps_what_was_typed(cast: Any, as_: Any, round: Round, mass: str) -> None:
    response = as_(cast.holder).post(
        reverse("feed_log", kwargs=of(cast, plot=cast.plot.pk)),
        {"kind": "extra", "on": f"b{cast.bed.pk}", "mass": mass, "day": "2 June 2026"},
    )
    assert response.status_code == 200
    assert not mass or f'value="{mass}"' in response.content.decode()
    assert not FeedLog.objects.exists()


@pytest.mark.parametrize(
    "feed", ["b999999@2026-06-01", "x1@2026-06-01", "b@2026-06-01", "l0@2026-06-01", "p1"]
)
def test_a_feed_of_another_plot_is_not_found(cast: Any, as_: Any, feed: str) -> None:
    response = as_(cast.holder).post(
        reverse("feed_log", kwargs=of(cast, plot=cast.plot.pk)), {"kind": "fed", "feed": feed}
    )
    assert response.status_code == 404 and not FeedLog.objects.exists()


def test_the_other_plots_holder_and_the_stranger_see_nothing(cast: Any, as_: Any) -> None:
    (other,) = more_plots(cast, 1)
    for person in (cast.holder, cast.stranger):
        page(as_(person), "plot", 404, **of(cast, plot=other.pk))
    page(as_(cast.stranger), "plot", 404, programme=cast.other.pk, plot=cast.plot.pk)


def test_a_week_gone_by_or_to_come(cast: Any, as_: Any, round: Round) -> None:
    at = of(cast, plot=cast.plot.pk)
    text = page(as_(cast.holder), "plot", query="?day=2026-06-10", **at)
    assert "A week to come." in text and "I have fed" not in text
    assert "This week" in page(as_(cast.holder), "plot", query="?day=nonsense", **at)


def test_everybodys_week_for_the_organiser(cast: Any, as_: Any, round: Round) -> None:
    more_plots(cast, 2)
    text = page(as_(cast.steward), "week", **of(cast))
    assert "41 g go on 3 plots this week." in text and "Henna" in text
    page(as_(cast.holder), "week", 403, **of(cast))


# Rounds -----------------------------------------------------------------------------------------------------


def test_a_round_is_opened_by_its_form(cast: Any, as_: Any) -> None:
    revision = make_revision(cast.programme, cast.organiser)
    typed = {
        "gardens": [str(cast.garden.pk)], "first_day": "8 June 2026", "weeks": "3", "reserve": "5",
        "revision": str(revision.pk), "mixing_day": "", "freeze_day": "",
    }  # fmt: skip
    as_(cast.organiser).post(reverse("round_add", kwargs=of(cast)), typed)
    made = Round.objects.get()
    assert (made.first_day, made.weeks, made.revision) == (dt.date(2026, 6, 8), 3, revision)


@pytest.mark.parametrize(
    ("field", "text", "said"),
    [
        ("first_day", "32 June", "day"),
        ("first_day", "", "Nothing is written"),
        ("weeks", "0", "greater than or equal to 1"),
        ("weeks", "NaN", "whole number"),
        ("weeks", "9999999999999", "less than or equal to 12"),
        ("revision", "999999", "not one of the available choices"),
        ("gardens", "999999", "not one of the available choices"),
        ("freeze_day", "1 July 2026", "frozen before its first day"),
        ("freeze_day", "1 May 2026", "That day is past"),
    ],
)
def test_a_bad_round_keeps_what_was_typed(cast: Any, as_: Any, field: str, text: str, said: str) -> None:
    revision = make_revision(cast.programme, cast.organiser)
    typed = {
        "gardens": [str(cast.garden.pk)], "first_day": "8 June 2026", "weeks": "3", "reserve": "5",
        "revision": str(revision.pk), "mixing_day": "", "freeze_day": "", field: text,
    }  # fmt: skip
    response = as_(cast.organiser).post(reverse("round_add", kwargs=of(cast)), typed)
    shown = response.content.decode()
    assert response.status_code == 200 and said in shown and not Round.objects.exists()
    assert field in ("revision", "gardens") or not text or f'value="{text}"' in shown


def test_without_a_blend_the_page_says_what_comes_first(cast: Any, as_: Any) -> None:
    assert "A round needs a blend" in page(as_(cast.organiser), "round_add", **of(cast))


def test_a_frozen_round_refuses_in_a_clear_sentence(cast: Any, as_: Any, round: Round) -> None:
    freeze_round(round=round, by=cast.organiser, now=NOW)
    typed = {
        "gardens": [str(cast.garden.pk)], "first_day": "1 June 2026", "weeks": "2", "reserve": "5",
        "revision": str(round.revision_id), "mixing_day": "", "freeze_day": "",
    }  # fmt: skip
    response = as_(cast.organiser).post(reverse("round_change", kwargs=of(cast, round=round.pk)), typed)
    assert "Round 1 is frozen: its weeks, gardens and reserve stand." in response.content.decode()
    round.refresh_from_db()
    assert round.weeks == 4


def test_what_to_weigh_and_buy(cast: Any, as_: Any, round: Round) -> None:
    text = page(as_(cast.steward), "round_batch", query="?mass=58000", **of(cast, round=round.pk))
    assert "Compound 16-16-16" in text and "its bag is not known yet" in text and "Witness wanted" in text


def test_changes_since_the_freeze_stand_on_the_page(cast: Any, as_: Any, round: Round) -> None:
    freeze_round(round=round, by=cast.organiser, now=NOW)
    Plot.objects.filter(pk=cast.plot.pk).update(feeding="nothing")
    text = page(as_(cast.organiser), "round", **of(cast, round=round.pk))
    assert "Changed since the freeze" in text and "54.4" in text


def test_a_slip_for_a_plot_that_registered_nothing(cast: Any, as_: Any, round: Round) -> None:
    at = of(cast, round=round.pk)
    assert "Freeze the round first" in page(as_(cast.steward), "slips", **at)
    freeze_round(round=round, by=cast.organiser, now=NOW)
    text = page(as_(cast.steward), "slips", **at)
    assert "1 slip" in text and "17, Lock Lane" in text and "Henna" in text and "Assumed" in text
    assert "1, 8, 15, 22 June" in text and "13.6" in text and "Last feed 17 August" in text
    assert "The scoop holds 14.0 g" in text and "555 0142" in text and "999" in text


def test_the_slips_scoop_is_the_batchs_ten_scoops_divided_by_ten(cast: Any, as_: Any) -> None:
    played = play_day(cast)
    text = page(as_(cast.steward), "slips", **of(cast, round=played.round.pk))
    assert "The scoop holds 14.2 g" in text and "assumed until ten" not in text


# Own rates and lifted caps ----------------------------------------------------------------------------------


def test_an_own_rate_per_row_needs_its_width(cast: Any, as_: Any) -> None:
    tomato = planted(cast.bed, "tomato", dt.date(2026, 5, 11))
    typed = {
        "of": "blend", "per": "row", "rate": "10 g", "first_day": "1 June 2026", "feeds": "4",
        "every_weeks": "1", "reason": "as every year",
    }  # fmt: skip
    url = reverse("own_rate", kwargs=of(cast, planting=tomato.pk))
    response = as_(cast.organiser).post(url, typed)
    assert "needs the width of the row" in response.content.decode() and not OwnRate.objects.exists()
    as_(cast.organiser).post(url, {**typed, "row_width": "50 cm"})
    assert OwnRate.objects.get().ug_m2 == 20_000_000
    as_(cast.organiser).post(url, {"drop": "1"})
    assert not OwnRate.objects.exists()


@pytest.mark.parametrize("rate", ["", "NaN", "-3 g/m2", "15 m", "0 g/m2", "999 kg/m2"])
def test_a_rate_that_is_none_keeps_what_was_typed(cast: Any, as_: Any, rate: str) -> None:
    tomato = planted(cast.bed, "tomato", dt.date(2026, 5, 11))
    response = as_(cast.organiser).post(
        reverse("own_rate", kwargs=of(cast, planting=tomato.pk)),
        {
            "of": "blend",
            "per": "area",
            "rate": rate,
            "first_day": "1 June 2026",
            "feeds": "4",
            "every_weeks": "1",
            "reason": "so",
        },
    )
    assert response.status_code == 200 and not OwnRate.objects.exists()
    assert not rate or f'value="{rate}"' in response.content.decode()


def test_a_cap_is_lifted_with_a_reason_and_holds_again(cast: Any, as_: Any) -> None:
    tomato = planted(cast.bed, "tomato", dt.date(2026, 5, 11))
    url = reverse("cap_lift", kwargs=of(cast, planting=tomato.pk))
    as_(cast.organiser).post(url, {"cap": "soil_n", "reason": ""})
    assert not CapLift.objects.exists()
    as_(cast.organiser).post(url, {"cap": "soil_n", "reason": "soil test of May"})
    lift = CapLift.objects.get()
    assert lift.to_ug_m2 == 22_400_000 and "soil test of May" in page(
        as_(cast.organiser), "cap_lift", **of(cast, planting=tomato.pk)
    )
    as_(cast.organiser).post(url, {"end": "1"})
    lift.refresh_from_db()
    assert lift.ended_at is not None


# Query counts -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["programme", "rounds", "round", "round_batch", "week", "plot", "slips"])
@pytest.mark.parametrize("state", ["open", "frozen", "mixed"])
def test_pages_take_at_most_fifteen_queries_however_many_rows(
    cast: Any, as_: Any, name: str, state: str, django_assert_max_num_queries: Any
) -> None:
    if state == "mixed":
        played = play_day(cast)
        Round.objects.filter(pk=played.round.pk).update(state="open", first_day=dt.date(2026, 6, 1))
        row = Round.objects.get(pk=played.round.pk)
        played.portions["17"].delete()
        Round.objects.filter(pk=row.pk).update(batch=None)
        freeze_round(round=row, by=cast.organiser, now=NOW)
        Round.objects.filter(pk=row.pk).update(batch=played.batch)
    else:
        row = a_round(cast)
        if state == "frozen":
            freeze_round(round=row, by=cast.organiser, now=NOW)
    known = {"round": {"round": row.pk}, "round_batch": {"round": row.pk}, "slips": {"round": row.pk}}
    kwargs = of(cast, **(known.get(name) or ({"plot": cast.plot.pk} if name == "plot" else {})))
    who = cast.holder if name == "plot" else cast.organiser
    client = as_(who)
    query = "?mass=58000" if name == "round_batch" and state == "open" else ""
    with django_assert_max_num_queries(15) as few:
        page(client, name, query=query, **kwargs)
    for plot in more_plots(cast, 15):
        planted(Bed.objects.get(plot=plot), "tomato", dt.date(2026, 5, 11))
    household = Household.objects.create(programme=cast.programme, name="More")
    Member.objects.create(
        programme=cast.programme,
        household=household,
        person=make_person(cast.programme, "Mo", signs_in=False),
    )
    with django_assert_max_num_queries(15) as many:
        page(client, name, query=query, **kwargs)
    assert len(many.captured_queries) == len(few.captured_queries)


def test_a_bed_at_rest_says_why_of_the_feed_that_comes_next(cast: Any, as_: Any, round: Round) -> None:
    planted(cast.bed, "tomato", dt.date(2026, 6, 1), ends_on=dt.date(2026, 9, 28))
    text = page(as_(cast.holder), "plot", programme=cast.programme.pk, plot=cast.plot.pk)
    said = re.search(r"Feeding begins: [^,<]+, ([0-9.]+ g)", text)
    assert said and f"Why {said[1]}</b>" in text
