"""Bringing in a sheet: a verdict per cell, all or nothing, nothing guessed, nothing twice."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from gardens.models import Bed, Garden, Household, Member, Person, Planting, Plot, Tenancy
from gardens.refusals import Refused
from schedules.actions.bring_in import Season, bring_in, preview
from schedules.queries.bring_in import Verdict

HEAD = "garden,plot,plot size,holder,contact,bed measures,crop,planted on,sown or transplanted\n"
DAY = dt.date(2026, 6, 1)
SEASON = Season(dt.date(2026, 4, 20), dt.date(2026, 10, 20), dt.date(2026, 5, 4), dt.date(2026, 8, 17))
TABLES = (Garden, Plot, Bed, Planting, Person, Household, Member, Tenancy)


def rows() -> list[int]:
    return [model.objects.count() for model in TABLES]


def look(cast: Any, body: str, **answers: str) -> Any:
    return preview(programme=cast.programme, text=HEAD + body, answers=answers, day=DAY)


def take(cast: Any, body: str, answers: dict[str, str] | None = None, **more: Any) -> Any:
    return bring_in(
        programme=cast.programme,
        by=cast.organiser,
        text=HEAD + body,
        answers=answers or {},
        season=SEASON,
        **more,
    )


def cell(seen: Any, row: int, column: str) -> Any:
    judged = next(r for r in seen.rows if r.number == row)
    return next(c for c in judged.cells if c.column == column)


def only_question(seen: Any) -> Any:
    (question,) = seen.questions
    return question


def test_one_row_makes_garden_plot_holder_bed_and_planting(cast: Any) -> None:
    brought = take(
        cast, "Kiln Field,3,30 m²,Ana Sá,ana@ostermere.example,4 x 8 ft,tomatoes,2026-05-11,transplanted\n"
    )
    plot = Plot.objects.get(garden__name="Kiln Field", label="3")
    planting = Planting.objects.get(bed__plot=plot)
    assert (brought.counts.plots, brought.counts.beds, brought.counts.persons) == (1, 1, 1)
    assert plot.area_mm2 == 30_000_000 and plot.garden.first_feed == dt.date(2026, 5, 4)
    assert (planting.crop_code, planting.day, planting.sown) == ("tomato", dt.date(2026, 5, 11), False)
    assert Tenancy.objects.get(plot=plot).household.members.get().person.contact == "ana@ostermere.example"


SHEET = """Lock Lane,17,,Henna,,4 x 8 ft,,,
Lock Lane,18,,Bo Ek,bo@ostermere.example,2 × 4 x 8 ft,lettuce,1 May 2026,transplanted
Lock Lane,18,,Bo Ek,bo@ostermere.example,6 ft circle,peas,2026-04-12,sown
Kiln Field,1,3 x 6 m,Cy Ng,,,,,
Kiln Field,2,3 x 6 m,,,5 pots of 12 in,loofah,2026-05-20,sown
"""


def test_the_same_sheet_twice_changes_nothing(cast: Any) -> None:
    take(cast, SHEET)
    after = rows()
    seen = look(cast, SHEET)
    assert not seen.counts.any and not seen.ready
    assert not take(cast, SHEET).changed and rows() == after


def test_the_plot_that_stands_there_is_not_made_again(cast: Any) -> None:
    take(cast, SHEET)
    assert cast.plot.beds.count() == 1 and Plot.objects.filter(garden=cast.garden).count() == 2
    assert Bed.objects.filter(plot__label="18").count() == 3


BAD = [
    ("Lock Lane,20,,,,4 by,,,", "bed measures", "cut short"),
    ("Lock Lane,20,-3 x 6 m,,,,,,", "plot size", "below zero"),
    ("Lock Lane,20,,,,nan,,,", "bed measures", "number"),
    ("Lock Lane,20,,,,0 x 4 m,,,", "bed measures", "no area"),
    ("Lock Lane,20,,,,99999 x 99999 m,,,", "bed measures", "larger than any garden"),
    ("Lock Lane,20,,,,3 kg,,,", "bed measures", "mass"),
    ("Lock Lane,20,,,,900 × 1 x 1 m,,,", "bed measures", "at once"),
    ("Lock Lane,,,,,4 x 8 ft,,,", "plot", "Which plot"),
    (",20,,,,4 x 8 ft,,,", "garden", "Which garden"),
    ("Lock Lane,20,,,x@ostermere.example,,,,", "contact", "Whose"),
    ("Lock Lane,20,,,,4 x 8 ft,,2026-05-01,", "planted on", "crop is empty"),
    ("Lock Lane,20,,,,4 x 8 ft,kale,,sown", "planted on", "When was it planted"),
    ("Lock Lane,20,,,,4 x 8 ft,kale,31 June,sown", "planted on", "June has 30 days"),
    ("Lock Lane,20,,,,4 x 8 ft,kale,soon,sown", "planted on", "not a day"),
    ("Lock Lane,20,,,,4 x 8 ft,kale,2036-05-01,sown", "planted on", "too far"),
    ("Lock Lane,20,,,,4 x 8 ft,kale,2026-05-01,thrown", "sown or transplanted", "not known"),
    ("Lock Lane,20,,,,,kale,2026-05-01,sown", "bed measures", "On which bed"),
    ("Lock Lane,17,,Somebody Else,,,,,", "holder", "held by Henna"),
    ("Lock Lane,20,,,,4 x 8 ft,kale,2026-05-01,sown,and more", "plot", "more cells"),
    ("Lock Lane,20," + "9" * 300 + ",,,,,,", "plot size", ""),
]


@pytest.mark.parametrize(("body", "column", "words"), BAD)
def test_a_bad_cell_is_named_and_nothing_comes_in(cast: Any, body: str, column: str, words: str) -> None:
    body = f"Lock Lane,19,,,,4 x 8 ft,,,\n{body}\n"
    before = rows()
    bad = cell(look(cast, body), 3, column)
    assert bad.verdict is Verdict.BAD and words in bad.words
    with pytest.raises(Refused, match="Row 3") as refusal:
        take(cast, body)
    assert refusal.value.field == "sheet" and rows() == before


def test_bad_rows_are_left_out_only_if_so_said(cast: Any) -> None:
    body = "Lock Lane,19,,,,4 x 8 ft,,,\nLock Lane,20,,,,4 by,,,\n"
    brought = take(cast, body, {"leave_out": "yes"})
    assert brought.counts.plots == 1 and not Plot.objects.filter(label="20").exists()
    assert [c.text for _, c in look(cast, body, leave_out="yes").bad] == ["4 by"]


def test_two_sizes_of_one_plot_are_not_chosen_between(cast: Any) -> None:
    seen = look(cast, "Lock Lane,20,30 m²,,,,,,\nLock Lane,20,40 m²,,,,,,\n")
    assert "30 m²" in cell(seen, 3, "plot size").words and not seen.ready


def test_a_second_crop_on_a_full_bed_is_refused(cast: Any) -> None:
    seen = look(cast, "Lock Lane,20,,,,4 x 8 ft,tomato,2026-05-11,t\nLock Lane,20,,,,,basil,2026-05-20,t\n")
    assert "no room" in cell(seen, 3, "crop").words


def test_a_crop_after_the_first_has_gone_fits(cast: Any) -> None:
    take(cast, "Lock Lane,20,,,,4 x 8 ft,lettuce,2026-04-01,t\nLock Lane,20,,,,,beans,2026-07-20,sown\n")
    assert Bed.objects.get(plot__label="20").plantings.count() == 2


def test_an_unknown_crop_is_kept_by_its_name(cast: Any) -> None:
    take(cast, "Lock Lane,20,,,,4 x 8 ft,Moon gourd,2026-05-11,sown\n")
    planting = Planting.objects.get()
    assert (planting.crop_code, planting.crop_name) == ("", "Moon gourd")


def test_an_ambiguous_day_is_asked_once_for_the_sheet(cast: Any) -> None:
    body = "Lock Lane,20,,,,4 x 8 ft,kale,03/04/2026,sown\nLock Lane,21,,,,4 x 8 ft,kale,05/04/2026,sown\n"
    question = only_question(look(cast, body))
    before = rows()
    with pytest.raises(Refused, match="Which day"):
        take(cast, body)
    assert rows() == before
    take(cast, body, {question.key: "month_first"})
    assert list(Planting.objects.values_list("day", flat=True)) == [dt.date(2026, 3, 4), dt.date(2026, 5, 4)]


def test_an_ambiguous_measure_is_asked(cast: Any) -> None:
    body = 'Lock Lane,20,,,,"1.200 x 3 m",,,\n'
    question = only_question(look(cast, body))
    assert [choice.value for choice in question.choices] == ["1.2 x 3 m", "1200 x 3 m"]
    take(cast, body, {question.key: "1.2 x 3 m"})
    assert Bed.objects.get(plot__label="20").area_mm2 == 3_600_000


def test_sown_or_transplanted_is_asked_not_guessed(cast: Any) -> None:
    body = "Lock Lane,20,,,,4 x 8 ft,kale,2026-05-01,\n"
    question = only_question(look(cast, body))
    take(cast, body, {question.key: "sown"})
    assert Planting.objects.get().sown


# Who


def test_one_name_with_one_contact_is_one_person(cast: Any) -> None:
    take(cast, "Lock Lane,20,,Ada,ada@x.example,,,,\nLock Lane,21,,ada ,ADA@x.example,,,,\n")
    assert Person.objects.filter(name="Ada").count() == 1
    assert Household.objects.filter(name="Ada").get().tenancies.count() == 2


@pytest.mark.parametrize(("answer", "persons"), [("row-2", 1), ("another", 2)])
def test_one_name_without_a_contact_is_asked(cast: Any, answer: str, persons: int) -> None:
    body = "Lock Lane,20,,Ada,,,,,\nLock Lane,21,,Ada,,,,,\n"
    question = only_question(look(cast, body))
    with pytest.raises(Refused, match="The same person, or another"):
        take(cast, body)
    take(cast, body, {question.key: answer})
    assert Person.objects.filter(name="Ada").count() == persons
    assert not look(cast, body).counts.any


def test_one_name_with_another_contact_is_asked(cast: Any) -> None:
    Person.objects.create(programme=cast.programme, name="Ada", contact="555 0101")
    body = "Lock Lane,20,,Ada,ada@x.example,,,,\n"
    question = only_question(look(cast, body))
    assert "555 0101" in question.choices[0].words
    take(cast, body, {question.key: "another"})
    assert Person.objects.filter(name="Ada").count() == 2


def test_the_known_person_gets_the_contact_that_was_missing(cast: Any) -> None:
    ada = Person.objects.create(programme=cast.programme, name="Ada")
    body = "Lock Lane,20,,Ada,ada@x.example,,,,\n"
    take(cast, body, {only_question(look(cast, body)).key: f"person-{ada.pk}"})
    ada.refresh_from_db()
    assert ada.contact == "ada@x.example" and Person.objects.filter(name="Ada").count() == 1


def test_an_answer_cannot_name_a_person_of_another_programme(cast: Any) -> None:
    Person.objects.create(programme=cast.programme, name="Sten")
    body = "Lock Lane,20,,Sten,,,,,\n"
    question = only_question(look(cast, body))
    with pytest.raises(Refused, match="The same person"):
        take(cast, body, {question.key: f"person-{cast.stranger.pk}"})


def test_two_rows_of_one_plot_name_a_household(cast: Any) -> None:
    take(cast, "Lock Lane,20,,Ada,,4 x 8 ft,,,\nLock Lane,20,,Ben,,,,,\n")
    assert {m.person.name for m in Tenancy.objects.get(plot__label="20").household.members.all()} == {
        "Ada",
        "Ben",
    }


def test_who_holds_it_since_when(cast: Any) -> None:
    take(cast, "Lock Lane,20,,Ada,,,,,\n", since=dt.date(2026, 3, 1))
    assert Tenancy.objects.get(plot__label="20").start == dt.date(2026, 3, 1)


def test_a_new_garden_needs_its_year(cast: Any) -> None:
    before = rows()
    with pytest.raises(Refused, match="frost dates"):
        bring_in(programme=cast.programme, by=cast.organiser, text=HEAD + "Chapel Steps,1,,,,,,,\n")
    assert rows() == before


def test_another_programmes_garden_of_that_name_is_not_touched(cast: Any) -> None:
    take(cast, "Far Side,1,,,,,,,\n")
    assert Garden.objects.filter(name="Far Side").count() == 2 and cast.other_garden.plots.count() == 1


def test_it_does_not_come_in_by_half(cast: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    before = rows()
    monkeypatch.setattr("schedules.actions.bring_in._beds", lambda *args: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        take(cast, SHEET)
    assert rows() == before


@pytest.mark.parametrize("plots", [3, 30])
def test_looking_at_a_sheet_asks_a_constant_number_of_queries(
    cast: Any, plots: int, django_assert_max_num_queries: Any
) -> None:
    body = "".join(f"Lock Lane,{n},,P{n},,4 x 8 ft,kale,2026-05-01,sown\n" for n in range(100, 100 + plots))
    take(cast, body)
    with django_assert_max_num_queries(8):
        look(cast, body)


def test_equal_beds_are_counted_one_by_one(cast: Any) -> None:
    body = "Lock Lane,17,,,,2 × 4 x 8 ft,,,\nLock Lane,17,,,,4 x 8 ft,,,\n"
    assert look(cast, body).counts.beds == 2  # one of the three stands there
    take(cast, body)
    assert sorted(cast.plot.beds.values_list("size_text", flat=True)) == ["4 x 8 ft", "4 x 8 ft", "4 × 8 ft"]
    assert cast.plot.beds.count() == 3 and not look(cast, body).counts.any


def test_the_crop_stays_on_the_bed_it_was_on(cast: Any) -> None:
    body = "Lock Lane,17,,,,4 x 8 ft,,,\nLock Lane,17,,,,4 x 8 ft,kale,2026-05-01,sown\n"
    take(cast, body)
    turned = "\n".join(reversed(body.strip().split("\n"))) + "\n"
    assert not look(cast, turned).counts.any
