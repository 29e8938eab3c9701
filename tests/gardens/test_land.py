"""Gardens, plots, beds, plantings and tenancies: the acts and their refusals."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from gardens.actions import land, tenancies
from gardens.actions.people import add_person
from gardens.models import Bed, Garden, Household, Member, Person, Planting, Plot, Tenancy
from gardens.refusals import InTheWay, Refused

YEAR = {
    "last_frost": dt.date(2026, 4, 20),
    "first_frost": dt.date(2026, 10, 20),
    "first_feed": dt.date(2026, 5, 6),
    "last_feed": dt.date(2026, 9, 16),
}
DAY = dt.date(2026, 6, 1)


def test_a_garden_keeps_the_first_day_of_its_feeding_weeks(cast: Any) -> None:
    garden = land.add_garden(programme=cast.programme, by=cast.organiser, name="Kiln Field", **YEAR)
    assert (garden.first_feed, garden.last_feed) == (dt.date(2026, 5, 4), dt.date(2026, 9, 14))


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"first_frost": dt.date(2026, 4, 1)}, "first_frost"),
        ({"last_feed": dt.date(2026, 5, 1)}, "last_feed"),
        ({"last_feed": dt.date(2028, 5, 1)}, "last_feed"),
        ({"first_feed": dt.date(2030, 5, 1), "last_feed": dt.date(2030, 9, 1)}, "first_feed"),
        ({"name": "lock LANE"}, "name"),
        ({"name": ""}, "name"),
    ],
)
def test_a_garden_that_cannot_be_is_refused(cast: Any, changes: dict[str, Any], field: str) -> None:
    with pytest.raises(Refused) as refusal:
        land.add_garden(
            programme=cast.programme, by=cast.organiser, **{"name": "Kiln Field", **YEAR, **changes}
        )
    assert refusal.value.field == field and Garden.objects.filter(programme=cast.programme).count() == 1


def test_a_southern_season_runs_over_new_year(cast: Any) -> None:
    season = {
        "last_frost": dt.date(2026, 9, 10),
        "first_frost": dt.date(2027, 5, 10),
        "first_feed": dt.date(2026, 10, 5),
        "last_feed": dt.date(2027, 3, 1),
    }
    assert land.add_garden(programme=cast.programme, by=cast.organiser, name="South", **season).pk


@pytest.mark.parametrize(
    ("label", "size", "field"),
    [
        ("17", "", "label"),
        (" 17 ", "", "label"),
        ("", "", "label"),
        ("x" * 41, "", "label"),
        ("20", "4 by", "size_text"),
        ("20", "-3 x 6 m", "size_text"),
        ("20", "nan", "size_text"),
        ("20", "2 × 4 x 8 ft", "size_text"),
        ("20", "1.200 x 3 m", "size_text"),
        ("20", "0 m²", "size_text"),
    ],
)
def test_a_plot_that_cannot_be_is_refused(cast: Any, label: str, size: str, field: str) -> None:
    with pytest.raises(Refused) as refusal:
        land.add_plot(
            programme=cast.programme, by=cast.organiser, garden=cast.garden, label=label, size_text=size
        )
    assert refusal.value.field == field and Plot.objects.filter(programme=cast.programme).count() == 1


# Beds


def test_equal_beds_are_made_one_by_one(cast: Any) -> None:
    beds = land.add_bed(plot=cast.plot, by=cast.organiser, name="", size_text="2 × 4 x 8 ft")
    assert [bed.name for bed in beds] == ["2", "3"] and {bed.area_mm2 for bed in beds} == {2_972_897}
    assert {bed.size_text for bed in beds} == {"4 × 8 ft"}


def test_named_equal_beds_are_numbered(cast: Any) -> None:
    beds = land.add_bed(plot=cast.plot, by=cast.organiser, name="herbs", size_text="3 × 1 x 1 m")
    assert [bed.name for bed in beds] == ["herbs 1", "herbs 2", "herbs 3"]


def test_pots_stay_together(cast: Any) -> None:
    (pots,) = land.add_bed(plot=cast.plot, by=cast.organiser, name="", size_text="5 pots of 12 in")
    assert pots.count == 5 and pots.is_pot and pots.area_mm2 == 5 * 72_966


@pytest.mark.parametrize(
    "size", ["0 x 8 ft", "-4 x 8 ft", "nan", "inf x 2 m", "3 kg", "1e99 m", "61 × 1 x 1 m", "", "x" * 90]
)
def test_a_bed_of_no_area_is_refused(cast: Any, size: str) -> None:
    with pytest.raises(Refused) as refusal:
        land.add_bed(plot=cast.plot, by=cast.organiser, name="", size_text=size)
    assert refusal.value.field == "size_text" and cast.plot.beds.count() == 1


def test_a_bed_is_changed_but_not_multiplied(cast: Any) -> None:
    act = {"bed": cast.bed, "by": cast.organiser, "name": "1", "drains": False}
    with pytest.raises(Refused, match="one bed"):
        land.change_bed(**act, size_text="2 × 4 x 8 ft")
    bed = land.change_bed(**act, size_text="6 ft circle")
    assert (bed.shape, bed.b_mm, bed.drains) == ("circle", None, False)


def test_a_bed_that_is_gone_takes_its_plantings_along_and_its_history_not(cast: Any) -> None:
    planting = tomato(cast)
    land.end_bed(bed=cast.bed, by=cast.organiser, day=dt.date(2026, 8, 1))
    planting.refresh_from_db()
    assert planting.until_day == dt.date(2026, 8, 1) and Bed.objects.filter(pk=cast.bed.pk).exists()
    with pytest.raises(InTheWay):
        land.end_bed(bed=cast.bed, by=cast.organiser, day=dt.date(2026, 9, 1))


# Plantings


def tomato(cast: Any, **more: Any) -> Planting:
    values = {
        "crop_code": "tomato",
        "crop_version": "1",
        "crop_name": "tomato",
        "sown": False,
        "day": dt.date(2026, 5, 11),
    }
    return land.plant(**{"bed": cast.bed, "by": cast.organiser, **values, **more})


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"ends_on": dt.date(2026, 5, 11)}, "ends_on"),
        ({"ends_on": dt.date(2026, 5, 1)}, "ends_on"),
        ({"share": 0}, "share"),
        ({"share": 101}, "share"),
        ({"share": -5}, "share"),
        ({"crop_name": ""}, "crop"),
        ({"crop_name": "x" * 81}, "crop"),
        ({"day": dt.date(1816, 5, 1)}, "day"),
        ({"day": dt.date(2999, 5, 1)}, "day"),
        ({"ends_on": dt.date(2999, 5, 1)}, "ends_on"),
    ],
)
def test_a_planting_that_cannot_be_is_refused(cast: Any, more: dict[str, Any], field: str) -> None:
    with pytest.raises(Refused) as refusal:
        tomato(cast, **more)
    assert refusal.value.field == field and not Planting.objects.exists()


def test_a_planting_ends_once_and_not_before_it_began(cast: Any) -> None:
    planting = tomato(cast)
    with pytest.raises(Refused, match="planted on 11 May 2026"):
        land.end_planting(planting=planting, by=cast.organiser, day=dt.date(2026, 5, 10))
    land.end_planting(planting=planting, by=cast.organiser, day=dt.date(2026, 5, 11))
    with pytest.raises(InTheWay, match="ended already"):
        land.end_planting(planting=planting, by=cast.organiser, day=dt.date(2026, 6, 1))


def test_none_needs_its_reason(cast: Any) -> None:
    with pytest.raises(Refused) as refusal:
        land.set_feeding(target=cast.bed, by=cast.organiser, feeding="none")
    assert refusal.value.field == "reason"
    land.set_feeding(target=cast.bed, by=cast.organiser, feeding="none", reason="organic only")
    back = land.set_feeding(target=cast.bed, by=cast.organiser, feeding="blend", reason="organic only")
    assert (back.feeding, back.feeding_reason) == ("blend", "")


# Who holds what


def somebody(cast: Any, name: str = "Ada") -> Person:
    return add_person(programme=cast.programme, by=cast.organiser, name=name)


def test_a_plot_changes_hands_in_mid_season(cast: Any) -> None:
    ada = somebody(cast)
    tenancies.pass_on(plot=cast.plot, by=cast.organiser, persons=[ada], day=DAY)
    before, after = Tenancy.objects.filter(plot=cast.plot).order_by("start")
    assert before.until_day == after.start == DAY and after.household.name == "Ada"
    assert ada.roles.get().name == "holder"


def test_a_plot_that_is_held_is_not_held_twice(cast: Any) -> None:
    with pytest.raises(InTheWay, match="held by Henna"):
        tenancies.hold_plot(plot=cast.plot, by=cast.organiser, persons=[somebody(cast)], start=DAY)
    assert Tenancy.objects.filter(plot=cast.plot).count() == 1


def test_nobody_comes_before_one_who_comes_later(cast: Any) -> None:
    tenancies.end_tenancy(tenancy=Tenancy.objects.get(plot=cast.plot), by=cast.organiser, day=DAY)
    tenancies.hold_plot(
        plot=cast.plot, by=cast.organiser, persons=[somebody(cast)], start=dt.date(2026, 8, 1)
    )
    with pytest.raises(InTheWay, match="held by Ada"):
        tenancies.hold_plot(
            plot=cast.plot, by=cast.organiser, persons=[somebody(cast, "Bo")], start=dt.date(2026, 7, 1)
        )


def test_the_end_comes_after_the_start(cast: Any) -> None:
    with pytest.raises(Refused, match="1 March 2026"):
        tenancies.end_tenancy(
            tenancy=Tenancy.objects.get(plot=cast.plot), by=cast.organiser, day=dt.date(2026, 3, 1)
        )


def test_one_person_with_several_plots_is_one_household(cast: Any) -> None:
    plot = land.add_plot(programme=cast.programme, by=cast.organiser, garden=cast.garden, label="18")
    tenancies.hold_plot(plot=plot, by=cast.organiser, persons=[cast.holder], start=DAY)
    assert Household.objects.filter(programme=cast.programme).count() == 1


def test_a_person_of_another_programme_cannot_hold_it(cast: Any) -> None:
    with pytest.raises(Refused, match="another programme"):
        tenancies.pass_on(plot=cast.plot, by=cast.organiser, persons=[cast.stranger], day=DAY)
    assert Tenancy.objects.get(plot=cast.plot).until_day is None


def test_the_household_is_named_after_who_is_in_it(cast: Any) -> None:
    member = tenancies.join_household(household=cast.household, by=cast.organiser, person=somebody(cast))
    assert Household.objects.get(pk=cast.household.pk).name == "Henna and Ada"
    tenancies.leave_household(member=Member.objects.get(person=cast.holder), by=cast.organiser, day=DAY)
    assert Household.objects.get(pk=cast.household.pk).name == "Ada"
    with pytest.raises(InTheWay, match="only one"):
        tenancies.leave_household(member=member, by=cast.organiser, day=DAY)
