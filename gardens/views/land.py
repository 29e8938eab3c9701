"""Gardens, plots, beds, and who holds what."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from gardens import forms_land as forms
from gardens.access import Seat, To, find, own_plots, plot_for, take_seat
from gardens.actions import land, tenancies
from gardens.actions.people import add_person
from gardens.clock import today
from gardens.forms import attempt
from gardens.models import Bed, Feeding, Garden, Member, Person, Plot
from gardens.queries.land import garden_plots, gardens, plot_page
from gardens.views.pages import form_page, use_zone


def plot_here(request: HttpRequest, programme: int, pk: int, *, to_change: bool = False) -> tuple[Seat, Plot]:
    """`plot_for`, at this programme's address only."""
    seat, plot = plot_for(request, pk, to_change=to_change)
    if plot.programme_id != programme:
        raise Http404
    return seat, plot


def plot_cells(plot: Plot, *more: dict[str, str]) -> list[dict[str, str]]:
    return [{"label": "Garden", "value": plot.garden.name}, *more, {"label": "Plot", "value": plot.label}]


# Gardens


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def garden_list(request: HttpRequest, programme: int) -> HttpResponse:
    seat = take_seat(request, programme, to=To.READ)
    return render(request, "gardens/gardens.html", {"gardens": gardens(programme=seat.programme)})


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def garden_add(request: HttpRequest, programme: int) -> HttpResponse:
    seat = take_seat(request, programme, to=To.ORGANISE)
    form = forms.GardenForm(request.POST or None, near=use_zone(seat))
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        garden = attempt(form, lambda: land.add_garden(programme=seat.programme, by=seat.person, **values))
        if garden:
            messages.success(request, f"{garden.name} is here. Now its plots.")
            return redirect("garden", programme, garden.pk)
    return form_page(
        request,
        form,
        title="Add a garden",
        say="Which garden, and when is its season?",
        act="Add the garden",
        where=("Gardens",),
        back=reverse("land", args=[programme]),
        back_words="All gardens",
    )


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def garden(request: HttpRequest, programme: int, garden: int) -> HttpResponse:
    seat = take_seat(request, programme, to=To.READ)
    found = find(seat, Garden, garden)
    lines = garden_plots(garden=found, day=use_zone(seat))
    cells = [
        {"label": "Garden", "value": found.name},
        {"label": "Plots", "value": str(len(lines))},
        {"label": "Beds", "value": str(sum(line.beds for line in lines))},
    ]
    unheld = [line for line in lines if line.next_step]
    context = {"garden": found, "lines": lines, "cells": cells, "unheld": unheld}
    return render(request, "gardens/garden.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def garden_change(request: HttpRequest, programme: int, garden: int) -> HttpResponse:
    seat = take_seat(request, programme, to=To.ORGANISE)
    found = find(seat, Garden, garden)
    form = forms.GardenForm.of(found, request.POST or None, near=found.first_feed)
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        if attempt(form, lambda: land.change_garden(garden=found, by=seat.person, **values)):
            messages.success(request, "The garden's year is kept.")
            return redirect("garden", programme, garden)
    return form_page(
        request,
        form,
        title="Name and season",
        say=f"When is the season of {found.name}?",
        act="Keep the season",
        under="Feeding starts and stops by these weeks. What a freeze has fixed stays.",
        where=(found.name,),
        back=reverse("garden", args=[programme, garden]),
        back_words=f"Back to {found.name}",
    )


# Plots


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def plot_add(request: HttpRequest, programme: int, garden: int) -> HttpResponse:
    seat = take_seat(request, programme, to=To.ORGANISE)
    found = find(seat, Garden, garden)
    form = forms.PlotForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        values = {"label": form.cleaned_data["label"], "size_text": form.written("size")}
        plot = attempt(
            form, lambda: land.add_plot(programme=seat.programme, by=seat.person, garden=found, **values)
        )
        if plot:
            messages.success(request, f"Plot {plot.label} is here.")
            return redirect("plot_land", programme, plot.pk)
    return form_page(
        request,
        form,
        title="Add a plot",
        say=f"Which plot of {found.name}?",
        act="Add the plot",
        where=(found.name,),
        back=reverse("garden", args=[programme, garden]),
        back_words=f"Back to {found.name}",
    )


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def plot_change(request: HttpRequest, programme: int, plot: int) -> HttpResponse:
    seat = take_seat(request, programme, to=To.ORGANISE)
    found = find(seat, Plot.objects.select_related("garden"), plot)
    form = forms.PlotForm(request.POST or None, initial={"label": found.label, "size": found.size_text})
    if request.method == "POST" and form.is_valid():
        values = {"label": form.cleaned_data["label"], "size_text": form.written("size")}
        if attempt(form, lambda: land.change_plot(plot=found, by=seat.person, **values)):
            return redirect("plot_land", programme, plot)
    return form_page(
        request,
        form,
        title="Number and size",
        say=f"What is plot {found.label} called, and how big is it?",
        act="Keep the plot",
        where=(found.garden.name, f"Plot {found.label}"),
        **_back_to(found),
    )


def _back_to(plot: Plot) -> dict[str, Any]:
    address = reverse("plot_land", args=[plot.programme_id, plot.pk])
    return {"back": address, "back_words": f"Back to plot {plot.label}"}


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def plot_land(request: HttpRequest, programme: int, plot: int) -> HttpResponse:
    """A plot's ground: its beds and what grows on them, who holds it, and what it gets."""
    seat, found = plot_here(request, programme, plot)
    day = use_zone(seat)
    page = plot_page(plot=found, day=day)
    mine = seat.organises or found.pk in own_plots(seat, day)
    bare = next(
        (line.bed for line in page.beds if not line.plantings and line.bed.feeding == Feeding.BLEND), None
    )
    context = {
        "page": page,
        "plot": found,
        "may_change": mine,
        "bare": bare,
        "cells": plot_cells(found, {"label": "Beds", "value": str(len(page.beds))}),
        "today": day,
    }
    return render(request, "gardens/plot_land.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def plot_feeding(request: HttpRequest, programme: int, plot: int) -> HttpResponse:
    seat, found = plot_here(request, programme, plot, to_change=True)
    return _feeding(request, seat, found, found, f"Does plot {found.label} get the shared blend?")


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def bed_feeding(request: HttpRequest, programme: int, bed: int) -> HttpResponse:
    seat, found = bed_here(request, programme, bed)
    return _feeding(request, seat, found, found.plot, f"Does bed {found.name} get the shared blend?")


def _feeding(request: HttpRequest, seat: Seat, target: Plot | Bed, plot: Plot, say: str) -> HttpResponse:
    initial = {"feeding": target.feeding, "reason": target.feeding_reason}
    form = forms.FeedingForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        if attempt(form, lambda: land.set_feeding(target=target, by=seat.person, **values)):
            return redirect("plot_land", plot.programme_id, plot.pk)
    return form_page(
        request,
        form,
        title="What goes on here",
        say=say,
        act="Keep this answer",
        under="None means organic only, rich already, or not wanted; the reason stands on every list.",
        where=(plot.garden.name, f"Plot {plot.label}"),
        **_back_to(plot),
    )


# Beds


def bed_here(request: HttpRequest, programme: int, pk: int) -> tuple[Seat, Bed]:
    """A bed, for who may change its plot."""
    found = Bed.objects.select_related("plot__garden", "programme").filter(pk=pk, programme=programme).first()
    if found is None:
        raise Http404
    seat, _ = plot_here(request, programme, found.plot_id, to_change=True)
    return seat, found


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def bed_add(request: HttpRequest, programme: int, plot: int) -> HttpResponse:
    seat, found = plot_here(request, programme, plot, to_change=True)
    form = forms.BedForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        values = {
            "name": form.cleaned_data["name"],
            "size_text": form.written("size"),
            "drains": form.cleaned_data["drains"] == "yes",
        }
        beds = attempt(form, lambda: land.add_bed(plot=found, by=seat.person, **values))
        if beds:
            what = f"Bed {beds[0].name} is here." if len(beds) == 1 else f"{len(beds)} beds are here."
            messages.success(request, what)
            if len(beds) == 1 and not beds[0].is_pot:
                return redirect("planting_add", programme, beds[0].pk)
            return redirect("plot_land", programme, plot)
    return form_page(
        request,
        form,
        title="Add a bed",
        say="How big is the bed?",
        act="Save the bed",
        where=(found.garden.name, f"Plot {found.label}"),
        cells=plot_cells(found),
        **_back_to(found),
    )


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def bed(request: HttpRequest, programme: int, bed: int) -> HttpResponse:
    """Change a bed."""
    seat, found = bed_here(request, programme, bed)
    initial = {"name": found.name, "size": found.size_text, "drains": "yes" if found.drains else "no"}
    form = forms.BedChangeForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        values = {
            "name": form.cleaned_data["name"],
            "size_text": form.written("size"),
            "drains": form.cleaned_data["drains"] == "yes",
        }
        if attempt(form, lambda: land.change_bed(bed=found, by=seat.person, **values)):
            messages.success(request, f"Bed {found.name} is kept.")
            return redirect("plot_land", programme, found.plot_id)
    return form_page(
        request,
        form,
        title=f"Bed {found.name}",
        say=f"Bed {found.name} of plot {found.plot.label}.",
        act="Save the bed",
        under="What a freeze has fixed stays; a new size counts from the next round on.",
        where=(found.plot.garden.name, f"Plot {found.plot.label}"),
        template="gardens/bed.html",
        bed=found,
        **_back_to(found.plot),
    )


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def bed_end(request: HttpRequest, programme: int, bed: int) -> HttpResponse:
    seat, found = bed_here(request, programme, bed)
    form = forms.DayForm(request.POST or None, near=use_zone(seat), initial={"day": today(seat.programme)})
    if request.method == "POST" and form.is_valid():
        day = form.cleaned_data["day"]
        if attempt(form, lambda: land.end_bed(bed=found, by=seat.person, day=day)):
            messages.success(request, f"Bed {found.name} ends; what its soil got stays written.")
            return redirect("plot_land", programme, found.plot_id)
    return form_page(
        request,
        form,
        title=f"Take bed {found.name} away",
        say=f"Bed {found.name} is no more?",
        act="Take the bed away",
        under="What grows there ends with it. What its soil got stays written.",
        where=(found.plot.garden.name, f"Plot {found.plot.label}"),
        **_back_to(found.plot),
    )


# Who holds it


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def tenancy_change(request: HttpRequest, programme: int, plot: int) -> HttpResponse:
    """Who holds the plot from a day on; whoever held it until then ends that day."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    found = find(seat, Plot.objects.select_related("garden"), plot)
    day = use_zone(seat)
    form = forms.HolderForm(request.POST or None, programme=seat.programme, near=day, initial={"day": day})
    if request.method == "POST" and form.is_valid() and attempt(form, lambda: _pass_on(seat, found, form)):
        messages.success(request, f"Plot {found.label} has its new holder.")
        return redirect("plot_land", programme, plot)
    now = plot_page(plot=found, day=day).now
    return form_page(
        request,
        form,
        title="Who holds it",
        say=f"Who holds plot {found.label}?" if now is None else f"Who takes over plot {found.label}?",
        act="Keep the holder",
        under=f"{now.household.name} holds it now; that ends on the day below. The soil keeps its history."
        if now
        else "Others who share the plot are added afterwards.",
        where=(found.garden.name, f"Plot {found.label}"),
        cells=plot_cells(found),
        **_back_to(found),
    )


@transaction.atomic
def _pass_on(seat: Seat, plot: Plot, form: forms.HolderForm) -> Any:
    holder = _who(seat, form)
    return tenancies.pass_on(plot=plot, by=seat.person, persons=[holder], day=form.cleaned_data["day"])


def _who(seat: Seat, form: forms.WhoForm) -> Person:
    """The person known here that was chosen, else a new one."""
    if form.person is not None:
        return form.person
    name, contact = form.cleaned_data["name"], form.cleaned_data["contact"]
    return add_person(programme=seat.programme, by=seat.person, name=name, contact=contact)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def tenancy_end(request: HttpRequest, programme: int, plot: int) -> HttpResponse:
    seat = take_seat(request, programme, to=To.ORGANISE)
    found = find(seat, Plot.objects.select_related("garden"), plot)
    day = use_zone(seat)
    running = plot_page(plot=found, day=day).now
    if running is None:
        return redirect("plot_land", programme, plot)
    form = forms.DayForm(request.POST or None, near=day, initial={"day": day})
    if request.method == "POST" and form.is_valid():
        last = form.cleaned_data["day"]
        if attempt(form, lambda: tenancies.end_tenancy(tenancy=running, by=seat.person, day=last)):
            messages.success(request, f"Nobody holds plot {found.label} from then on: it has no demand.")
            return redirect("plot_land", programme, plot)
    return form_page(
        request,
        form,
        title="End the time on the plot",
        say=f"{running.household.name} leaves plot {found.label}?",
        act="End their time on the plot",
        under="The day is the first without them. Feeds after it are lost until somebody else holds it.",
        where=(found.garden.name, f"Plot {found.label}"),
        **_back_to(found),
    )


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def member_add(request: HttpRequest, programme: int, plot: int) -> HttpResponse:
    """One more who shares the plot."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    found = find(seat, Plot.objects.select_related("garden"), plot)
    now = plot_page(plot=found, day=use_zone(seat)).now
    if now is None:
        return redirect("tenancy_change", programme, plot)
    form = forms.WhoForm(request.POST or None, programme=seat.programme)
    if others := [plot.label for plot in tenancies.plots_of(now.household) if plot.pk != found.pk]:
        form.ask_about(f"plot{'s' if len(others) > 1 else ''} {tenancies.listed(others)}")
    if request.method == "POST" and form.is_valid():
        joined = attempt(form, lambda: _join(seat, now.household, form))
        if joined:
            return redirect("plot_land", programme, plot)
    return form_page(
        request,
        form,
        title="Who shares it",
        say=f"Who shares plot {found.label} with {now.household.name}?",
        act="Add them to the household",
        under="Any member of a household collects for its plots.",
        where=(found.garden.name, f"Plot {found.label}"),
        **_back_to(found),
    )


@transaction.atomic
def _join(seat: Seat, household: Any, form: forms.WhoForm) -> Member:
    return tenancies.join_household(
        household=household,
        by=seat.person,
        person=_who(seat, form),
        all_plots=form.cleaned_data.get("all_plots", False),
    )


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def member_leave(request: HttpRequest, programme: int, member: int) -> HttpResponse:
    seat = take_seat(request, programme, to=To.ORGANISE)
    found = find(seat, Member.objects.select_related("household", "person"), member)
    plot = Plot.objects.filter(tenancies__household=found.household_id).select_related("garden").first()
    day = use_zone(seat)
    form = forms.DayForm(request.POST or None, near=day, initial={"day": day})
    back = reverse("plot_land", args=[programme, plot.pk]) if plot else reverse("people", args=[programme])
    if request.method == "POST" and form.is_valid():
        last = form.cleaned_data["day"]
        if attempt(form, lambda: tenancies.leave_household(member=found, by=seat.person, day=last)):
            return redirect(back)
    return form_page(
        request,
        form,
        title="Leave the household",
        say=f"{found.person.name} no longer shares the plot?",
        act="Take them out",
        under="They no longer collect for it.",
        back=back,
        back_words="Back",
    )
