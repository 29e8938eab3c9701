"""Pages of gardens, plots, beds and holders."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.urls import reverse

from gardens.models import Bed, Garden, Person, Plot, Tenancy
from tests.cast import make_plot

YEAR = {
    "last_frost": "20 April 2026",
    "first_frost": "20 October 2026",
    "first_feed": "4 May 2026",
    "last_feed": "14 Sept 2026",
}


def url(cast: Any, name: str, **kwargs: Any) -> str:
    return reverse(name, kwargs={"programme": cast.programme.pk, **kwargs})


def text(answer: Any) -> str:
    return str(answer.content.decode()).replace("\u00a0", " ").replace("&#x27;", "'")


def test_a_garden_is_added_and_leads_to_its_plots(cast: Any, as_: Any) -> None:
    client = as_(cast.organiser)
    answer = client.post(url(cast, "garden_add"), {"name": "Kiln Field", **YEAR})
    garden = Garden.objects.get(name="Kiln Field")
    assert answer.headers["Location"] == url(cast, "garden", garden=garden.pk)
    page = text(client.get(answer.headers["Location"]))
    assert "has no plots yet" in page and url(cast, "bring_in") in page


def test_a_season_out_of_order_keeps_the_typing(cast: Any, as_: Any) -> None:
    page = text(
        as_(cast.organiser).post(
            url(cast, "garden_add"), {"name": "K", **YEAR, "first_frost": "1 March 2026"}
        )
    )
    assert "comes after the last frost" in page and 'value="1 March 2026"' in page


def test_no_garden_is_a_page_with_a_next_step(cast: Any, as_: Any) -> None:
    cast.other.pk  # noqa: B018
    from tests.cast import make_person, make_programme

    empty = make_programme("Empty")
    organiser = make_person(empty, "Emmi", "organiser")
    page = text(as_(organiser).get(reverse("land", args=[empty.pk])))
    assert "No garden yet" in page and reverse("bring_in", args=[empty.pk]) in page


def test_the_garden_lists_its_plots_and_what_is_missing(cast: Any, as_: Any) -> None:
    Plot.objects.create(programme=cast.programme, garden=cast.garden, label="9")
    page = text(as_(cast.steward).get(url(cast, "garden", garden=cast.garden.pk)))
    assert "2.97 m²" in page and "Henna" in page and "no size yet" in page
    assert page.index(">9<") < page.index(">17<")


@pytest.mark.parametrize("count", [2, 40])
def test_the_garden_asks_a_constant_number_of_queries(
    cast: Any, as_: Any, count: int, django_assert_max_num_queries: Any
) -> None:
    for n in range(count):
        make_plot(cast.garden, f"x{n}", cast.holder)
    client = as_(cast.organiser)
    with django_assert_max_num_queries(15):
        client.get(url(cast, "garden", garden=cast.garden.pk))


@pytest.mark.parametrize("count", [1, 12])
def test_the_plot_asks_a_constant_number_of_queries(
    cast: Any, as_: Any, count: int, django_assert_max_num_queries: Any
) -> None:
    from gardens.actions.land import add_bed

    add_bed(
        plot=cast.plot, by=cast.organiser, name="", size_text=f"{count} × 1 x 1 m" if count > 1 else "1 x 1 m"
    )
    client = as_(cast.organiser)
    with django_assert_max_num_queries(15):
        client.get(url(cast, "plot_land", plot=cast.plot.pk))


# Plots and beds


def test_a_plot_is_added_with_its_size_as_written(cast: Any, as_: Any) -> None:
    as_(cast.organiser).post(url(cast, "plot_add", garden=cast.garden.pk), {"label": "20", "size": "3 x 6 m"})
    plot = Plot.objects.get(label="20")
    assert (plot.size_text, plot.area_mm2) == ("3 x 6 m", 18_000_000)
    assert "60 % of it counts as planted" in text(
        as_(cast.organiser).get(url(cast, "plot_land", plot=plot.pk))
    )


def test_a_holder_adds_a_bed_and_is_asked_what_grows(cast: Any, as_: Any) -> None:
    answer = as_(cast.holder).post(
        url(cast, "bed_add", plot=cast.plot.pk), {"size": "4' x 8'", "name": "", "drains": "no"}
    )
    bed = Bed.objects.get(plot=cast.plot, name="2")
    assert answer.headers["Location"] == url(cast, "planting_add", bed=bed.pk)
    assert (bed.size_text, bed.drains, bed.area_mm2) == ("4' x 8'", False, 2_972_897)


@pytest.mark.parametrize("size", ["4 by", "0 x 4 m", "nan", "-1 x 2 m", "3 kg", ""])
def test_a_size_that_cannot_be_read_keeps_the_typing(cast: Any, as_: Any, size: str) -> None:
    page = text(
        as_(cast.holder).post(
            url(cast, "bed_add", plot=cast.plot.pk), {"size": size, "name": "herbs", "drains": "yes"}
        )
    )
    assert 'value="herbs"' in page and "One answer needs another look" in page and cast.plot.beds.count() == 1


def test_two_readings_of_a_size_are_asked(cast: Any, as_: Any) -> None:
    address = url(cast, "bed_add", plot=cast.plot.pk)
    page = text(as_(cast.holder).post(address, {"size": "1.200 x 3 m", "drains": "yes"}))
    assert "Which did you mean?" in page and "1200 x 3 m" in page and cast.plot.beds.count() == 1
    as_(cast.holder).post(address, {"size": "1.200 x 3 m", "size_reading": "1.2 x 3 m", "drains": "yes"})
    assert Bed.objects.get(name="2").size_text == "1.2 x 3 m"


def test_a_bed_made_with_others_is_changed_alone(cast: Any, as_: Any) -> None:
    from gardens.actions.land import add_bed

    bed = add_bed(plot=cast.plot, by=cast.organiser, name="", size_text="2 × 4 x 8 ft")[0]
    address = url(cast, "bed", bed=bed.pk)
    shown = as_(cast.holder).get(address).context["form"]["size"].value()
    as_(cast.holder).post(address, {"size": shown, "name": "2", "drains": "no"})
    bed.refresh_from_db()
    assert bed.area_mm2 == 2_972_897 and not bed.drains


def test_none_on_a_bed_needs_its_reason(cast: Any, as_: Any) -> None:
    address = url(cast, "bed_feeding", bed=cast.bed.pk)
    assert "Say why" in text(as_(cast.holder).post(address, {"feeding": "none"}))
    as_(cast.holder).post(address, {"feeding": "none", "reason": "organic only"})
    assert "organic only" in text(as_(cast.steward).get(url(cast, "plot_land", plot=cast.plot.pk)))


def test_a_steward_sees_the_ground_and_no_way_to_change_it(cast: Any, as_: Any) -> None:
    page = text(as_(cast.steward).get(url(cast, "plot_land", plot=cast.plot.pk)))
    assert "Plot 17 has one bed" in page and url(cast, "bed_add", plot=cast.plot.pk) not in page


def test_another_programmes_plot_is_not_found_under_this_one(cast: Any, as_: Any) -> None:
    assert as_(cast.organiser).get(url(cast, "plot_land", plot=cast.other_plot.pk)).status_code == 404
    assert (
        as_(cast.organiser).post(url(cast, "bed_add", plot=cast.other_plot.pk), {"size": "1 m²"}).status_code
        == 404
    )


# Who holds it


def test_a_new_name_takes_the_plot_over(cast: Any, as_: Any) -> None:
    as_(cast.organiser).post(
        url(cast, "tenancy_change", plot=cast.plot.pk), {"name": "Ada", "day": "1 June 2026"}
    )
    assert Tenancy.objects.get(plot=cast.plot, until_day=None).household.name == "Ada"
    assert "Who held it before" in text(as_(cast.organiser).get(url(cast, "plot_land", plot=cast.plot.pk)))


def test_a_known_name_is_asked_never_guessed(cast: Any, as_: Any) -> None:
    address, client = url(cast, "tenancy_change", plot=cast.plot.pk), as_(cast.organiser)
    page = text(client.post(address, {"name": "stev", "day": "1 June 2026"}))
    assert "Which of these?" in page and "Stevo" in page and 'value="stev"' in page
    assert not Tenancy.objects.filter(start=dt.date(2026, 6, 1)).exists()
    client.post(address, {"name": "stev", "who": str(cast.steward.pk), "day": "1 June 2026"})
    assert Tenancy.objects.get(start=dt.date(2026, 6, 1)).household.members.get().person == cast.steward


def test_a_new_person_of_a_known_name_is_made_when_said_so(cast: Any, as_: Any) -> None:
    data = {"name": "Stevo", "who": "new", "day": "1 June 2026"}
    as_(cast.organiser).post(url(cast, "tenancy_change", plot=cast.plot.pk), data)
    assert Person.objects.filter(name="Stevo").count() == 2


def test_a_person_of_another_programme_cannot_be_chosen(cast: Any, as_: Any) -> None:
    data = {"name": "Ste", "who": str(cast.stranger.pk), "day": "1 June 2026"}
    page = text(as_(cast.organiser).post(url(cast, "tenancy_change", plot=cast.plot.pk), data))
    assert "Select a valid choice" in page and Tenancy.objects.filter(plot=cast.plot).count() == 1


def test_a_day_before_they_began_is_told_at_the_day(cast: Any, as_: Any) -> None:
    page = text(as_(cast.organiser).post(url(cast, "tenancy_end", plot=cast.plot.pk), {"day": "1 Feb 2026"}))
    assert "They hold it from 1 March 2026" in page and 'value="1 Feb 2026"' in page
