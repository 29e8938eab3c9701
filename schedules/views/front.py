"""The front door, and the programme's front page: how far it is to the mixing day."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from blends.views.pages import link
from gardens.access import Seat, To, own_plots, seats_of, take_seat
from gardens.clock import today
from gardens.models import Plot
from schedules.context import known_round
from schedules.front import way
from schedules.queries.front import front


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """Nobody signs in; one programme opens; several are chosen from; none is started."""
    if not request.user.is_authenticated:
        return redirect("login")
    seats = seats_of(request.user)
    if not seats:
        return redirect(link("start") or "login")
    if len(seats) == 1:
        return redirect("programme", programme=seats[0].programme.pk)
    return render(request, "schedules/home.html", {"seats": seats, "start": link("start")})


@login_required
@require_safe
def programme(request: HttpRequest, programme: int) -> HttpResponse:
    """How far it is, and what comes next; a holder goes straight to their plot."""
    seat = take_seat(request, programme, to=To.ENTER)
    if not seat.reads:
        return _holder(request, seat)
    found = front(seat.programme, known_round(request))
    context: dict[str, Any] = {"front": found, "way": way(found, seat), "today": today(seat.programme)}
    context["weeks"] = [
        {"start": start, "mg": mg, "assumed": guessed, "known": mg - guessed}
        for start, mg, guessed in (found.need.weeks if found.need else ())
    ]
    return render(request, "schedules/programme.html", context)


def _holder(request: HttpRequest, seat: Seat) -> HttpResponse:
    plots = Plot.objects.filter(pk__in=own_plots(seat)).select_related("garden")
    if len(plots) == 1:
        return redirect("plot", programme=seat.programme.pk, plot=plots[0].pk)
    return render(request, "schedules/my_plots.html", {"plots": plots})
