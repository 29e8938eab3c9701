"""Bringing in a sheet: paste or choose it, look at every cell, answer what is in doubt, bring it in."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from gardens.access import Seat, To, take_seat
from gardens.clock import today
from gardens.forms import attempt
from gardens.models import Garden
from gardens.sheet import EXAMPLE_HEAD, Column
from gardens.views.pages import use_zone
from schedules.actions.bring_in import Brought, bring_in, preview
from schedules.forms_land import NewGardensForm, SheetForm, SinceForm
from schedules.queries.bring_in import Preview

MOST_SHOWN = 400
EXAMPLE = f"""{EXAMPLE_HEAD}
Lock Lane, 3, , Ana Sá, ana@example.org, 4 x 8 ft, tomatoes, 11 May 2026, transplanted
Lock Lane, 3, , Ana Sá, ana@example.org, 6 ft circle, , ,
Kiln Field, 1, 3 x 6 m, Cy Ng, 555 0110, , , ,"""


@dataclass
class _Asked:
    """What the page holds between looking and bringing in."""

    seat: Seat
    sheet: SheetForm
    since: SinceForm
    season: NewGardensForm | None = None
    seen: Preview | None = None

    @property
    def text(self) -> str:
        """With one kind of line end, as a box sends it back otherwise than a file has it."""
        return "\n".join(str(self.sheet.cleaned_data.get("sheet", "")).splitlines()).strip("\n")

    @property
    def digest(self) -> str:
        return hashlib.sha256(self.text.encode()).hexdigest()[:16]


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def bring_in_page(request: HttpRequest, programme: int) -> HttpResponse:
    """GET: a box to paste into. POST: the preview; with `step=bring` on what was looked at, the act."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    asked = _asked(request, seat)
    if request.method == "POST" and asked.sheet.is_valid():
        answers = {name: str(value) for name, value in request.POST.items()}
        asked.seen = attempt(
            asked.sheet, lambda: preview(programme=seat.programme, text=asked.text, answers=answers)
        )
        if asked.seen and (done := _brought(request, asked, answers)):
            return done
    return _page(request, asked)


def _asked(request: HttpRequest, seat: Seat) -> _Asked:
    day = use_zone(seat)
    since = SinceForm(_sent(request), near=day, initial={"since": day} | request.POST.dict())
    return _Asked(seat, SheetForm(request.POST or None, request.FILES or None), since)


def _sent(request: HttpRequest) -> QueryDict | None:
    """What counts as an answer: only when bringing in. Looking again keeps what was typed, and judges nothing."""
    return request.POST if request.POST.get("step") == "bring" else None


def _brought(request: HttpRequest, asked: _Asked, answers: dict[str, str]) -> HttpResponse | None:
    """The answer after bringing in, or None to look (again)."""
    seen, seat = asked.seen, asked.seat
    assert seen is not None
    again = answers.get("looked") == asked.digest
    if seen.new_gardens:
        gardens = Garden.objects.filter(programme=seat.programme)
        sent = _sent(request) if again and "last_frost" in request.POST else None
        asked.season = NewGardensForm(
            sent, gardens=gardens, near=today(seat.programme), initial=request.POST.dict()
        )
    if not again or answers.get("step") != "bring" or not seen.ready:
        return None
    forms = [form for form in (asked.since, asked.season) if form is not None]
    valid = [form.is_valid() for form in forms]  # all of them, so that every error shows
    if not all(valid):
        return None
    brought = attempt(asked.since, lambda: _act(asked, answers))
    if brought is None:
        return None
    messages.success(request, _words(brought))
    return redirect("programme", seat.programme.pk)


def _act(asked: _Asked, answers: dict[str, str]) -> Brought:
    return bring_in(
        programme=asked.seat.programme,
        by=asked.seat.person,
        text=asked.text,
        answers=answers,
        season=asked.season.season() if asked.season else None,
        since=asked.since.cleaned_data["since"],
    )


def _words(brought: Brought) -> str:
    counts = brought.counts
    parts = [
        (counts.gardens, "garden", "gardens"),
        (counts.plots, "plot", "plots"),
        (counts.beds, "bed", "beds"),
        (counts.plantings, "planting", "plantings"),
        (counts.persons, "person", "persons"),
    ]
    said = [f"{number} {one if number == 1 else many}" for number, one, many in parts if number]
    return f"Brought in: {', '.join(said) or 'what was missing'}."


def _page(request: HttpRequest, asked: _Asked) -> HttpResponse:
    seen = asked.seen
    if seen is None:
        context = {"form": asked.sheet, "example": EXAMPLE, "columns": [c.value for c in Column]}
        return render(request, "schedules/bring_in.html", context)
    again = SheetForm(initial={"sheet": asked.text})
    del again.fields["file"]
    context = {
        "seen": seen,
        "digest": asked.digest,
        "remark": asked.sheet.remark,
        "form": again,
        "since": asked.since,
        "season": asked.season,
        "settled": seen.leaves_out or not seen.bad,
        "say": _sentence(seen),
        "under": _summary(seen),
        "act_words": f"Bring in {_plots(seen)}",
        "rows": seen.rows[:MOST_SHOWN],
        "hidden_rows": max(0, len(seen.rows) - MOST_SHOWN),
        "columns": [c.value for c in Column],
    }
    return render(request, "schedules/bring_in_preview.html", context)


def _plots(seen: Preview) -> str:
    count = seen.counts.plots
    if not count:
        return "what is new"
    return "1 plot" if count == 1 else f"{count} plots"


def _sentence(seen: Preview) -> str:
    if seen.bad and not seen.leaves_out:
        count = len(seen.bad)
        return "One cell needs another look." if count == 1 else f"{_number(count)} cells need another look."
    if seen.open_questions:
        count = len(seen.open_questions)
        return (
            "One question before it comes in."
            if count == 1
            else f"{_number(count)} questions before it comes in."
        )
    if not seen.counts.any:
        return "All of this stands here already."
    return f"Ready to bring in {_plots(seen)}."


def _summary(seen: Preview) -> str:
    rows = f"{len(seen.rows)} row{'s' if len(seen.rows) != 1 else ''}"
    if seen.bad and not seen.leaves_out:
        return f"{rows} read; nothing has been brought in. Mend the cells below, or leave their rows out."
    out = f", {seen.bad_rows} left out" if seen.leaves_out and seen.bad_rows else ""
    return f"{rows} read{out}; nothing has been brought in yet."


def _number(count: int) -> str:
    words = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten")
    return words[count] if count < len(words) else str(count)
