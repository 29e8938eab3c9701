"""The mixing day: its page, its crew, its safety list, its scales, its end."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import Count as CountOf
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from blends.actions.days import (
    add_crew,
    close_day,
    drop_crew,
    open_day,
    start_batch,
    tick,
    untick,
    weigh_scoops,
)
from blends.actions.scales import add_scale, retire_scale
from blends.batching import FILL, PAIL_LITRES
from blends.forms import ScaleForm
from blends.forms_days import BatchForm, CrewForm, DayForm, ScoopsForm
from blends.models import Batch, MixingDay, Revision, Scale
from blends.queries.days import DayState, day_state
from blends.safety import POINTS
from blends.views.pages import link, seat_of
from gardens import drawings
from gardens.access import Seat, To, find, take_seat
from gardens.clock import today
from gardens.forms import attempt
from gardens.models import Person, Programme, RoleName
from gardens.refusals import Refused
from gardens.views.pages import whole


def helpers(programme: Programme) -> QuerySet[Person]:
    """Who may be of a day's crew: those who organise or are stewards."""
    mixes = [RoleName.ORGANISER, RoleName.STEWARD]
    return Person.objects.filter(programme=programme, erased_at=None, roles__name__in=mixes).distinct()


@login_required
@require_http_methods(["GET"])
def days(request: HttpRequest, programme: int) -> HttpResponse:
    """All mixing days, the newest first."""
    seat = take_seat(request, programme, to=To.READ)
    rows = (
        MixingDay.objects.filter(programme=seat.programme)
        .select_related("garden")
        .annotate(pails=CountOf("batches__pails"))
        .order_by("-day", "-pk")
    )
    return render(request, "blends/days.html", {"days": list(rows)})


@login_required
@require_http_methods(["GET", "POST"])
def day_add(request: HttpRequest, programme: int) -> HttpResponse:
    """When and where, and who helps."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    form = DayForm(
        request.POST or None,
        programme=seat.programme,
        helpers=helpers(seat.programme),
        initial={"day": today(seat.programme)},
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        made = attempt(
            form,
            lambda: open_day(
                programme=seat.programme,
                by=seat.person,
                garden=data["garden"],
                day=data["day"],
                starts_at=data["starts_at"],
                crew=data["crew"],
            ),
        )
        if made:
            return redirect("day", programme=programme, day=made.pk)
    return render(request, "blends/day_add.html", {"form": form})


@login_required
@require_http_methods(["GET"])
def day(request: HttpRequest, programme: int, day: int) -> HttpResponse:
    """How far the day is, pail by pail, and the next act."""
    seat = take_seat(request, programme, to=To.READ)
    row = find(seat, MixingDay.objects.select_related("garden", "programme", "closed_by"), day)
    state = day_state(row)
    context = {
        "state": state,
        "day": row,
        "steps": _steps(seat, state),
        "next": _next(seat, state),
        "desk_url": link("desk", programme=programme, day=row.pk),
        "drawn": _drawn(state),
    }
    return render(request, "blends/day.html", context)


def _drawn(state: DayState) -> list[drawings.Pail]:
    """The pails as they stand, filled by volume; none where there are too many to look at."""
    if len(state.pails) > 12 or not any(s.pail.place.balance_mg for s in state.pails):
        return []
    several = len(state.batches) > 1
    return [
        {
            "name": f"{s.pail.batch.number}, pail {s.pail.number}" if several else f"pail {s.pail.number}",
            "mg": s.pail.place.balance_mg,
            "litres": Fraction(s.pail.place.balance_mg) / 1_000_000 / Fraction(b.batch.revision.bulk_density),
            "capacity_litres": PAIL_LITRES,
            "fill_limit_litres": PAIL_LITRES * FILL,
        }
        for b in state.batches
        for s in b.pails
    ]


def _count_words(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _steps(seat: Seat, state: DayState) -> list[dict[str, Any]]:
    """The punched way: what is done, what is now, what is to come."""
    p, d = seat.programme.pk, state.day.pk
    opened = any(s.pail.place.opened for s in state.pails)
    done = [
        (
            "Safety list",
            f"{len(state.ticks)} of {len(POINTS)}",
            state.safe,
            link("safety", programme=p, day=d),
        ),
        (
            "Scales",
            ", ".join(s.name for s in state.scales[:3]) or "none entered",
            bool(state.scales),
            link("scales", programme=p),
        ),
        (
            "Batch",
            _count_words(len(state.pails), "pail") if state.batches else "none yet",
            bool(state.batches),
            link("batch_add", programme=p, day=d) if seat.organises and not state.batches else "",
        ),
        (
            "Weigh",
            f"{state.weighed} of {state.to_weigh}",
            bool(state.to_weigh) and state.weighed == state.to_weigh,
            "",
        ),
        (
            "Release the pails",
            f"{state.released} of {len(state.pails)}",
            bool(state.pails) and state.released == len(state.pails),
            "",
        ),
        (
            "Weigh ten scoops",
            "for the slips",
            bool(state.batches) and not state.scoops_wanted,
            link("scoops", programme=p, batch=state.scoops_wanted[0].pk) if state.scoops_wanted else "",
        ),
        ("Hand out at the desk", "", not state.day.is_open, link("desk", programme=p, day=d)),
        (
            "Count and close",
            "",
            not state.day.is_open,
            link("close_day", programme=p, day=d) if seat.mixes else "",
        ),
    ]
    steps, now = [], True
    for words, note, finished, url in done:
        shape = "done" if finished else "now" if now else "todo"
        now = now and finished
        steps.append({"words": words, "note": note, "state": shape, "url": url})
    if opened and state.day.is_open:
        steps[-2]["note"] = "begun"
    return steps


def _next(seat: Seat, state: DayState) -> dict[str, str]:
    """The one next act of the day: its words and address."""
    p, d = seat.programme.pk, state.day.pk
    if not state.day.is_open or not seat.mixes:
        return {"words": "", "url": ""}
    if not state.scales:
        return {"words": "Enter the scales", "url": link("scales", programme=p)}
    if not state.batches:
        url = link("batch_add", programme=p, day=d) if seat.organises else ""
        return {"words": "Mix a batch" if seat.organises else "", "url": url}
    if not state.safe:
        return {"words": "Go through the safety list", "url": link("safety", programme=p, day=d)}
    pail = state.next_pail
    if pail and pail.next:
        weigh = link("weigh", programme=p, pail=pail.pail.pk, component=pail.next.target.component_id)
        return {"words": f"Weigh for pail {pail.pail.number}", "url": weigh}
    if pail:
        return {
            "words": f"Decide on pail {pail.pail.number}",
            "url": link("pail", programme=p, pail=pail.pail.pk),
        }
    if state.scoops_wanted:
        return {
            "words": "Weigh ten scoops",
            "url": link("scoops", programme=p, batch=state.scoops_wanted[0].pk),
        }
    desk = link("desk", programme=p, day=d)
    return {
        "words": "Open the desk" if desk else "Count and close",
        "url": desk or link("close_day", programme=p, day=d),
    }


@login_required
@require_http_methods(["GET", "POST"])
def safety(request: HttpRequest, programme: int, day: int) -> HttpResponse:
    """The safety list: each point seen to by somebody, before the first weigh-out."""
    seat = seat_of(request, programme, change=To.MIX)
    row = find(seat, MixingDay.objects.select_related("garden"), day)
    problem = ""
    if request.method == "POST":
        try:
            _tick_all(seat, row, set(request.POST.getlist("points")) & set(POINTS))
            return redirect("day", programme=programme, day=row.pk)
        except Refused as refusal:
            problem = refusal.message
    ticks = {t.point: t for t in row.ticks.select_related("by")}
    points = [{"code": code, "text": text, "tick": ticks.get(code)} for code, text in POINTS.items()]
    return render(
        request,
        "blends/safety.html",
        {"day": row, "points": points, "left": len(POINTS) - len(ticks), "problem": problem},
    )


def _tick_all(seat: Seat, day: MixingDay, points: set[str]) -> None:
    """Tick what is ticked on the page, and take back what is not, while that may be."""
    ticked = set(day.ticks.values_list("point", flat=True))
    for point in ticked - points:
        untick(day=day, by=seat.person, point=point)
    for point in points - ticked:
        tick(day=day, by=seat.person, point=point)


@login_required
@require_http_methods(["GET", "POST"])
def crew(request: HttpRequest, programme: int, day: int) -> HttpResponse:
    """Who helps on the day."""
    seat = seat_of(request, programme, change=To.ORGANISE)
    row = find(seat, MixingDay.objects.select_related("garden"), day)
    form = CrewForm(request.POST or None, helpers=helpers(seat.programme))
    if request.method == "POST":
        if (drop := whole(request.POST.get("drop", ""))) is not None:
            person = find(seat, Person, drop)
            drop_crew(day=row, by=seat.person, person=person)
            return redirect("crew", programme=programme, day=row.pk)
        if form.is_valid():
            person = form.cleaned_data["person"]
            if attempt(form, lambda: add_crew(day=row, by=seat.person, person=person)):
                return redirect("crew", programme=programme, day=row.pk)
    members = list(row.crew.select_related("person").order_by("person__name"))
    return render(request, "blends/crew.html", {"day": row, "form": form, "members": members})


@login_required
@require_http_methods(["GET", "POST"])
def scales(request: HttpRequest, programme: int) -> HttpResponse:
    """The scales there are; one that is no longer used is retired, never deleted."""
    seat = seat_of(request, programme, change=To.MIX)
    form = ScaleForm(request.POST if request.method == "POST" and "retire" not in request.POST else None)
    if request.method == "POST":
        if (retired := whole(request.POST.get("retire", ""))) is not None:
            return _retire(request, seat, find(seat, Scale, retired))
        if form.is_valid():
            made = attempt(form, lambda: _add_scale(seat, form))
            if made:
                return redirect("scales", programme=programme)
    rows = list(Scale.objects.filter(programme=seat.programme).order_by("retired", "name"))
    return render(request, "blends/scales.html", {"scales": rows, "form": form})


def _add_scale(seat: Seat, form: ScaleForm) -> Scale:
    data = form.cleaned_data
    return add_scale(
        programme=seat.programme,
        by=seat.person,
        name=data["name"],
        division_mg=data["division"].milligrams,
        min_mg=data["minimum"].milligrams if data["minimum"] else 0,
        max_mg=data["maximum"].milligrams,
    )


def _retire(request: HttpRequest, seat: Seat, scale: Scale) -> HttpResponse:
    try:
        retire_scale(scale=scale, by=seat.person)
        messages.success(request, f"{scale.name} is no longer used; what was read on it stays.")
    except Refused as refusal:
        messages.warning(request, refusal.message)
    return redirect("scales", programme=seat.programme.pk)


@login_required
@require_http_methods(["GET", "POST"])
def batch_add(request: HttpRequest, programme: int, day: int) -> HttpResponse:
    """A batch by hand: so much of a blend. A round makes its own."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    row = find(seat, MixingDay.objects.select_related("garden", "programme"), day)
    form = BatchForm(request.POST or None, programme=seat.programme)
    if request.method == "POST" and form.is_valid():
        revision: Revision = form.cleaned_data["revision"]
        mass = form.cleaned_data["mass"].milligrams
        made = attempt(form, lambda: start_batch(day=row, by=seat.person, revision=revision, mass_mg=mass))
        if made:
            return redirect("day", programme=programme, day=row.pk)
    rounds = link("rounds", programme=programme)
    return render(request, "blends/batch_add.html", {"day": row, "form": form, "rounds_url": rounds})


@login_required
@require_http_methods(["GET", "POST"])
def scoops(request: HttpRequest, programme: int, batch: int) -> HttpResponse:
    """What ten struck scoops weigh: one figure for the whole batch."""
    seat = take_seat(request, programme, to=To.MIX)
    row = find(seat, Batch.objects.select_related("day", "revision__blend", "scoop_by"), batch)
    form = ScoopsForm(request.POST or None, programme=seat.programme)
    if request.method == "POST" and form.is_valid():
        mass = form.cleaned_data["ten_scoops"].milligrams
        if attempt(form, lambda: weigh_scoops(batch=row, by=seat.person, ten_scoops_mg=mass)):
            return redirect("day", programme=programme, day=row.day_id)
    return render(request, "blends/scoops.html", {"batch": row, "form": form})


@login_required
@require_http_methods(["GET", "POST"])
def close(request: HttpRequest, programme: int, day: int) -> HttpResponse:
    """Count the pails, see the differences beside their band, close the day."""
    seat = seat_of(request, programme, change=To.MIX)
    row = find(seat, MixingDay.objects.select_related("garden", "programme", "closed_by"), day)
    problem = ""
    if request.method == "POST":
        try:
            close_day(day=row, by=seat.person)
            messages.success(request, "The day is closed. What is owed stays listed.")
            return redirect("day", programme=programme, day=row.pk)
        except Refused as refusal:
            problem = refusal.message
    state = day_state(row, with_counts=True, only_pails=True)
    uncounted = {p.pk for p in state.uncounted}
    rows = [
        {
            "state": s,
            "count": state.counts.get(s.pail.place.pk),
            "wanted": s.pail.pk in uncounted,
        }
        for s in state.pails
    ]
    first = state.uncounted[0] if state.uncounted else None
    context = {
        "day": row,
        "state": state,
        "rows": rows,
        "problem": problem,
        "counted": sum(
            1 for s in state.pails if s.pail.place.pk in state.counts and s.pail.pk not in uncounted
        ),
        "first_wanted": {"place": first.place, "words": f"pail {first.number}"} if first else None,
    }
    return render(request, "blends/close_day.html", context)
