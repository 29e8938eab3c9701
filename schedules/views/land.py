"""Beginning a programme, what was understood, and what grows where."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from gardens.access import Seat, own_plots
from gardens.actions import land
from gardens.clock import today
from gardens.echoes import READERS, understood
from gardens.forms import attempt
from gardens.forms_land import DayForm
from gardens.forms_people import ProgrammeStartForm, SignUpForm
from gardens.models import Planting, Programme, User
from gardens.views.accounts import BACKEND
from gardens.views.land import bed_here, plot_cells, plot_here
from gardens.views.pages import form_page, use_zone
from schedules import crops
from schedules.actions.founding import found, found_with_account
from schedules.actions.plantings import register_planting
from schedules.forms_land import PlantingChangeForm, PlantingForm
from schedules.queries.planting import crop_words, dates_of


def start(request: HttpRequest) -> HttpResponse:
    """Name a programme; with an account for who has none."""
    known = request.user if request.user.is_authenticated else None
    form = (ProgrammeStartForm if known else SignUpForm)(request.POST or None)
    if request.method == "POST" and form.is_valid():
        values: dict[str, Any] = form.cleaned_data
        begun = attempt(form, lambda: _begin(known, values))
        if begun:
            user, programme = begun
            if not known:
                login(request, user, backend=BACKEND)
            messages.success(request, f"{programme.name} is here. Next: its gardens and plots.")
            return redirect("bring_in", programme.pk)
    return form_page(
        request,
        form,
        title="Begin a programme",
        say="What is the programme called?",
        act="Begin the programme",
        under="You become its organiser. Everything here can be changed later.",
        where=("Begin",),
        back="" if known else reverse("login"),
        back_words="I have an account: sign in",
    )


def _begin(user: User | None, values: dict[str, Any]) -> tuple[User, Programme]:
    return (user, found(user=user, **values)) if user else found_with_account(**values)


def _crop(text: str, unit: str | None) -> str:
    crop = crops.find(text)
    return f"{crop.name if crop else text}, {crop_words(crop)}"


@require_safe
def echo(request: HttpRequest) -> HttpResponse:
    """What was understood of a quantity, a day or a crop; the inner HTML of the line under a box."""
    text = request.GET.get(request.GET.get("field", ""), "")[:300]
    readers = {**READERS, "crop": _crop}
    return HttpResponse(understood(request.GET.get("kind", ""), text, readers))


# What grows where


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def planting_add(request: HttpRequest, programme: int, bed: int) -> HttpResponse:
    seat, found_bed = bed_here(request, programme, bed)
    use_zone(seat)
    form = PlantingForm(request.POST or None, near=found_bed.plot.garden.first_feed)
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        planting = attempt(
            form,
            lambda: register_planting(
                bed=found_bed,
                by=seat.person,
                crop_text=values["crop"],
                sown=values["how"] == "sown",
                day=values["day"],
                ends_on=values["ends_on"],
                share=values["share"],
                feed_on_request=values["feed_on_request"],
            ),
        )
        if planting:
            messages.success(request, f"{planting.crop_name} is on bed {found_bed.name}.")
            return redirect("planting", programme, planting.pk)
    plot = found_bed.plot
    return form_page(
        request,
        form,
        title="What grows here",
        say=f"What grows in bed {found_bed.name}?",
        act="Save the planting",
        where=(plot.garden.name, f"Plot {plot.label}"),
        cells=plot_cells(plot, {"label": "Bed", "value": found_bed.name}),
        back=reverse("plot_land", args=[programme, plot.pk]),
        back_words=f"Back to plot {plot.label}",
    )


def _planting_here(
    request: HttpRequest, programme: int, pk: int, *, to_change: bool = False
) -> tuple[Seat, Planting]:
    rows = Planting.objects.select_related("bed__plot__garden", "programme")
    planting = rows.filter(pk=pk, programme=programme).first()
    if planting is None:
        raise Http404
    seat, _ = plot_here(request, programme, planting.bed.plot_id, to_change=to_change)
    return seat, planting


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def planting(request: HttpRequest, programme: int, planting: int) -> HttpResponse:
    """One planting: its dates in words, and what may still be changed."""
    seat, found_one = _planting_here(request, programme, planting, to_change=request.method == "POST")
    day = use_zone(seat)
    plot = found_one.bed.plot
    initial = {"ends_on": found_one.ends_on, "feed_on_request": found_one.feed_on_request}
    form = PlantingChangeForm(request.POST or None, initial=initial, near=found_one.day)
    dates = dates_of(found_one)
    if dates.crop is None or crop_words(dates.crop) != "makes its own nitrogen":
        del form.fields["feed_on_request"]
    if request.method == "POST" and form.is_valid():
        values = {"feed_on_request": False} | form.cleaned_data
        if attempt(form, lambda: land.change_planting(planting=found_one, by=seat.person, **values)):
            messages.success(request, "The planting is kept.")
            return redirect("planting", programme, planting)
    context = {
        "planting": found_one,
        "plot": plot,
        "dates": dates,
        "form": form,
        "crop_words": crop_words(dates.crop),
        "may_change": seat.organises or plot.pk in own_plots(seat, day),
        "cells": plot_cells(plot, {"label": "Bed", "value": found_one.bed.name}),
    }
    return render(request, "schedules/planting.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def planting_end(request: HttpRequest, programme: int, planting: int) -> HttpResponse:
    seat, found_one = _planting_here(request, programme, planting, to_change=True)
    plot = found_one.bed.plot
    form = DayForm(request.POST or None, near=use_zone(seat), initial={"day": today(seat.programme)})
    if request.method == "POST" and form.is_valid():
        day = form.cleaned_data["day"]
        if attempt(form, lambda: land.end_planting(planting=found_one, by=seat.person, day=day)):
            messages.success(request, f"{found_one.crop_name} is gone from bed {found_one.bed.name}.")
            return redirect("plot_land", programme, plot.pk)
    return form_page(
        request,
        form,
        title="It is gone",
        say=f"Is the {found_one.crop_name} of bed {found_one.bed.name} gone?",
        act="End the planting",
        under="What it got stays written on the soil. Entered by mistake? Write the day it was planted.",
        where=(plot.garden.name, f"Plot {plot.label}"),
        back=reverse("planting", args=[programme, planting]),
        back_words=f"Back to the {found_one.crop_name}",
    )
