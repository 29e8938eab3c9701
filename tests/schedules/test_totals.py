from __future__ import annotations

import csv
import datetime as dt
import html
import io
import re
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from blends import ledger
from blends.actions.settling import reverse_ticket, settle
from blends.models import Count, Flag, Place, PlaceKind, Ticket, TicketKind
from gardens import figures
from gardens.clock import today
from gardens.models import Household, Person
from schedules.actions import desk
from schedules.models import Collection
from schedules.queries.books import Wanted, place_page, ticket_list
from schedules.queries.totals import Totals, disagreement_mg, totals_of
from schedules.views.books import sheet
from tests.cast import make_garden, make_person, make_plot
from tests.play import Day, key, make_portion, move, play_day


def give(cast: Any, day: Day, label: str, grams: int, **more: Any) -> Collection:
    portion = day.portions[label]
    person = portion.household.members.order_by("id")[0].person
    given: dict[str, Any] = {
        "portion": portion, "by": cast.steward, "pail": day.pails[0], "reading_mg": grams * 1000,
        "collected_by": person, "key": key(),
    }  # fmt: skip
    return desk.hand_out(**{**given, **more})


@pytest.fixture
def day(cast: Any) -> Day:
    """38 kg came in; of four plots one did not come, one was corrected, one told twice; some was lost."""
    kiln = make_garden(cast.programme, "Kiln Field")
    due = [(cast.plot, cast.household, 200_000)]
    for label, name, garden in [("18", "=Ada", cast.garden), ("2", "Žofia", kiln), ("3", "Wei", kiln)]:
        plot, _, household = make_plot(garden, label, make_person(cast.programme, name, signs_in=False))
        due.append((plot, household, 110_000))
    day = play_day(cast, due)
    give(cast, day, "17", 200)
    wrong = give(cast, day, "18", 90)
    desk.correct_collection(
        collection=wrong, by=cast.organiser, key=key(), reason="typed 90 for 110", reading_mg=110_000
    )
    for _ in range(2):
        give(cast, day, "2", 110, told=True)
    desk.take_back(portion=day.portions["17"], by=cast.steward, mass_mg=30_000, key=key(), reason="got wet")
    lost = ledger.single(cast.programme, PlaceKind.LOST)
    move(cast.programme, cast.steward, TicketKind.LOSS, day.pail_place(), lost, 95_000, reason="spilt")
    slip = move(
        cast.programme, cast.steward, TicketKind.LOSS, day.pail_place(2), lost, 950_000, reason="spilt"
    )
    reverse_ticket(ticket=slip, by=cast.organiser, key=key(), reason="typed 950 for 95")
    supplier = ledger.single(cast.programme, PlaceKind.SUPPLIER)
    store = Place.objects.get(lot=day.lots[3])
    move(cast.programme, cast.organiser, TicketKind.SEND_BACK, store, supplier, 500_000, reason="torn bag")
    kept = move(cast.programme, cast.organiser, TicketKind.SEND_BACK, store, supplier, 250_000, reason="torn")
    reverse_ticket(ticket=kept, by=cast.organiser, key=key(), reason="it was not torn")
    move(
        cast.programme,
        cast.organiser,
        TicketKind.COUNT,
        store,
        ledger.single(cast.programme, PlaceKind.WASTE),
        7,
    )
    difference = ledger.single(cast.programme, PlaceKind.DIFFERENCE)
    move(
        cast.programme,
        cast.organiser,
        TicketKind.COUNT,
        difference,
        Place.objects.get(lot=day.lots[0]),
        130_001,
    )
    return day


def all_of(cast: Any) -> Totals:
    return totals_of(cast.programme, None, today(cast.programme))


def page(client: Any, name: str, *args: Any, **query: Any) -> str:
    response = client.get(reverse(name, args=args), query)
    assert response.status_code == 200
    return " ".join(
        html.unescape(re.sub(r"<svg.*?</svg>|<[^>]+>", " ", response.content.decode(), flags=re.S)).split()
    )


def test_what_came_in_is_what_there_is_to_the_milligram(cast: Any, day: Day) -> None:
    t = all_of(cast)
    assert (t.received_mg, t.found_mg, t.returned_mg, t.opening_mg) == (38_000_000, 130_001, 500_000, 0)
    assert {r.kind: r.now_mg for r in t.rows} == {
        "lot": 38_000_000 - 12_000_000 - 500_000 - 7 + 130_001,
        "pail": 12_000_000 - 200_000 - 110_000 - 220_000 - 95_000,
        "tub": 200_000 + 110_000 + 220_000 - 30_000,
        "taken_back": 30_000,
        "waste": 7,
        "lost": 95_000,
    }  # fmt: skip
    assert t.came_in_mg == t.is_now_mg == 38_130_001
    assert t.disagreement_mg == ledger.disagreement_mg(cast.programme) == 0


def test_every_figure_is_the_balance_of_its_places(cast: Any, day: Day) -> None:
    for row in all_of(cast).rows:
        assert row.now_mg == sum(Place.objects.filter(kind=row.kind).values_list("balance_mg", flat=True))


def test_a_disagreement_is_seen_as_the_ledger_sees_it(cast: Any, day: Day) -> None:
    Place.objects.filter(pk=day.pail_place().pk).update(balance_mg=1)
    Place.objects.filter(kind="lost").update(balance_mg=95_003)
    off = 12_000_000 // 2 - 200_000 - 110_000 - 220_000 - 95_000 - 1 + 3
    assert disagreement_mg(cast.programme) == ledger.disagreement_mg(cast.programme) == off


def test_gardens_plots_and_persons_add_up_to_the_same(cast: Any, day: Day) -> None:
    t = all_of(cast)
    assert [(p.plot, p.handed_out_mg, p.taken_back_mg, p.now_mg) for p in t.plots] == [
        ("2", 220_000, 0, 220_000), ("17", 200_000, 30_000, 170_000), ("18", 110_000, 0, 110_000),
    ]  # fmt: skip
    assert [(p.name, p.plots, p.collections, p.took_mg) for p in t.persons] == [
        ("=Ada", ("18",), 1, 110_000), ("Henna", ("17",), 1, 200_000), ("Žofia", ("2",), 2, 220_000),
    ]  # fmt: skip
    assert sum(p.took_mg for p in t.persons) == t.handed_out_mg == 530_000
    for kind, name in [("lot", "store_mg"), ("pail", "pails_mg"), ("tub", "holders_mg")]:
        assert sum(getattr(g, name) for g in t.gardens) == t.row(kind).now_mg
    assert not any(p.other_mg for p in t.plots)


def test_who_came_and_who_did_not(cast: Any, day: Day) -> None:
    t = all_of(cast)
    assert [r.plot for r in t.came] == ["2", "17", "18"]
    assert [(r.plot, r.left_mg) for r in t.not_came] == [("3", 110_000)]
    assert t.owed_mg == 110_000


def test_a_later_span_states_what_was_there_at_its_start(cast: Any, day: Day) -> None:
    on = today(cast.programme)
    before, later = (
        totals_of(cast.programme, None, on),
        totals_of(cast.programme, on + dt.timedelta(1), on + dt.timedelta(9)),
    )
    assert later.opening_mg == before.is_now_mg - before.returned_mg == later.came_in_mg == later.is_now_mg
    assert (later.received_mg, later.found_mg, later.returned_mg, later.tickets) == (0, 0, 0, 0)
    assert (
        [r.opening_mg for r in later.rows]
        == [r.now_mg for r in before.rows]
        == [r.now_mg for r in later.rows]
    )
    assert not later.persons and not later.came and later.plots[0].opening_mg == 220_000


def test_a_reversal_counts_on_its_own_day_against_what_it_reverses(cast: Any) -> None:
    day = play_day(cast)
    on = today(cast.programme)
    collection = give(cast, day, "17", 200, told=True, happened_at=timezone.now() - dt.timedelta(days=3))
    desk.reverse_collection(collection=collection, by=cast.organiser, key=key(), reason="never came")
    old = totals_of(cast.programme, None, on - dt.timedelta(1))
    new = totals_of(cast.programme, on, on)
    assert (old.handed_out_mg, new.handed_out_mg) == (200_000, -200_000)
    assert old.came_in_mg == old.is_now_mg and new.came_in_mg == new.is_now_mg
    assert all_of(cast).persons[0].took_mg == 0


def test_a_tub_handed_over_stays_with_the_plot(cast: Any, day: Day) -> None:
    taker = Household.objects.create(programme=cast.programme, name="Next")
    desk.hand_over(
        plot=cast.plot,
        giver=cast.household,
        taker=taker,
        batch=day.batch,
        by=cast.steward,
        mass_mg=36_000,
        key=key(),
    )
    row = next(p for p in all_of(cast).plots if p.plot == "17")
    assert (row.now_mg, row.handed_over_mg) == (170_000, 0)


def test_nothing_yet_says_so(cast: Any, as_: Any) -> None:
    assert "Nothing has moved yet." in page(as_(cast.organiser), "totals", cast.programme.pk)


def test_the_page_and_the_sheet_show_the_same_figures(cast: Any, day: Day, as_: Any) -> None:
    client = as_(cast.auditor)
    text = page(client, "totals", cast.programme.pk).replace("\u202f", "").replace("\u2212", "-")
    response = client.get(reverse("totals_csv", args=[cast.programme.pk]))
    assert response.content.startswith(b"\xef\xbb\xbf") and "attachment" in response["Content-Disposition"]
    rows = list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))
    assert {
        "came in",
        "is now",
        "by garden",
        "by plot",
        "by person",
        "did not come",
        "books",
        "to settle",
    } <= {r["part"] for r in rows}
    for row in rows:
        if row["part"] in ("came in", "is now", "sum", "by garden", "by plot", "by person", "did not come"):
            assert re.search(rf"(?<![\d.]){re.escape(row['kg'])}(?![\d.])", text), row
        assert row["kg"] == figures.kilograms(int(row["mg"])).replace("\u202f", "").replace("\u2212", "-")
    left = sum(int(r["mg"]) for r in rows if r["part"] in ("at the start", "came in"))
    assert left == sum(int(r["mg"]) for r in rows if r["part"] == "is now") == 38_130_001


@pytest.mark.parametrize("name", ["=1+1", "+49 30", "-2", "@x", "\tx", "\rx"])
def test_no_name_is_a_formula_in_a_sheet(cast: Any, day: Day, as_: Any, name: str) -> None:
    Person.objects.filter(name="=Ada").update(name=name)
    response = as_(cast.organiser).get(reverse("totals_csv", args=[cast.programme.pk]))
    cells = [
        c for row in csv.reader(io.StringIO(response.content.decode("utf-8-sig"), newline="")) for c in row
    ]
    assert f"'{name}" in cells and name not in cells


def test_a_figure_below_zero_stays_a_number_in_the_sheet(cast: Any, as_: Any) -> None:
    day = play_day(cast)
    difference = ledger.single(cast.programme, PlaceKind.DIFFERENCE)
    move(cast.programme, cast.organiser, TicketKind.COUNT, day.pail_place(), difference, 4_000)
    line = next(r for r in sheet(all_of(cast)) if r[1] == "Found, less short")
    assert (str(line[5]), line[6]) == ("-0.004", -4_000)
    client = as_(cast.organiser)
    assert (
        "came in,-0.004" not in client.get(reverse("totals_csv", args=[cast.programme.pk])).content.decode()
    )
    assert "Short" in page(client, "totals", cast.programme.pk)


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        ("x", "", "As in"),
        ("2026-07-01", "2026-06-01", "The last day comes before the first."),
        ("31 Feb", "", ""),
    ],
)
def test_a_span_that_is_none_is_told_and_stays_typed(
    cast: Any, day: Day, as_: Any, first: str, last: str, said: str
) -> None:
    response = as_(cast.organiser).get(
        reverse("totals", args=[cast.programme.pk]), {"first": first, "last": last}
    )
    assert response.context["t"].first is None and f'value="{first}"' in response.content.decode()
    assert said in html.unescape(response.content.decode()) and 'role="alert"' in response.content.decode()
    wrong = as_(cast.organiser).get(
        reverse("totals_csv", args=[cast.programme.pk]), {"first": first, "last": last}
    )
    assert wrong.status_code == 404


# ---------- the tickets behind ----------


FIGURES = ["lot", "pail", "tub", "taken_back", "waste", "lost", "received", "returned", "difference"]


@pytest.mark.parametrize("kind", FIGURES)
def test_each_figure_is_the_sum_of_the_tickets_behind_it(cast: Any, day: Day, kind: str) -> None:
    on = today(cast.programme)
    t, behind = all_of(cast), ticket_list(cast.programme, None, on, Wanted(kind))
    named = {
        "received": (t.received_mg, t.received_tickets),
        "returned": (t.returned_mg, t.returned_tickets),
        "difference": (t.found_mg, t.found_tickets),
    }
    figure = named[kind] if kind in named else (t.row(kind).now_mg, t.row(kind).tickets)
    assert (behind.now_mg, len(behind.rows)) == figure
    assert sum(r.mass_mg for r in behind.rows) == behind.sum_mg
    later = ticket_list(cast.programme, on + dt.timedelta(1), on + dt.timedelta(2), Wanted(kind))
    assert later.rows == [] and later.now_mg == (0 if kind in named else figure[0])


def test_the_tickets_of_a_plot_a_garden_and_a_person(cast: Any, day: Day) -> None:
    on = today(cast.programme)
    wei = Person.objects.get(name="Žofia")
    plot = ticket_list(cast.programme, None, on, Wanted("tub", plot=cast.plot))
    garden = ticket_list(cast.programme, None, on, Wanted("pail", garden=cast.garden))
    person = ticket_list(cast.programme, None, on, Wanted("tub", person=wei))
    assert (plot.now_mg, person.now_mg, len(person.rows)) == (170_000, 220_000, 2)
    assert garden.now_mg == all_of(cast).row("pail").now_mg


def test_a_figure_opens_its_tickets_down_to_weighing_lot_and_person(cast: Any, day: Day, as_: Any) -> None:
    client = as_(cast.auditor)
    text = page(client, "tickets", cast.programme.pk, kind="lost")
    assert "Lost, 95 g: 3 tickets." in text and "reversed by" in text and "typed 950 for 95" in text
    weighed = Ticket.objects.filter(kind=TicketKind.WEIGH_OUT).order_by("id")[2]
    text = page(client, "ticket", cast.programme.pk, weighed.pk)
    assert "Trace concentrate, lot L03." in text and "Witness: Sanne." in text and "Balance 0 g" in text
    text = page(client, "place", cast.programme.pk, day.pail_place().pk)
    assert "Trace concentrate, lot L03" in text and "Tub of plot 17, Lock Lane" in text and "Henna" in text


def test_the_trace_goes_both_ways_and_forgets_what_was_reversed(cast: Any, day: Day) -> None:
    lot = Place.objects.get(lot=day.lots[2])
    reached = place_page(lot).went_to
    assert {r.place.plot.label for r in reached if r.place.plot} == {"17", "18", "2"}
    tub = place_page(day.tub(day.portions["17"]))
    assert {r.place.lot_id for r in tub.came_from if r.place.lot_id} == {lot.pk for lot in day.lots}
    for collection in Collection.objects.filter(portion=day.portions["2"]):
        desk.reverse_collection(collection=collection, by=cast.organiser, key=key(), reason="no")
    assert {r.place.plot.label for r in place_page(lot).went_to if r.place.plot} == {"17", "18"}


@pytest.mark.parametrize("query", ["kind=x", "plot=x", "plot=999999", "person=²", "garden=" + "9" * 30])
def test_tickets_of_nothing_known_are_not_found(cast: Any, as_: Any, query: str) -> None:
    assert (
        as_(cast.organiser).get(reverse("tickets", args=[cast.programme.pk]) + "?" + query).status_code == 404
    )


def test_a_plain_ticket_is_taken_back_by_the_organiser(cast: Any, day: Day, as_: Any) -> None:
    lost = Ticket.objects.filter(kind=TicketKind.LOSS).order_by("id")[0]
    url = reverse("ticket_reverse", args=[cast.programme.pk, lost.pk])
    client = as_(cast.organiser)
    assert "Say why, in a few words." in client.post(url, {"key": key(), "reason": ""}).content.decode()
    assert client.post(url, {"key": key(), "reason": "it was sand"}).status_code == 302
    assert all_of(cast).row("lost").now_mg == 0
    again = client.post(url, {"key": key(), "reason": "it was sand"})
    assert "already reversed" in again.content.decode()


# ---------- to settle ----------


def test_what_stands_is_listed_by_name_and_settled_with_one_act(cast: Any, day: Day, as_: Any) -> None:
    client, flag = as_(cast.organiser), Flag.objects.get()
    text = page(client, "to_settle", cast.programme.pk)
    assert (
        "1 thing stands to settle." in text
        and "More was handed out than the portion" in text
        and "Žofia" in text
    )
    url = reverse("settle", args=[cast.programme.pk, flag.pk])
    assert "Say what is known about it" in client.post(url, {"reason": " "}).content.decode()
    assert client.post(url, {"reason": "she has two beds"}).status_code == 302
    assert "Nothing stands to settle." in page(client, "to_settle", cast.programme.pk)
    assert "she has two beds" in page(client, "to_settle", cast.programme.pk)
    assert all_of(cast).row("tub").now_mg == 500_000  # settling moves nothing


def test_who_settles_second_is_told_with_the_typing_kept(cast: Any, day: Day, as_: Any) -> None:
    flag = Flag.objects.get()
    settle(flag=flag, by=cast.organiser, reason="two beds")
    url = reverse("settle", args=[cast.programme.pk, flag.pk])
    text = as_(cast.organiser).post(url, {"reason": "mine"}).content.decode()
    assert "Orla settled it already: two beds" in text


# ---------- at count ----------


def test_differences_at_count_stand_beside_their_band(cast: Any, day: Day, as_: Any) -> None:
    for place, off in [(day.pail_place(), -2_000), (day.pail_place(2), 1_000)]:
        Count.objects.create(
            programme=cast.programme, place=place, day=day.day, counted_mg=place.balance_mg + off,
            book_mg=place.balance_mg, band_mg=3_000, weighings=27, by=cast.organiser, at=timezone.now(),
        )  # fmt: skip
    counted = all_of(cast).counted
    assert (counted.difference_mg, counted.band_mg, counted.weighings, counted.is_within) == (
        -1_000,
        4_242,
        54,
        True,
    )
    assert "Within weighing" in page(as_(cast.auditor), "totals", cast.programme.pk)


@pytest.mark.parametrize(
    "name", ["totals", "totals_csv", "tickets", "ticket", "place", "to_settle", "settle"]
)
def test_pages_ask_as_many_questions_for_many_rows_as_for_few(
    cast: Any, day: Day, as_: Any, name: str
) -> None:
    args: list[int] = {
        "ticket": [Collection.objects.order_by("id")[0].ticket_id], "place": [day.pail_place().pk],
        "settle": [Flag.objects.get().pk],
    }.get(name, [])  # fmt: skip
    url, client = reverse(name, args=[cast.programme.pk, *args]), as_(cast.organiser)
    client.get(url)
    with CaptureQueriesContext(connection) as few:
        client.get(url)
    for n in range(6):
        plot, _, household = make_plot(
            cast.garden, f"4{n}", make_person(cast.programme, f"H{n}", signs_in=False)
        )
        day.portions[f"4{n}"] = make_portion(day.round, plot, household, 50_000)
        for _ in range(2):
            give(cast, day, f"4{n}", 50, told=True)
    with CaptureQueriesContext(connection) as many:
        client.get(url)
    assert len(many) <= len(few) <= 15
