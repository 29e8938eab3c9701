"""Afterwards: totals, the tickets behind each figure, places, and what is to settle."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterator
from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from blends.actions import settling
from blends.models import Flag, Place, PlaceKind, Ticket, TicketKind
from gardens import figures
from gardens.access import Seat, To, find, take_seat
from gardens.clock import today
from gardens.forms import attempt
from gardens.models import Garden, Person, Plot
from schedules.forms_desk import ReverseForm, SettleForm, SpanForm
from schedules.queries import books
from schedules.queries.totals import Totals, to_settle_list, totals_of


@login_required
@require_GET
def totals(request: HttpRequest, programme: int) -> HttpResponse:
    """Where the mass went in a span, to the milligram."""
    seat = take_seat(request, programme, to=To.REPORT)
    form, first, last = _span(request, seat)
    found = totals_of(seat.programme, first, last)
    context = {
        "form": form,
        "t": found,
        "span": _query(first, last),
        "came_in": _came_in(found),
        "is_now": _is_now(found),
    }
    return render(request, "schedules/totals.html", context)


@login_required
@require_GET
def totals_csv(request: HttpRequest, programme: int) -> HttpResponse:
    """The same figures as a sheet: UTF-8 with a mark, and no cell that a sheet would run."""
    seat = take_seat(request, programme, to=To.REPORT)
    form, first, last = _span(request, seat)
    if form.is_bound and not form.is_valid():
        raise Http404
    found = totals_of(seat.programme, first, last)
    text = io.StringIO()
    csv.writer(text).writerows([[safe(cell) for cell in line] for line in sheet(found)])
    response = HttpResponse("\ufeff" + text.getvalue(), content_type="text/csv; charset=utf-8")
    name = f"totals-{first or found.began or last}-to-{last}.csv"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


class Plain(str):
    """A figure of our own making: never quoted."""


def safe(cell: object) -> str:
    """A text that a sheet could take for a formula is quoted; our own figures are not text."""
    if isinstance(cell, int | Plain):
        return str(cell)
    text = str(cell)
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def kg(mg: int) -> str:
    """As the page prints it, in the plain characters of a sheet."""
    return figures.kilograms(mg).replace(figures.THIN, "").replace(figures.MINUS, "-")


def sheet(t: Totals) -> Iterator[list[object]]:
    """The lines of the CSV: what, where, who, kg as on the page, mg exactly, tickets."""

    def line(
        part: str,
        what: str,
        mg: int,
        tickets: int | str = "",
        garden: str = "",
        plot: str = "",
        person: str = "",
    ) -> list[object]:
        return [part, what, garden, plot, person, Plain(kg(mg)), mg, tickets]

    yield ["part", "what", "garden", "plot", "person", "kg", "mg", "tickets"]
    if t.first:
        for r in t.rows:
            yield line("at the start", r.words, r.opening_mg)
    yield line("came in", "Received", t.received_mg, t.received_tickets)
    yield line("came in", "Found, less short", t.found_mg, t.found_tickets)
    for r in t.rows:
        yield line("is now", r.words, r.now_mg, r.tickets)
    yield line("is now", "Returned to supplier", t.returned_mg, t.returned_tickets)
    yield line("sum", "All that came in", t.came_in_mg, t.tickets)
    yield line("sum", "All that is now", t.is_now_mg)
    for g in t.gardens:
        yield line("by garden", "In store", g.store_mg, garden=g.name)
        yield line("by garden", "In pails", g.pails_mg, garden=g.name)
        yield line("by garden", "With holders", g.holders_mg, garden=g.name)
    for p in t.plots:
        yield line("by plot", "Handed out", p.handed_out_mg, garden=p.garden, plot=p.plot)
        yield line("by plot", "Handed over", p.handed_over_mg, garden=p.garden, plot=p.plot)
        yield line("by plot", "Taken back", p.taken_back_mg, garden=p.garden, plot=p.plot)
        yield line("by plot", "With holders", p.now_mg, garden=p.garden, plot=p.plot)
    for who in t.persons:
        yield line(
            "by person", "Took", who.took_mg, who.collections, plot=", ".join(who.plots), person=who.name
        )
    for row in t.came:
        yield line("came", "Had", row.had_mg, garden=row.garden, plot=row.plot, person=row.names[0])
        if row.left_mg:
            yield line("came", "Owed", row.left_mg, garden=row.garden, plot=row.plot, person=row.names[0])
    for row in t.not_came:
        yield line("did not come", "Owed", row.left_mg, garden=row.garden, plot=row.plot, person=row.names[0])
    yield line("books", "Difference at count", t.counted.difference_mg, t.counted.weighings)
    yield line("books", "Band of weighing", t.counted.band_mg)
    for flag in t.flags:
        yield line("to settle", str(flag.get_code_display()), flag.mass_mg, str(flag.ticket))
    yield line("books", "Disagreement", t.disagreement_mg)


def _span(request: HttpRequest, seat: Seat) -> tuple[SpanForm, dt.date | None, dt.date]:
    """From and to as asked; what cannot be read leaves the whole time until today, with the error shown."""
    day = today(seat.programme)
    asked = {"first", "last"} & set(request.GET)
    form = SpanForm(request.GET if asked else None, near=day)
    if asked and form.is_valid():
        return form, form.cleaned_data.get("first"), form.cleaned_data.get("last") or day
    return form, None, day


def _query(first: dt.date | None, last: dt.date) -> str:
    return f"first={first.isoformat()}&last={last.isoformat()}" if first else f"last={last.isoformat()}"


def _came_in(t: Totals) -> list[dict[str, Any]]:
    pieces = [
        {"words": "at the start", "mg": t.opening_mg, "kind": "hatch"},
        {"words": "received", "mg": t.received_mg, "kind": "open"},
    ]
    return [*pieces, {"words": "found", "mg": max(t.found_mg, 0), "kind": "solid"}]


def _is_now(t: Totals) -> list[dict[str, Any]]:
    kinds = {PlaceKind.LOT: "open", PlaceKind.TUB: "solid"}
    pieces: list[dict[str, Any]] = [
        {
            "words": r.words[:1].lower() + r.words[1:],
            "mg": r.now_mg,
            "kind": kinds.get(PlaceKind(r.kind), "hatch"),
        }
        for r in t.rows
    ]
    pieces.append({"words": "returned to supplier", "mg": t.returned_mg, "kind": "hatch"})
    return [*pieces, {"words": "short", "mg": max(-t.found_mg, 0), "kind": "solid"}]


@login_required
@require_GET
def tickets(request: HttpRequest, programme: int) -> HttpResponse:
    """The tickets behind one figure."""
    seat = take_seat(request, programme, to=To.REPORT)
    _, first, last = _span(request, seat)
    kind = request.GET.get("kind", "")
    if kind and kind not in books.KINDS:
        raise Http404
    wanted = books.Wanted(
        kind,
        _asked(seat, request, "garden", Garden),
        _asked(seat, request, "plot", Plot),
        _asked(seat, request, "person", Person),
    )
    found = books.ticket_list(seat.programme, first, last, wanted, request.GET.get("page", 1))
    query = request.GET.copy()
    query.pop("page", None)
    context = {
        "found": found,
        "first": first,
        "last": last,
        "span": _query(first, last),
        "query": query.urlencode(),
    }
    return render(request, "schedules/tickets.html", context)


def _asked(seat: Seat, request: HttpRequest, name: str, model: type[Any]) -> Any:
    text = request.GET.get(name, "")
    if not text:
        return None
    if not text.isascii() or not text.isdecimal() or len(text) > 18:
        raise Http404
    return find(seat, model, int(text))


@login_required
@require_GET
def ticket(request: HttpRequest, programme: int, pk: int) -> HttpResponse:
    """One ticket: its lines, and how each number came about."""
    seat = take_seat(request, programme, to=To.REPORT)
    found = find(seat, Ticket.objects.select_related(*books.TICKET_PARTS), pk)
    reversible = (
        seat.organises and found.kind in settling.PLAIN and getattr(found, "reversed_by", None) is None
    )
    context = {
        "page": books.ticket_page(found),
        "ticket": found,
        "reversed": getattr(found, "reversed_by", None),
        "collection": getattr(found, "collection", None),
        "weigh_out": getattr(found, "weigh_out", None),
        "count": getattr(found, "count", None),
        "reversible": reversible,
    }
    return render(request, "schedules/ticket.html", context)


@login_required
@require_http_methods(["GET", "POST"])
def ticket_reverse(request: HttpRequest, programme: int, pk: int) -> HttpResponse:
    """Take a plain ticket back."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    found = find(seat, Ticket.objects.select_related("by"), pk)
    form = ReverseForm(request.POST or None)
    if form.is_valid():
        data = form.cleaned_data
        done = attempt(
            form,
            lambda: settling.reverse_ticket(
                ticket=found, by=seat.person, key=data["key"], reason=data["reason"]
            ),
        )
        if done:
            return redirect("ticket", programme, pk)
    context = {"form": form, "ticket": found, "page": books.ticket_page(found)}
    return render(request, "schedules/ticket_reverse.html", context)


@login_required
@require_GET
def place(request: HttpRequest, programme: int, pk: int) -> HttpResponse:
    """One place: its balance, what went in and out, where it came from and went to."""
    seat = take_seat(request, programme, to=To.REPORT)
    found = find(seat, Place.objects.select_related(*books.PLACE_PARTS), pk)
    return render(request, "schedules/place.html", {"page": books.place_page(found), "place": found})


@login_required
@require_GET
def to_settle(request: HttpRequest, programme: int) -> HttpResponse:
    """What stands in difference, or needs a word; by name."""
    seat = take_seat(request, programme, to=To.REPORT)
    context = {
        "flags": to_settle_list(seat.programme),
        "settled": to_settle_list(seat.programme, settled=True)[:50],
    }
    return render(request, "schedules/to_settle.html", context)


@login_required
@require_http_methods(["GET", "POST"])
def settle(request: HttpRequest, programme: int, pk: int) -> HttpResponse:
    """Say what is known about one of them."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    flag = find(
        seat, Flag.objects.select_related("ticket__by", *(f"place__{p}" for p in books.PLACE_PARTS)), pk
    )
    form = SettleForm(request.POST or None)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        if attempt(form, lambda: settling.settle(flag=flag, by=seat.person, reason=reason)):
            return redirect("to_settle", programme)
    context = {"form": form, "flag": flag, "page": books.ticket_page(flag.ticket)}
    return render(
        request, "schedules/settle.html", context | {"corrects": flag.ticket.kind == TicketKind.HAND_OUT}
    )
