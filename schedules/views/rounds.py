"""Rounds: opening, sizing, freezing, exchanging the blend, mixing, closing."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from blends.queries.plans import batch_plan
from blends.views.pages import link
from gardens import figures
from gardens.access import Seat, To, find, take_seat
from gardens.clock import today
from gardens.forms import attempt
from gardens.models import Plot
from gardens.refusals import Refused
from gardens.templatetags.paper import span
from gardens.views.pages import whole
from schedules.actions import rounds as acts
from schedules.forms_rounds import BlendForm, RoundForm
from schedules.models import Round, RoundState
from schedules.queries.round_page import RoundPage, round_page, rounds_of
from schedules.queries.sizing import sizing

MOST_MG = 10**11
LARGE = 1_500  # plots; a larger round is frozen in the background


def _round(seat: Seat, pk: int) -> Round:
    rows = Round.objects.select_related(
        "programme", "revision__blend", "batch__revision__blend", "mixing_day__garden"
    )
    return find(seat, rows, pk)


@login_required
@require_safe
def rounds(request: HttpRequest, programme: int) -> HttpResponse:
    """All rounds, newest first."""
    seat = take_seat(request, programme, to=To.READ)
    return render(request, "schedules/rounds.html", {"rows": rounds_of(seat.programme)})


@login_required
@require_http_methods(["GET", "POST"])
def round_add(request: HttpRequest, programme: int) -> HttpResponse:
    """Open a round; without gardens or a blend the page says what comes first."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    form = RoundForm(request.POST or None, programme=seat.programme)
    if not form.all_gardens or not form.revisions:
        first = {
            "gardens": link("bring_in", programme=programme) if not form.all_gardens else "",
            "blends": link("blends", programme=programme) if not form.revisions else "",
        }
        return render(request, "schedules/round_first.html", first)
    if request.method == "POST" and form.is_valid():
        made = attempt(
            form, lambda: acts.open_round(programme=seat.programme, by=seat.person, **form.values())
        )
        if made:
            messages.success(request, f"Round {made.number} is open.")
            return redirect("round", programme=programme, round=made.pk)
    return render(
        request,
        "schedules/round_form.html",
        {"form": form, "round": None, "day_add": "" if form.days else link("day_add", programme=programme)},
    )


@login_required
@require_http_methods(["GET", "POST"])
def round_change(request: HttpRequest, programme: int, round: int) -> HttpResponse:
    """Change an open round; a frozen one takes its mixing day."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    row = _round(seat, round)
    form = RoundForm(request.POST or None, programme=seat.programme, round=row)
    if request.method == "POST" and form.is_valid():
        made = attempt(form, lambda: acts.change_round(round=row, by=seat.person, **form.values()))
        if made:
            messages.success(request, "Saved.")
            return redirect("round", programme=programme, round=row.pk)
    days = link("day_add", programme=programme)
    return render(request, "schedules/round_form.html", {"form": form, "round": row, "day_add": days})


@login_required
@require_safe
def round(request: HttpRequest, programme: int, round: int) -> HttpResponse:
    """Need by garden, from need to batch, pails, and the one next act."""
    seat = take_seat(request, programme, to=To.READ)
    page = round_page(_round(seat, round))
    return render(request, "schedules/round.html", _shown(seat, page))


def _shown(seat: Seat, page: RoundPage) -> dict[str, Any]:
    r, size = page.round, page.sizing
    column = [
        {"label": "Need, before rounding", "mg": size.need_mg},
        {"label": "Rounded up, portion by portion", "mg": size.rounding_mg, "sign": "+"},
        {
            "label": "Walk-ins",
            "note": f"{r.reserve_percent} % of the portions",
            "mg": size.reserve_mg,
            "sign": "+",
        },
        {"label": "In released, unopened pails", "mg": size.released_mg, "sign": "-"},
        {"label": str(r.batch).capitalize() if r.batch else "To mix", "mg": page.batch_mg, "total": True},
    ]
    pails = []
    if page.limits is not None:
        density = r.revision.bulk_density
        pails = [
            {
                "name": f"pail {n}",
                "mg": mass,
                "litres": figures.rounded(mass / (density * 1_000_000), 1),
                "capacity_litres": 20,
                "fill_limit_litres": 12,
            }
            for n, mass in enumerate(page.limits.masses_mg[:6], 1)
        ]
    return {
        "page": page,
        "round": r,
        "column": column,
        "pails": pails,
        "steps": _steps(seat, page),
        "docket": _docket(seat, r),
        "today": today(seat.programme),
    }


def _docket(seat: Seat, r: Round) -> list[dict[str, str]]:
    day = r.mixing_day
    return [
        {"label": "Programme", "value": seat.programme.name},
        {"label": f"Round {r.number}", "value": span(r.first_day, r.last_day)},
        {"label": "Mixing day", "value": f"{day.day:%a} {day.day.day} {day.day:%b}" if day else "not chosen"},
        {"label": "Round sheet", "value": f"R-{r.number:02d}"},
    ]


def _steps(seat: Seat, page: RoundPage) -> list[dict[str, str]]:
    """The punched way from the blend to the desk."""
    r = page.round
    p = {"programme": seat.programme.pk}
    day = link("day", **p, day=r.mixing_day_id) if r.mixing_day_id else ""
    mixed = r.batch is not None
    done = bool(page.pails) and page.released == len(page.pails)
    rows = [
        (str(r.revision), "", link("blend", **p, blend=r.revision.blend_id), True),
        ("Freeze the need", "", "", not page.is_open),
        (
            "A day and a place",
            r.mixing_day.garden.name if r.mixing_day else "",
            day,
            r.mixing_day is not None,
        ),
        ("Make the batch", str(r.batch) if r.batch else "", "", mixed),
        ("Weigh", f"{page.weighed} weigh-outs" if page.weighed else "", day, done),
        ("Release the pails", f"{page.released} of {len(page.pails)}" if page.pails else "", day, done),
        ("Open the desk", "", link("desk", **p, day=r.mixing_day_id) if r.mixing_day_id else "", False),
    ]
    if page.is_open and rows[2][3]:
        rows[1], rows[2] = rows[2], rows[1]  # the day was chosen first
    at = next(n for n, row in enumerate(rows) if not row[3])
    return [
        {
            "words": words,
            "note": note,
            "url": url if state != "todo" or n == at else "",
            "state": state,
        }
        for n, (words, note, url, is_done) in enumerate(rows)
        for state in ["done" if is_done else "now" if n == at else "todo"]
    ]


@login_required
@require_http_methods(["GET", "POST"])
def freeze(request: HttpRequest, programme: int, round: int) -> HttpResponse:
    """Freeze the need, or freeze it again."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    row = _round(seat, round)
    if request.method == "POST" and _is_large(row):
        acts.ask_to_freeze(round=row, by=seat.person)
        messages.success(
            request, "It is being frozen, which takes a minute or two. Come back, or look again."
        )
    elif request.method == "POST":
        try:
            snapshot = acts.freeze_round(round=row, by=seat.person, now=timezone.now())
        except Refused as refusal:
            messages.error(request, refusal.message)
        else:
            total = sum(snapshot.lines.values_list("mass_mg", flat=True))
            said = figures.mass(total, seat.programme.units)
            messages.success(request, f"Frozen at {said} for {row.portions.count()} portions.")
    return redirect("round", programme=programme, round=row.pk)


def _is_large(row: Round) -> bool:
    gardens = row.round_gardens.values("garden")
    return Plot.objects.filter(garden__in=gardens)[: LARGE + 1].count() > LARGE


@login_required
@require_http_methods(["GET", "POST"])
def round_batch(request: HttpRequest, programme: int, round: int) -> HttpResponse:
    """What to weigh and to buy for ``?mass=`` mg (the round's page draws it in); posted, make the batch."""
    seat = take_seat(request, programme, to=To.ORGANISE if request.method == "POST" else To.READ)
    row = _round(seat, round)
    if request.method == "POST":
        try:
            batch = acts.mix_round(round=row, by=seat.person)
        except Refused as refusal:
            messages.error(request, refusal.message)
            return redirect("round", programme=programme, round=row.pk)
        messages.success(request, f"{str(batch).capitalize()} stands: {batch.pails.count()} pails to weigh.")
        return redirect("day", programme=programme, day=row.mixing_day_id)
    asked = whole(request.GET.get("mass", ""))
    if row.batch is None and row.state == RoundState.OPEN and asked is None:
        return redirect("round", programme=programme, round=row.pk)
    mass = (
        row.batch.mass_mg if row.batch else min(asked, MOST_MG) if asked is not None else sizing(row).batch_mg
    )
    context: dict[str, Any] = {"round": row, "mass_mg": mass, "plan": None, "why_not": "", "whole_cost": None}
    try:
        plan = batch_plan(row.revision, mass) if mass else None
        context["plan"] = plan
        if plan is not None and plan.cost_minor is not None:
            context["whole_cost"] = int(figures.rounded(plan.cost_minor, 0))
    except Refused as refusal:
        context["why_not"] = refusal.message
    template = "schedules/_batch.html" if request.headers.get("HX-Request") else "schedules/round_batch.html"
    return render(request, template, context)


@login_required
@require_http_methods(["GET", "POST"])
def round_blend(request: HttpRequest, programme: int, round: int) -> HttpResponse:
    """Another blend for the round: nitrogen may fall, never rise."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    row = _round(seat, round)
    form = BlendForm(request.POST or None, round=row)
    if request.method == "POST" and form.is_valid():
        before = row.portions.count()
        if attempt(form, lambda: acts.exchange_revision(round=row, by=seat.person, revision=form.chosen)):
            words = f"Round {row.number} is on {form.chosen}."
            messages.success(request, f"{words} Its need is frozen anew." if before else words)
            return redirect("round", programme=programme, round=row.pk)
    return render(request, "schedules/round_blend.html", {"form": form, "round": row})


@login_required
@require_POST
def round_close(request: HttpRequest, programme: int, round: int) -> HttpResponse:
    """No more is handed out of it; what was not collected stays listed."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    row = _round(seat, round)
    try:
        acts.close_round(round=row, by=seat.person)
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        messages.success(request, f"Round {row.number} is closed. What was not collected stays listed.")
    return redirect("round", programme=programme, round=row.pk)
