"""A plot's week, what is said about its feeding, everybody's week, own rates and lifted caps."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from blends.views.pages import link
from gardens.access import Seat, To, find, own_plots, plot_for, take_seat
from gardens.clock import today
from gardens.days import DayError, read_day
from gardens.forms import attempt
from gardens.models import Bed, Garden, Planting, Plot
from gardens.refusals import Refused
from gardens.views.pages import whole
from schedules.actions import rates as rate_acts
from schedules.actions.feeding import log_feed, log_feeds, undo_log
from schedules.forms_rounds import ExtraForm, LiftForm, OwnRateForm
from schedules.models import CapLift, FeedLog, LogKind, OwnRate
from schedules.queries.my_plot import PlotWeek, plot_week
from schedules.queries.week import week_of_all

MANY_PLOTS = 200


def _plot(request: HttpRequest, programme: int, pk: int, *, to_change: bool = False) -> tuple[Seat, Plot]:
    seat, plot = plot_for(request, pk, to_change=to_change)
    if plot.programme_id != programme:
        raise Http404
    return seat, plot


@login_required
@require_safe
def plot(request: HttpRequest, programme: int, plot: int) -> HttpResponse:
    """The holder's page: this week, bed by bed, and why."""
    seat, row = _plot(request, programme, plot)
    week = plot_week(row, _day(request, seat))
    mine = not seat.reads or (not seat.organises and row.pk in own_plots(seat))
    context = _shown(week, seat, may_log=seat.organises or mine)
    return render(request, "schedules/plot.html", context)


def _shown(week: PlotWeek, seat: Seat, *, may_log: bool) -> dict[str, Any]:
    here = today(seat.programme)
    grounds = [(d.key, d.title) for d in week.doses]
    return {
        "week": week,
        "plot": week.plot,
        "may_log": may_log,
        "extra": ExtraForm(grounds=grounds, day=here) if may_log and grounds else None,
        "land": link("plot_land", programme=seat.programme.pk, plot=week.plot.pk),
        "docket": [
            {"label": "Plot", "value": f"{week.plot.label}, {week.plot.garden.name}"},
            {"label": "Week of", "value": f"{week.first.day} {week.first:%b}"},
            {"label": "Feed", "value": week.feed_of},
        ],
        "before": week.first - dt.timedelta(weeks=1),
        "after": week.first + dt.timedelta(weeks=1),
        "today": here,
        "is_now": week.first <= here <= week.last,
    }


def _day(request: HttpRequest, seat: Seat) -> dt.date | None:
    """The day asked for in the address, or None for today."""
    try:
        return read_day(request.GET["day"], near=today(seat.programme)) if "day" in request.GET else None
    except DayError:
        return None


@login_required
@require_POST
def feed_log(request: HttpRequest, programme: int, plot: int) -> HttpResponse:
    """Fed or skipped, for one or several feeds ("p12@2026-07-06"); or an extra, by its form."""
    seat, row = _plot(request, programme, plot, to_change=True)
    kind = request.POST.get("kind", "")
    if kind == LogKind.EXTRA:
        return _extra(request, seat, row)
    try:
        said = [feed.partition("@") for feed in request.POST.getlist("feed")]
        grounds = [_ground(row, key) for key, _, _ in said]
        feeds = [(_iso(day), *ground) for (_, _, day), ground in zip(said, grounds, strict=True)]
        log_feeds(plot=row, by=seat.person, kind=kind, feeds=feeds)
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        told = "Skipped. Nothing is made up for it." if kind == LogKind.SKIPPED else "Noted as fed."
        messages.success(request, told)
    return redirect("plot", programme=programme, plot=row.pk)


def _extra(request: HttpRequest, seat: Seat, row: Plot) -> HttpResponse:
    week = plot_week(row)
    here = today(seat.programme)
    form = ExtraForm(request.POST, grounds=[(d.key, d.title) for d in week.doses], day=here)
    if form.is_valid():
        data = form.cleaned_data
        bed, planting = _ground(row, data["on"])
        made = attempt(
            form,
            lambda: log_feed(
                plot=row,
                by=seat.person,
                kind=LogKind.EXTRA,
                day=data["day"],
                bed=bed,
                planting=planting,
                mass_mg=data["mass"].milligrams,
            ),
        )
        if made:
            messages.success(request, "Noted. It is taken off the last feeds of the season.")
            return redirect("plot", programme=row.programme_id, plot=row.pk)
    context = _shown(week, seat, may_log=True) | {"extra": form}
    return render(request, "schedules/plot.html", context)


def _iso(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise Refused("day", "That day is not understood. Open the page afresh.", "day") from None


def _ground(row: Plot, key: str) -> tuple[Bed | None, Planting | None]:
    """The bed or planting that a key names; 404 for one of another plot."""
    kind, number = key[:1], whole(key[1:])
    if number is None:
        raise Http404
    if kind == "p":
        planting = Planting.objects.filter(programme=row.programme, bed__plot=row, pk=number)
        found = planting.select_related("bed").first()
        if found is None:
            raise Http404
        return found.bed, found
    if kind == "b":
        bed = Bed.objects.filter(programme=row.programme, plot=row, pk=number).first()
        if bed is None:
            raise Http404
        return bed, None
    if kind == "l" and number == row.pk:
        return None, None
    raise Http404


@login_required
@require_POST
def feed_undo(request: HttpRequest, programme: int, log: int) -> HttpResponse:
    """Take back what was said; it stays listed, undone."""
    entry = FeedLog.objects.filter(programme=programme, pk=log).first()
    if entry is None:
        take_seat(request, programme, to=To.ENTER)
        raise Http404
    seat, row = _plot(request, programme, entry.plot_id, to_change=True)
    try:
        undo_log(log=entry, by=seat.person)
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        messages.success(request, "Undone.")
    return redirect("plot", programme=programme, plot=row.pk)


@login_required
@require_safe
def week(request: HttpRequest, programme: int) -> HttpResponse:
    """What everybody puts on their beds this week; large programmes garden by garden."""
    seat = take_seat(request, programme, to=To.READ)
    day = _day(request, seat) or today(seat.programme)
    gardens = list(Garden.objects.filter(programme=seat.programme))
    chosen = next((g for g in gardens if str(g.pk) == request.GET.get("garden")), None)
    if chosen is None and len(gardens) > 1 and _many(seat):
        chosen = gardens[0]
    found = week_of_all(seat.programme, day, gardens=[g.pk for g in gardens if chosen in (None, g)])
    context = {
        "week": found,
        "gardens": gardens,
        "chosen": chosen,
        "before": found.first - dt.timedelta(weeks=1),
        "after": found.first + dt.timedelta(weeks=1),
    }
    return render(request, "schedules/week.html", context)


def _many(seat: Seat) -> bool:
    return Plot.objects.filter(programme=seat.programme)[: MANY_PLOTS + 1].count() > MANY_PLOTS


def _planting(seat: Seat, pk: int) -> Planting:
    return find(seat, Planting.objects.select_related("bed__plot__garden", "programme"), pk)


@login_required
@require_http_methods(["GET", "POST"])
def own_rate(request: HttpRequest, programme: int, planting: int) -> HttpResponse:
    """The organiser's own rate for one planting; an empty form with "drop" goes back to the default
    algorithm.
    """
    seat = take_seat(request, programme, to=To.ORGANISE)
    row = _planting(seat, planting)
    rate = OwnRate.objects.filter(planting=row).select_related("by").first()
    back = redirect("plot", programme=programme, plot=row.bed.plot_id)
    if request.method == "POST" and request.POST.get("drop"):
        try:
            rate_acts.drop_own_rate(planting=row, by=seat.person)
        except Refused as refusal:
            messages.error(request, refusal.message)
        return back
    form = OwnRateForm(request.POST or None, planting=row, row=rate)
    if request.method == "POST" and form.is_valid():
        made = attempt(form, lambda: rate_acts.set_own_rate(planting=row, by=seat.person, **form.values()))
        if made:
            messages.success(request, "The rate stands. What a cap takes off it, its working says.")
            return back
    return render(request, "schedules/own_rate.html", {"form": form, "planting": row, "rate": rate})


@login_required
@require_http_methods(["GET", "POST"])
def cap_lift(request: HttpRequest, programme: int, planting: int) -> HttpResponse:
    """Lift one named cap for one planting."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    row = _planting(seat, planting)
    back = link("plot", programme=programme, plot=row.bed.plot_id)
    return _lifting(request, seat, str(row), back, planting=row)


@login_required
@require_http_methods(["GET", "POST"])
def garden_lift(request: HttpRequest, programme: int, garden: int) -> HttpResponse:
    """Lift one named cap for a whole garden."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    row = find(seat, Garden, garden)
    back = link("garden", programme=programme, garden=row.pk) or link("week", programme=programme)
    return _lifting(request, seat, row.name, back, garden=row)


def _lifting(
    request: HttpRequest,
    seat: Seat,
    name: str,
    back: str,
    *,
    planting: Planting | None = None,
    garden: Garden | None = None,
) -> HttpResponse:
    of = CapLift.objects.filter(programme=seat.programme, planting=planting, garden=garden)
    lift = of.filter(ended_at=None).select_related("by").order_by("-pk").first()
    if request.method == "POST" and request.POST.get("end"):
        try:
            if lift is not None:
                rate_acts.end_lift(lift=lift, by=seat.person)
        except Refused as refusal:
            messages.error(request, refusal.message)
        return redirect(back)
    form = LiftForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        if attempt(
            form,
            lambda: rate_acts.lift_cap(
                by=seat.person, planting=planting, garden=garden, cap=data["cap"], reason=data["reason"]
            ),
        ):
            messages.success(request, "Lifted. The dose and its working say so.")
            return redirect(back)
    context = {"form": form, "name": name, "lift": lift, "back": back}
    return render(request, "schedules/cap_lift.html", context)
