"""Worked example 2, the first evening: a sheet of 42 rows with two bad cells, and what comes of it."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

import pytest

from gardens.models import Bed, Garden, Person, Plot
from gardens.refusals import Refused
from schedules.actions.bring_in import Season, bring_in, preview
from schedules.actions.founding import found
from schedules.queries.plans import demand_of, land_on

SOURCE = "worked example 2, computed by hand"
SEASON = Season(dt.date(2026, 4, 20), dt.date(2026, 10, 20), dt.date(2026, 5, 4), dt.date(2026, 8, 17))
DAY = dt.date(2026, 5, 4)
HEAD = "garden,plot,plot size,holder,contact,bed measures\n"
BEDS = [f"Lock Lane,{n},,Holder A{n},,2 × 4 x 8 ft" for n in range(1, 25)]
SIZES = [f"Kiln Field,{n},3 x 6 m,Holder B{n},," for n in range(1, 17)]
BAD = ["Lock Lane,25,,Holder A25,,4 by", "Kiln Field,17,-3 x 6 m,Holder B17,,"]
SHEET = HEAD + "\n".join([*BEDS, *SIZES, *BAD])
MENDED = SHEET.replace("4 by", "4 by 8 ft").replace("-3 x 6 m", "3 x 6 m")


@pytest.fixture
def programme(db: None) -> Any:
    from gardens.models import User

    user = User.objects.create_user("orla@x.example")
    values = {"zone": "Europe/Lisbon", "currency": "EUR", "units": "metric", "person_name": "Orla"}
    return found(user=user, name="Ostermere Shared Gardens", **values)


def take(programme: Any, text: str, **answers: str) -> Any:
    organiser = Person.objects.get(programme=programme, name="Orla")
    return bring_in(programme=programme, by=organiser, text=text, answers=answers, season=SEASON, since=DAY)


def test_both_bad_cells_are_named_and_nothing_is_brought_in(programme: Any) -> None:
    seen = preview(programme=programme, text=SHEET)
    assert [(row.number, cell.column.value, cell.text) for row, cell in seen.bad] == [
        (42, "bed measures", "4 by"),
        (43, "plot size", "-3 x 6 m"),
    ]
    with pytest.raises(Refused, match="Row 42"):
        take(programme, SHEET)
    assert not Garden.objects.exists() and not Plot.objects.exists() and Person.objects.count() == 1


@pytest.mark.parametrize(("text", "answers", "plots"), [(SHEET, {"leave_out": "yes"}, 40), (MENDED, {}, 42)])
def test_dropped_forty_plots_stand_and_mended_forty_two(
    programme: Any, text: str, answers: dict[str, str], plots: int
) -> None:
    take(programme, text, **answers)
    assert Plot.objects.count() == plots
    assert not take(programme, text, **answers).changed and Plot.objects.count() == plots


def test_the_known_beds_and_the_planted_share(programme: Any, deviation: Any) -> None:
    take(programme, SHEET, leave_out="yes")
    beds = sum(Bed.objects.filter(plot__garden__name="Lock Lane").values_list("area_mm2", flat=True))
    sizes = sum(Plot.objects.filter(garden__name="Kiln Field").values_list("area_mm2", flat=True))
    deviation("24 plots of two 4 x 8 ft beds, m2", Decimal("142.70"), Decimal(beds) / 10**6,
              source=SOURCE, confidence="DERIVED", tolerance=Decimal("0.005"))  # fmt: skip
    deviation("16 plots of 3 x 6 m at 60 %, m2", Decimal("172.8"), Decimal(sizes) * 60 / 100 / 10**6,
              source=SOURCE, confidence="DERIVED", tolerance=0)  # fmt: skip
    assert programme.planted_share == 60


def test_what_the_programme_needs_a_week_all_of_it_assumed(programme: Any, deviation: Any) -> None:
    take(programme, SHEET, leave_out="yes")
    demand = demand_of(land_on(programme, DAY), DAY, DAY + dt.timedelta(days=6))
    grams = {g.garden.name: Decimal(g.mg) / 1000 for g in demand.gardens}
    for what, expected, got in (
        ("Lock Lane, g a week", 653, grams["Lock Lane"]),
        ("Kiln Field, g a week", 791, grams["Kiln Field"]),
        ("programme, g a week", 1444, Decimal(demand.mg) / 1000),
    ):
        deviation(what, expected, got, source=SOURCE, confidence="DERIVED", tolerance=Decimal("0.5"))
    assert demand.assumed_mg == demand.mg and demand.fed == 40


def test_the_first_evening_through_the_page(programme: Any, client: Any) -> None:
    client.force_login(Person.objects.get(name="Orla").user)
    page = f"/p/{programme.pk}/bring-in/"
    seen = client.post(page, {"sheet": SHEET})
    shown = seen.content.decode()
    assert "Two cells need another look." in shown and "“4 by”" in shown and "“-3 x 6 m”" in shown
    days = {"last_frost": "20 April 2026", "first_frost": "20 October 2026"}
    days |= {"first_feed": "4 May 2026", "last_feed": "17 August 2026", "since": "4 May 2026"}
    sent = {"sheet": SHEET, "looked": seen.context["digest"], "step": "bring", **days}
    assert client.post(page, sent).status_code == 200 and not Plot.objects.exists()
    answer = client.post(page, {**sent, "leave_out": "yes"}, follow=True)
    assert (
        Plot.objects.count() == 40 and "Brought in: 2 gardens, 40 plots, 48 beds" in answer.content.decode()
    )
