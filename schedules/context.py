"""The "Go to" list of a page inside a programme: what the seat may open, each line with its state."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.functional import SimpleLazyObject

from gardens.access import Seat, own_plots
from gardens.models import Plot
from schedules.models import Round, RoundState
from schedules.queries.front import newest_round


def contents(request: HttpRequest) -> dict[str, Any]:
    """``contents``: [{url, name, state}], worked out when a page draws it; one query."""
    seat = getattr(request, "seat", None)
    if seat is None:
        return {}
    return {"contents": SimpleLazyObject(lambda: lines_for(seat, known_round(request)))}


def known_round(request: HttpRequest) -> Round | None:
    """The newest round, asked for once in a request, and only where somebody reads it."""
    seat: Seat = request.seat  # type: ignore[attr-defined]
    if not seat.reads:
        return None
    if not hasattr(request, "newest_round"):
        request.newest_round = newest_round(seat.programme)  # type: ignore[attr-defined]
    return request.newest_round  # type: ignore[attr-defined,no-any-return]


def lines_for(seat: Seat, round: Round | None) -> list[dict[str, str]]:
    lines: list[dict[str, str]] = []

    def add(name: str, words: str, state: str = "", **kwargs: Any) -> None:
        try:
            url = reverse(name, kwargs={"programme": seat.programme.pk, **kwargs})
        except NoReverseMatch:
            return
        lines.append({"url": url, "name": words, "state": state})

    if not seat.reads:
        for plot in Plot.objects.filter(pk__in=own_plots(seat)).select_related("garden"):
            add("plot", f"Plot {plot.label}", plot.garden.name, plot=plot.pk)
        return lines
    add("programme", "How far we are", "front page")
    if round is not None:
        add("round", f"Round {round.number}", str(round.get_state_display()), round=round.pk)
    add("rounds", "All rounds", "" if round is not None else "none yet")
    day = round.mixing_day if round is not None else None
    if day is not None:
        add("day", "Mixing day", f"{day.day.day} {day.day:%B}", day=day.pk)
        if seat.mixes:
            served = "open" if day.is_open and _frozen(round) else "closed" if not day.is_open else "not yet"
            add("desk", "Desk", served, day=day.pk)
    add("days", "All mixing days")
    add("week", "Everybody’s week", "what goes on the beds")
    add("blends", "Blends", str(round.revision) if round is not None else "")
    add("stock", "Shed", "lots and bags")
    if seat.reports:
        add("totals", "Totals", "supply")
        add("to_settle", "To settle", "by name")
    if seat.organises:
        add("land", "Gardens and plots")
        add("people", "People", "roles, invitations")
        add("programme_settings", "Settings", seat.programme.name)
    return lines


def _frozen(round: Round | None) -> bool:
    return round is not None and round.state == RoundState.FROZEN
