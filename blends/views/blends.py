"""Blends: what one feeds, its recipe as people say it, its revisions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from blends import chemistry
from blends.actions.recipes import freeze_revision, make_default, save_draft, start_blend
from blends.boron import BoronVerdict
from blends.forms import BlendForm, BoronForm, MassAsked, RecipeLineForm
from blends.models import Blend, Material, Revision
from blends.queries.analyses import nitrogen_working, sheet
from blends.queries.plans import scaled_recipe
from blends.queries.recipes import blends_listed, full_revision
from blends.queries.store import Cost, cost_of, cost_of_revision, current_declarations
from blends.views.pages import link, seat_of
from gardens.access import Seat, To, find, take_seat
from gardens.figures import decimals_of, rounded
from gardens.forms import attempt
from gardens.refusals import Refused
from gardens.views.pages import whole

SPARE_LINES = 3


@login_required
@require_http_methods(["GET", "POST"])
def blends(request: HttpRequest, programme: int) -> HttpResponse:
    """All blends with what their newest revision feeds."""
    seat = seat_of(request, programme, change=To.ORGANISE)
    form = BlendForm(request.POST or None)
    if request.method == "POST" and (default := whole(request.POST.get("default", ""))) is not None:
        return _make_default(request, seat, find(seat, Blend, default))
    if request.method == "POST" and form.is_valid():
        name = form.cleaned_data["name"]
        made = attempt(form, lambda: start_blend(programme=seat.programme, by=seat.person, name=name))
        if made:
            return redirect("blend_draft", programme=programme, blend=made.pk)
    rows = blends_listed(seat.programme)
    return render(request, "blends/blends.html", {"rows": rows, "form": form})


def _make_default(request: HttpRequest, seat: Seat, row: Blend) -> HttpResponse:
    try:
        make_default(blend=row, by=seat.person)
        messages.success(request, f"{row.name} feeds everybody now, unless told otherwise.")
    except Refused as refusal:
        messages.warning(request, refusal.message)
    return redirect("blends", programme=seat.programme.pk)


@login_required
@require_http_methods(["GET"])
def blend(request: HttpRequest, programme: int, blend: int) -> HttpResponse:
    """A blend's newest revision; while there is none, the way to its recipe."""
    seat = take_seat(request, programme, to=To.READ)
    row = find(seat, Blend, blend)
    latest = row.latest()
    if latest is None:
        return render(request, "blends/blend_empty.html", {"blend": row})
    return _revision_page(request, seat, full_revision(seat.programme, latest.pk))


@login_required
@require_http_methods(["GET"])
def revision(request: HttpRequest, programme: int, revision: int) -> HttpResponse:
    """One revision as it was frozen."""
    seat = take_seat(request, programme, to=To.READ)
    row = find(seat, Revision, revision)
    return _revision_page(request, seat, full_revision(seat.programme, row.pk))


def _revision_page(request: HttpRequest, seat: Seat, row: Revision) -> HttpResponse:
    others = list(Revision.objects.filter(blend=row.blend).select_related("by").order_by("-number"))
    asked = MassAsked(request.GET if "mass" in request.GET else None)
    scaled: Any = None
    if asked.is_bound and asked.is_valid():
        mass = asked.cleaned_data["mass"].milligrams
        scaled = attempt(asked, lambda: (mass, scaled_recipe(row, mass)))
    analysis = row.analysis()
    told = sheet(analysis)
    context = {
        "revision": row,
        "blend": row.blend,
        "others": others,
        "newest": row.number == others[0].number,
        "sheet": told,
        "working": nitrogen_working(row, analysis),
        "components": list(row.components.all()),
        "asked": asked,
        "scaled_mass": scaled[0] if scaled else None,
        "scaled": scaled[1] if scaled else (),
        "cost": _cost_rows(seat, cost_of_revision(row), analysis) if seat.reports else None,
        "round_url": link("round_add", programme=seat.programme.pk),
    }
    return render(request, "blends/revision.html", context)


def _cost_rows(seat: Seat, cost: Cost, analysis: chemistry.BlendAnalysis) -> dict[str, Any]:
    """Per kilogram in whole units of money, to the thousandth on the page."""
    per_kg = _major(seat, cost.minor_per_kg)
    share = Fraction(analysis.soluble_n or 0) / 100
    return {
        "per_kg": per_kg,
        "per_kg_n": None if per_kg is None or not share else per_kg / share,
        "unpriced": cost.unpriced,
        "lines": [
            {"name": x.name, "lot": x.lot, "mass_mg": x.mass_mg, "minor": _whole(x.minor)} for x in cost.lines
        ],
        "minor": None if cost.minor is None else _whole(cost.minor),
    }


def _whole(minor: Fraction) -> int:
    return int(rounded(minor, 0))


def _major(seat: Seat, minor: Fraction | None) -> Fraction | None:
    return None if minor is None else minor / 10 ** decimals_of(seat.programme.currency)


@login_required
@require_http_methods(["GET", "POST"])
def blend_draft(request: HttpRequest, programme: int, blend: int) -> HttpResponse:
    """The recipe being written: lines as people say them, what they would feed, then frozen for good."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    row = find(seat, Blend, blend)
    materials = list(Material.objects.filter(programme=seat.programme))
    posted = request.POST if request.method == "POST" else None
    start = [] if posted else _start(row)
    forms = _line_forms(posted, start, materials)
    boron = BoronForm(posted)
    valid = posted is not None and not [form for form in forms if not form.is_valid()]
    if posted is not None and valid:
        if posted.get("step") == "freeze":
            boron.is_valid()
            made = attempt(boron, lambda: _freeze(seat, row, forms, boron))
            if made:
                messages.success(request, f"Revision {made.number} stands. It will not change any more.")
                return redirect("revision", programme=programme, revision=made.pk)
        else:
            save_draft(blend=row, by=seat.person, lines=_as_draft(forms))
            return redirect("blend_draft", programme=programme, blend=row.pk)
    context = {
        "blend": row,
        "forms": forms,
        "boron": boron,
        "materials": materials,
        "next_number": (latest.number if (latest := row.latest()) else 0) + 1,
        "from_revision": not row.draft and bool(start),
        **_preview(seat, forms if posted is not None and valid else _line_forms_as_data(start, materials)),
    }
    return render(request, "blends/blend_draft.html", context)


def _start(blend: Blend) -> list[dict[str, Any]]:
    """The draft; without one, the newest revision as it was written."""
    if blend.draft:
        return list(blend.draft)
    latest = blend.latest()
    if latest is None:
        return []
    return [{"material": c.material_id, "amount": c.written} for c in latest.components.all()]


def _line_forms(
    posted: Any, start: Sequence[Mapping[str, Any]], materials: Sequence[Material]
) -> list[RecipeLineForm]:
    if posted is None:
        lines = [*start, *({} for _ in range(SPARE_LINES if start else 5))]
        return [
            RecipeLineForm(prefix=str(n), materials=materials, initial=dict(line))
            for n, line in enumerate(lines)
        ]
    count = whole(str(posted.get("lines", ""))) or 0
    return [RecipeLineForm(posted, prefix=str(n), materials=materials) for n in range(min(count, 40))]


def _line_forms_as_data(
    start: Sequence[Mapping[str, Any]], materials: Sequence[Material]
) -> list[RecipeLineForm]:
    """What was kept, read again, so that the page can say what it would feed."""
    data = {f"{n}-{key}": str(value or "") for n, line in enumerate(start) for key, value in line.items()}
    forms = [RecipeLineForm(data, prefix=str(n), materials=materials) for n in range(len(start))]
    return forms if not [form for form in forms if not form.is_valid()] else []


def _lines(forms: Sequence[RecipeLineForm]) -> list[tuple[Material, int, str]]:
    return [line for form in forms if (line := form.line())]


def _as_draft(forms: Sequence[RecipeLineForm]) -> list[dict[str, Any]]:
    return [{"material": material.pk, "amount": written} for material, _, written in _lines(forms)]


def _freeze(seat: Seat, blend: Blend, forms: Sequence[RecipeLineForm], boron: BoronForm) -> Revision:
    return freeze_revision(
        blend=blend,
        by=seat.person,
        lines=_lines(forms),
        boron_reason=boron.cleaned_data.get("boron_reason", ""),
    )


def _preview(seat: Seat, forms: Sequence[RecipeLineForm]) -> dict[str, Any]:
    """What the lines would feed; nothing while there are none, a sentence where they cannot be read."""
    lines = _lines(forms)
    if not lines:
        return {"sheet": None}
    declared = current_declarations(seat.programme)
    try:
        analysis = chemistry.blend([(mass, declared[m.pk].analysis()) for m, mass, _ in lines])
    except (chemistry.ChemistryError, Refused) as error:
        return {"sheet": None, "preview_error": error.message}
    told = sheet(analysis)
    cost = cost_of(seat.programme, [(m, mass) for m, mass, _ in lines])
    return {
        "sheet": told,
        "total_mg": sum(mass for _, mass, _ in lines),
        "lines": [{"material": m, "mass_mg": mass, "written": written} for m, mass, written in lines],
        "per_kg": _major(seat, cost.minor_per_kg),
        "boron_wanted": told.boron.verdict in (BoronVerdict.NEEDS_REASON, BoronVerdict.NO_NITROGEN),
        "boron_never": told.boron.verdict is BoronVerdict.CANNOT_BE_MIXED,
    }
