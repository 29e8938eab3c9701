from __future__ import annotations

import html
import re
import uuid
from typing import Any

import pytest
from django.urls import reverse

from blends.models import Flag, Gate, MixingDay, Place, Ticket
from gardens.models import Member, Person, Plot
from schedules.actions import desk
from schedules.models import Collection, Portion, Round
from tests.cast import make_person, make_plot
from tests.play import Day, key, make_portion, play_day


@pytest.fixture
def day(cast: Any) -> Day:
    return play_day(cast)


@pytest.fixture
def steward(cast: Any, as_: Any) -> Any:
    return as_(cast.steward)


def plain(response: Any) -> str:
    """What the page says, without tags, with ordinary spaces."""
    text = re.sub(r"<svg.*?</svg>|<[^>]+>", " ", response.content.decode(), flags=re.S)
    return " ".join(html.unescape(text).split())


def url_of(portion: Portion) -> str:
    return reverse("desk_plot", args=[portion.programme_id, portion.pk])


def typed(cast: Any, day: Day, reading: str = "200", **more: str) -> dict[str, str]:
    return {
        "key": str(uuid.uuid4()),
        "home": "",
        "reading": reading,
        "collector": str(cast.holder.pk),
        "pail": str(day.pails[0].pk),
        **more,
    }


def send(client: Any, cast: Any, day: Day, reading: str = "200", **more: str) -> Any:
    return client.post(url_of(day.portions["17"]), typed(cast, day, reading, **more), follow=True)


def test_the_desk_says_who_is_still_to_come(cast: Any, day: Day, steward: Any) -> None:
    text = plain(steward.get(reverse("desk", args=[cast.programme.pk, day.day.pk])))
    assert "1 still to come, 200 g." in text and "17 Henna" in text


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("lukas", ["Žofia Łukasz"]),
        ("ЁЛКИН", ["Пётр Ёлкин"]),
        ("елкин", ["Пётр Ёлкин"]),
        ("novak", ["Jan Novak", "Jan Novak"]),
        ("novak 23", ["Jan Novak"]),
        ("zz", []),
    ],
)
def test_part_of_a_name_or_plot_finds_a_holder(cast: Any, as_: Any, typed: str, found: list[str]) -> None:
    due = []
    for label, name in [
        ("21", "Žofia Łukasz"),
        ("22", "Пётр Ёлкин"),
        ("23", "Jan Novak"),
        ("24", "Jan Novak"),
    ]:
        plot, _, household = make_plot(cast.garden, label, make_person(cast.programme, name, signs_in=False))
        due.append((plot, household, 100_000))
    day = play_day(cast, due)
    page = as_(cast.steward).get(
        reverse("desk", args=[cast.programme.pk, day.day.pk]), {"q": typed}, headers={"HX-Request": "true"}
    )
    names = re.findall(r"&ensp;(.*?)<small>", page.content.decode())
    assert names == found
    assert ("Nobody found" in plain(page)) == (not found)


def test_a_plot_that_gets_none_says_so(cast: Any, as_: Any) -> None:
    Plot.objects.create(
        programme=cast.programme, garden=cast.garden, label="9", feeding="none", feeding_reason="organic only"
    )
    day = play_day(cast)
    text = plain(as_(cast.steward).get(reverse("desk", args=[cast.programme.pk, day.day.pk])))
    assert "organic only" in text


def test_a_day_without_a_round_says_what_comes_first(cast: Any, day: Day, steward: Any) -> None:
    Round.objects.update(mixing_day=None)
    assert "No round belongs" in plain(steward.get(reverse("desk", args=[cast.programme.pk, day.day.pk])))


def test_the_page_says_the_amount_and_the_stamp_says_it_stands(cast: Any, day: Day, steward: Any) -> None:
    assert "Hand out 200 g to Henna." in plain(steward.get(url_of(day.portions["17"])))
    text = plain(send(steward, cast, day, "155", home="45"))
    assert "Handed out 155 g to Henna , plot 17" in text
    assert "In the tub now until" in text and "5.845 kg" in text and "Next holder" in text
    assert Collection.objects.get().home_mg == 45_000


def test_who_was_looked_for_stands_at_the_desk(cast: Any, day: Day, steward: Any) -> None:
    other = Person.objects.create(programme=cast.programme, name="Píet Henna")
    Member.objects.create(programme=cast.programme, household=cast.household, person=other)
    url = url_of(day.portions["17"])
    assert "to Henna." in plain(steward.get(url)) and "to Píet Henna." in plain(
        steward.get(url, {"q": "piet"})
    )
    live = steward.get(url, {"live": 1, "reading": "20", "collector": other.pk})
    assert "to Píet Henna." in plain(live)
    send(steward, cast, day, collector=str(other.pk))
    assert Collection.objects.get().collected_by == other


def test_while_one_types_the_amount_follows(cast: Any, day: Day, steward: Any) -> None:
    live = steward.get(url_of(day.portions["17"]), {"live": 1, "home": "45", "reading": "155"})
    text = plain(live)
    assert "Hand out 155 g to Henna." in text and "Just what is due." in text
    assert "Record 155 g handed out" in text and "<form" not in live.content.decode()
    assert not Collection.objects.exists()


def test_gross_typed_for_net_is_asked_and_nothing_recorded(cast: Any, day: Day, steward: Any) -> None:
    sent = typed(cast, day, "258", home="45")
    asked = steward.post(url_of(day.portions["17"]), sent)
    text = plain(asked)
    assert "258 g. With the tub?" in text and "129 % of the portion, 166 % of what is due." in text
    assert not Ticket.objects.filter(kind="hand_out").exists()
    assert f'name="key" value="{sent["key"]}"' in asked.content.decode()
    stamp = steward.post(url_of(day.portions["17"]), {**sent, "answer": "tub"}, follow=True)
    assert "Handed out 155 g" in plain(stamp)


def test_a_reason_keeps_it_and_no_reason_asks_for_one(cast: Any, day: Day, steward: Any) -> None:
    sent = typed(cast, day, "258", answer="reason", question_reason=" ")
    again = steward.post(url_of(day.portions["17"]), sent)
    assert "Say why, in a few words." in plain(again) and 'value="258"' in again.content.decode()
    stamp = steward.post(url_of(day.portions["17"]), {**sent, "question_reason": "two beds"}, follow=True)
    assert "Handed out 258 g" in plain(stamp) and "two beds" in plain(stamp)


def test_weighing_again_keeps_all_but_the_reading(cast: Any, day: Day, steward: Any) -> None:
    page = send(steward, cast, day, "258", home="45", answer="again")
    form = page.context["form"]
    assert form["home"].value() == "45" and not form["reading"].value()
    assert "Hand out 155 g" in plain(page) and not Collection.objects.exists()


@pytest.mark.parametrize(
    "reading", ["", "x", "-5", "0", "NaN", "1e9", "12 m", "9" * 50, "1.500", "٣", "155 kg 3"]
)
def test_a_reading_that_is_none_stays_typed_and_says_so(
    cast: Any, day: Day, steward: Any, reading: str
) -> None:
    page = send(steward, cast, day, reading, home="45")
    assert page.status_code == 200 and page.context["form"].errors.get("reading")
    assert page.context["form"]["home"].value() == "45"
    assert (page.context["form"]["reading"].value() or "") == reading
    assert not Collection.objects.exists()


def test_two_readings_are_asked_back(cast: Any, day: Day, steward: Any) -> None:
    assert "Which did you mean?" in plain(send(steward, cast, day, "1.500"))
    assert "1.500 kg. Is that right?" in plain(send(steward, cast, day, "1.500", reading_reading="1500"))
    assert not Collection.objects.exists()


def test_who_lost_the_race_is_told_by_whom_with_the_typing_kept(
    cast: Any, day: Day, steward: Any, as_: Any
) -> None:
    other = as_(cast.second_steward)
    send(other, cast, day, "200")
    page = send(steward, cast, day, "200", home="")
    text = plain(page)
    assert "Sanne handed 200 g to Henna" in text and "nothing is left of its portion" in text
    assert "You typed 200 g." in text and "?told=1&amp;reading=200" in page.content.decode()
    assert (
        steward.get(url_of(day.portions["17"]), {"told": 1, "reading": "200"}).context["reading_mg"]
        == 200_000
    )
    assert Collection.objects.count() == 1


def test_the_same_form_sent_twice_is_one_collection(cast: Any, day: Day, steward: Any) -> None:
    sent = typed(cast, day)
    ends = [steward.post(url_of(day.portions["17"]), sent)["Location"] for _ in range(3)]
    assert len(set(ends)) == 1 and Collection.objects.count() == 1


def test_a_held_pail_is_not_offered_and_the_act_says_why(cast: Any, day: Day, steward: Any) -> None:
    Place.objects.filter(kind="pail").update(gate=Gate.HELD)
    assert "Record: no released pail of this blend" in plain(steward.get(url_of(day.portions["17"])))
    page = send(steward, cast, day)
    assert page.context["form"].errors["pail"] and not Collection.objects.exists()


def test_the_opened_pail_with_enough_is_proposed(cast: Any, day: Day, steward: Any) -> None:
    Place.objects.filter(pail=day.pails[1]).update(opened=True)
    assert steward.get(url_of(day.portions["17"])).context["pail"] == "batch 1, pail 2"
    Place.objects.filter(pail=day.pails[0]).update(opened=True)
    assert steward.get(url_of(day.portions["17"])).context["pail"] == "batch 1, pail 1"


def test_somebody_else_collects_with_consent(cast: Any, day: Day, steward: Any) -> None:
    for _ in range(2):
        Person.objects.create(programme=cast.programme, name="Jan Novak")
    Person.objects.create(programme=cast.programme, name="Nán Okoye")
    more = {"someone": "1", "collector": "other", "consent": "letter of 1 May"}
    page = send(steward, cast, day, other="Jan Novak", **more)
    assert "2 persons fit" in plain(page)
    assert "Nobody here is called" in plain(send(steward, cast, day, other="Zz", **more))
    page = send(steward, cast, day, other="nan", **{**more, "consent": ""})
    assert "Say who agreed" in plain(page) and not Collection.objects.exists()
    assert "to Nán Okoye" in plain(send(steward, cast, day, other="nan", **more))


def test_another_programmes_person_or_pail_is_none_of_ours(cast: Any, day: Day, steward: Any) -> None:
    page = send(steward, cast, day, collector=str(cast.stranger.pk))
    assert page.context["form"].errors["collector"]
    page = send(steward, cast, day, pail="999999")
    assert page.context["form"].errors["pail"] and not Collection.objects.exists()


def test_what_was_handed_over_is_told_and_flagged(cast: Any, day: Day, steward: Any) -> None:
    send(steward, cast, day)
    page = send(steward, cast, day, told="1", when="2026-06-01T09:30")
    assert "Told: handed over 200 g" in plain(page) and "To settle:" in plain(page)
    assert Flag.objects.get().code == "twice"
    told = Collection.objects.order_by("-id")[0].ticket
    assert (
        told.happened_at.isoformat() == "2026-06-01T08:30:00+00:00"
    )  # half past nine in the programme's zone


def test_told_with_the_tub_is_asked_once(cast: Any, day: Day, steward: Any) -> None:
    sent = typed(cast, day, "258", told="1", when="2026-06-01T09:30")
    assert "With the tub?" in plain(steward.post(url_of(day.portions["17"]), sent))
    steward.post(url_of(day.portions["17"]), {**sent, "answer": "tub"})
    assert Collection.objects.get().net_mg == 200_000 and not Flag.objects.exists()


def test_a_closed_day_says_so_but_can_be_told(cast: Any, day: Day, steward: Any) -> None:
    MixingDay.objects.update(state="closed")
    assert "The day is closed. Plot 17 is still owed 200 g." in plain(steward.get(url_of(day.portions["17"])))
    assert "200 g stay owed" in plain(steward.get(reverse("desk", args=[cast.programme.pk, day.day.pk])))
    assert "The day is closed" in plain(send(steward, cast, day)) and not Collection.objects.exists()
    send(steward, cast, day, told="1", when="2026-06-01T09:30")
    assert Flag.objects.get().code == "late"


def test_a_closed_round_says_so(cast: Any, day: Day, steward: Any) -> None:
    Round.objects.update(state="closed")
    assert "The round is closed. Plot 17 is still owed 200 g." in plain(
        steward.get(url_of(day.portions["17"]))
    )
    assert (
        "nothing more is due from it" in plain(send(steward, cast, day)) and not Collection.objects.exists()
    )


def test_a_scale_in_ounces_is_read_in_ounces(cast: Any, day: Day, as_: Any) -> None:
    type(cast.programme).objects.update(units="us")
    page = send(as_(cast.steward), cast, day, "7.1")
    assert Collection.objects.get().reading_mg == 201_282 and "Handed out 7.1 oz" in plain(page)


def test_a_correction_stays_in_sight_struck_with_who_and_why(
    cast: Any, day: Day, steward: Any, as_: Any
) -> None:
    send(steward, cast, day, "120")
    wrong = Collection.objects.get()
    url = reverse("collection_correct", args=[cast.programme.pk, wrong.pk])
    sent = typed(cast, day, "210", reason="typed 120 for 210")
    page = as_(cast.second_steward).post(url, sent, follow=True)
    assert "Handed out 210 g" in plain(page) and "reversed by" in plain(page)
    old = plain(steward.get(reverse("collection", args=[cast.programme.pk, wrong.pk])))
    assert "Reversed by Sanne" in old and "typed 120 for 210" in old
    assert 'class="struck"' in steward.get(url_of(wrong.portion)).content.decode()


def test_a_correction_without_a_reason_keeps_the_typing(cast: Any, day: Day, steward: Any) -> None:
    send(steward, cast, day, "120")
    url = reverse("collection_correct", args=[cast.programme.pk, Collection.objects.get().pk])
    page = steward.post(url, typed(cast, day, "210", reason=""))
    assert "Say why, in a few words." in plain(page) and page.context["form"]["reading"].value() == "210"
    taken = steward.post(url, {"act": "reverse", "key": str(key()), "reason": "never came"}, follow=True)
    assert "was taken back" in plain(taken) and "The portion is due again." in plain(taken)


def test_one_visit_may_be_two_collections(cast: Any, as_: Any) -> None:
    plot, _, household = make_plot(cast.garden, "18", cast.holder)
    day = play_day(cast, [(cast.plot, cast.household, 200_000), (plot, household, 110_000)])
    page = send(as_(cast.steward), cast, day)
    assert "Also due: plot 18, 110 g" in plain(page)


def test_some_comes_back_and_the_tub_goes_with_the_plot(cast: Any, day: Day, steward: Any) -> None:
    send(steward, cast, day)
    back = reverse("take_back", args=[cast.programme.pk, day.portions["17"].pk])
    sent = {"key": str(key()), "reading": "50", "batch": str(day.batch.pk), "reason": ""}
    assert "Say why it comes back" in plain(steward.post(back, sent))
    steward.post(back, {**sent, "reason": "got wet"})
    assert day.tub(day.portions["17"]).balance_mg == 150_000
    over = reverse("hand_over", args=[cast.programme.pk, day.portions["17"].pk])
    assert "Nobody has taken plot 17 over yet." in plain(steward.get(over))


def test_the_sign_out_list_names_all_that_are_due_with_blanks(cast: Any, day: Day, steward: Any) -> None:
    page = steward.get(reverse("sign_out_list", args=[cast.programme.pk, day.day.pk]))
    text = plain(page)
    assert "17 Henna 200 g" in text and "Signature" in text and "Poison line: 555 0142." in text
    assert page.content.decode().count('class="blank') == 4


def test_an_auditor_reads_the_list_and_serves_nobody(cast: Any, day: Day, as_: Any) -> None:
    page = as_(cast.auditor).get(reverse("desk", args=[cast.programme.pk, day.day.pk])).content.decode()
    assert "Henna" in page and url_of(day.portions["17"]) not in page


@pytest.mark.parametrize("name", ["desk", "sign_out_list", "desk_plot", "collection"])
def test_pages_ask_as_many_questions_for_many_rows_as_for_few(
    cast: Any, as_: Any, name: str, django_assert_max_num_queries: Any
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    day = play_day(cast)
    given = desk.hand_out(
        portion=day.portions["17"],
        by=cast.steward,
        pail=day.pails[0],
        reading_mg=100_000,
        collected_by=cast.holder,
        key=key(),
    )
    args = {
        "desk": [day.day.pk],
        "sign_out_list": [day.day.pk],
        "desk_plot": [given.portion_id],
        "collection": [given.pk],
    }[name]
    url, client = reverse(name, args=[cast.programme.pk, *args]), as_(cast.steward)
    client.get(url)
    with CaptureQueriesContext(
        connection,
    ) as few:
        client.get(url)
    for n in range(15):
        person = make_person(cast.programme, f"Holder {n}", signs_in=False)
        plot, _, household = make_plot(cast.garden, f"4{n}", person)
        portion = make_portion(day.round, plot, household, 50_000)
        Member.objects.create(programme=cast.programme, household=cast.household, person=person)
        desk.hand_out(
            portion=portion,
            by=cast.steward,
            pail=day.pails[0],
            reading_mg=20_000,
            collected_by=person,
            key=key(),
        )
    with django_assert_max_num_queries(15):
        client.get(url)
    with CaptureQueriesContext(connection) as many:
        client.get(url)
    assert len(many) == len(few)
