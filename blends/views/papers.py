"""Papers of the day: the run sheet to weigh by, the labels to stick on tubs."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from blends import chemistry
from blends.chemistry import BlendAnalysis
from blends.models import MixingDay
from blends.queries.analyses import grade_text, percent_text
from blends.queries.days import day_state
from blends.queries.pails import PailState, dose_of
from blends.safety import POINTS
from blends.views.weighing import wanted_rows
from gardens.access import To, find, take_seat
from gardens.nutrients import Nutrient
from gardens.views.pages import whole

MOST_LABELS = 200


@login_required
@require_http_methods(["GET"])
def run_sheet(request: HttpRequest, programme: int, day: int) -> HttpResponse:
    """What is weighed, in order, with blanks for the hand; safety first, one sheet a pail."""
    seat = take_seat(request, programme, to=To.READ)
    row = find(seat, MixingDay.objects.select_related("garden", "programme"), day)
    state = day_state(row)
    pails = [
        {
            "pail": s.pail,
            "batch": s.pail.batch,
            "rows": wanted_rows(seat, [c.target for c in s.components]),
            "borate": _may_hold_borates(s),
        }
        for s in state.pails
    ]
    context = {"day": row, "state": state, "pails": pails, "points": list(POINTS.values())}
    return render(request, "blends/run_sheet.html", context)


@login_required
@require_http_methods(["GET"])
def tub_labels(request: HttpRequest, programme: int, day: int) -> HttpResponse:
    """Labels for the day's tubs, eight to a sheet; ``?each=`` says how many for each pail."""
    seat = take_seat(request, programme, to=To.READ)
    row = find(seat, MixingDay.objects.select_related("garden", "programme"), day)
    state = day_state(row)
    asked = whole(request.GET.get("each", "8"))
    each = min(asked, MOST_LABELS) if asked else 8
    sheets = [_label(s) for s in state.pails]
    for sheet in sheets:
        sheet["copies"] = range(each)
    context = {"day": row, "sheets": sheets, "each": each, "choices": (8, 16, 24, 40)}
    return render(request, "blends/tub_labels.html", context)


def _label(state: PailState) -> dict[str, Any]:
    analysis = dose_of(state)
    return {
        "pail": state.pail,
        "batch": state.pail.batch,
        "blend": state.pail.batch.revision.blend,
        "grade": grade_text(analysis),
        "printable": _printable(analysis),
        "borate": bool(analysis.percent.get(Nutrient.B)) or _may_hold_borates(state),
    }


def _may_hold_borates(state: PailState) -> bool:
    """Also where a trace material says nothing of boron: not declared is not none."""
    return any(
        caution["code"] == "borate"
        for component in state.components
        for caution in component.target.component.material.cautions
    )


def _printable(analysis: BlendAnalysis) -> list[str]:
    """Nutrients that may stand on a label, with their percent, rounded down by the figures shown."""
    return [
        f"{n.english} ({n}) {percent_text(analysis.percent.get(n, Decimal(0)))} %"
        for n in chemistry.printable(analysis)
    ]
