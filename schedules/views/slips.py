"""Paper: a slip for every plot of a round."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.db.models import Exists, OuterRef
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from blends.models import PailDecision
from gardens.access import To, find, take_seat
from gardens.views.pages import whole
from schedules.models import Round, RoundState
from schedules.queries.slips import Slips
from schedules.queries.slips import slips as slips_of


@login_required
@require_safe
def slips(request: HttpRequest, programme: int, round: int) -> HttpResponse:
    """Four A6 slips to an A4; one plot's alone with ``?plot=``."""
    seat = take_seat(request, programme, to=To.READ)
    rows = Round.objects.select_related(
        "programme", "revision__blend", "batch__revision__blend", "mixing_day"
    )
    accepted = PailDecision.objects.filter(pail__batch=OuterRef("batch"), accepted=True)
    row = find(seat, rows.annotate(accepted=Exists(accepted)), round)
    plot = request.GET.get("plot", "")
    garden = request.GET.get("garden", "")
    found = Slips((), ())
    if row.state != RoundState.OPEN:
        found = slips_of(
            row,
            accepted=bool(getattr(row, "accepted", True)),
            plot=whole(plot),
            garden=whole(garden),
        )
    sheets = [found.each[at : at + 4] for at in range(0, len(found.each), 4)]
    shown = {"round": row, "sheets": sheets, "slips": found, "count": len(found.each)}
    return render(request, "schedules/slips.html", shown)
