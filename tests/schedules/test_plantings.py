"""Registering what grows where, and its dates in words."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.urls import reverse

from gardens.actions.tenancies import end_tenancy, pass_on
from gardens.models import Planting, Tenancy
from gardens.refusals import InTheWay, Refused
from schedules.actions.plantings import register_planting
from schedules.queries.planting import dates_of

MAY_11 = dt.date(2026, 5, 11)


def put(cast: Any, crop: str = "tomatoes", **more: Any) -> Planting:
    values = {"bed": cast.bed, "by": cast.holder, "crop_text": crop, "sown": False, "day": MAY_11} | more
    return register_planting(**values)


def remarks(planting: Planting) -> str:
    return " ".join(
        dates_of(
            Planting.objects.select_related("bed__plot__garden", "programme").get(pk=planting.pk)
        ).remarks
    )


def test_a_crop_is_matched_and_named_as_it_was_said(cast: Any) -> None:
    planting = put(cast, "Tomates")
    assert (planting.crop_code, planting.crop_name) == ("tomato", "Tomates") and planting.crop_version


@pytest.mark.parametrize("crop", ["moon gourd", "tomatoes and basil"])
def test_an_unknown_or_double_crop_is_kept_and_medium(cast: Any, crop: str) -> None:
    planting = put(cast, crop)
    assert (planting.crop_code, planting.crop_name) == ("", crop) and "medium feeder" in remarks(planting)


def test_parts_never_exceed_the_bed(cast: Any) -> None:
    put(cast, share=60)
    with pytest.raises(InTheWay, match="60 % is tomatoes until 3 October 2026") as refusal:
        put(cast, "basil", share=50)
    assert refusal.value.field == "share" and Planting.objects.count() == 1
    put(cast, "basil", share=40)


def test_a_later_crop_takes_the_place_of_one_that_is_gone(cast: Any) -> None:
    put(cast, "lettuce", day=dt.date(2026, 4, 1))
    put(cast, "kale", day=dt.date(2026, 7, 1))
    assert Planting.objects.count() == 2


def test_an_earlier_crop_may_not_run_into_a_later_one(cast: Any) -> None:
    put(cast, "kale", day=dt.date(2026, 7, 1))
    with pytest.raises(InTheWay, match="kale"):
        put(cast, "tomatoes")


def test_only_legumes_ask_for_their_feed(cast: Any) -> None:
    with pytest.raises(Refused) as refusal:
        put(cast, feed_on_request=True)
    assert refusal.value.field == "feed_on_request"
    assert put(cast, "beans", feed_on_request=True).feed_on_request


def test_first_and_last_feed_follow_the_planting(cast: Any) -> None:
    dates = dates_of(put(cast, ends_on=dt.date(2026, 9, 28)))
    assert (dates.first_feed, dates.last_feed) == (dt.date(2026, 5, 25), dt.date(2026, 9, 7))


def test_beans_get_nothing_and_the_page_says_why(cast: Any) -> None:
    dates = dates_of(put(cast, "beans"))
    assert dates.first_feed is None and dates.why_none


def test_a_planting_before_the_frost_is_told(cast: Any) -> None:
    assert "before the last frost, 20 April 2026" in remarks(put(cast, day=dt.date(2026, 4, 1)))


def test_a_planting_beyond_the_tenancy_is_kept_and_told(cast: Any) -> None:
    planting = put(cast)
    end_tenancy(tenancy=Tenancy.objects.get(plot=cast.plot), by=cast.organiser, day=dt.date(2026, 8, 1))
    assert "feeds after it are lost unless the plot is passed on" in remarks(planting)
    pass_on(plot=cast.plot, by=cast.organiser, persons=[cast.steward], day=dt.date(2026, 8, 1))
    assert "feeds from then on are the next holder's" in remarks(planting)


def test_a_planting_on_a_plot_that_nobody_holds_is_told(cast: Any) -> None:
    Tenancy.objects.filter(plot=cast.plot).update(until_day=dt.date(2026, 4, 1))
    assert "Nobody holds the plot" in remarks(put(cast))


# Pages

GOOD = {"crop": "tomatoes", "how": "transplanted", "day": "11 May 2026", "share": "100"}


def address(cast: Any, name: str = "planting_add", **kwargs: Any) -> str:
    return reverse(name, kwargs={"programme": cast.programme.pk, **(kwargs or {"bed": cast.bed.pk})})


def test_a_holder_registers_a_crop_and_sees_its_weeks(cast: Any, as_: Any) -> None:
    client = as_(cast.holder)
    answer = client.post(address(cast), GOOD)
    page = client.get(answer.headers["Location"]).content.decode().replace("\u00a0", " ")
    assert "Feed the tomatoes from Mon 25 May" in page and "Solanum" in page


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"crop": ""}, "Nothing is written"),
        ({"how": ""}, "Choose one of the answers"),
        ({"day": "31 June"}, "30 days"),
        ({"day": "3/4/2026"}, "Which did you mean?"),
        ({"ends_on": "1 May 2026"}, "before the planting day"),
        ({"share": "0"}, "greater than"),
        ({"share": "-5"}, "greater than"),
        ({"share": "nan"}, "whole number"),
        ({"feed_on_request": "on"}, "Only peas and beans"),
        ({"day": "11 May 2096"}, "too far away"),
    ],
)
def test_a_wrong_answer_keeps_the_typing(cast: Any, as_: Any, changes: dict[str, str], words: str) -> None:
    page = as_(cast.holder).post(address(cast), {**GOOD, **changes}).content.decode()
    assert words in page and not Planting.objects.exists()
    assert f'value="{ {**GOOD, **changes}["crop"] }"' in page or not changes.get("crop", "x")


def test_the_end_is_changed_on_its_page(cast: Any, as_: Any) -> None:
    planting = put(cast)
    as_(cast.holder).post(address(cast, "planting", planting=planting.pk), {"ends_on": "1 September"})
    planting.refresh_from_db()
    assert planting.ends_on == dt.date(2026, 9, 1)


def test_a_bed_of_another_programme_cannot_be_planted(cast: Any, as_: Any) -> None:
    bed = cast.other_plot.beds.get()
    assert as_(cast.organiser).post(address(cast, bed=bed.pk), GOOD).status_code == 404
    assert not Planting.objects.exists()
