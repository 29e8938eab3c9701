"""Materials: what may be bought, and what its bag declares."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from blends.actions.stock import adopt_material, declare_again, declare_material
from blends.forms import AdoptForm, DeclarationForm, MaterialForm
from blends.models import Material
from blends.queries.analyses import grade_text, label_lines
from blends.queries.store import current_declarations, lots, stock
from blends.views.pages import link, seat_of
from gardens.access import To, find, take_seat
from gardens.forms import attempt


@login_required
@require_http_methods(["GET", "POST"])
def materials(request: HttpRequest, programme: int) -> HttpResponse:
    """All materials with their grade and what is in store; the catalogue to adopt from."""
    seat = seat_of(request, programme, change=To.ORGANISE)
    shed = stock(seat.programme)
    have = {s.material.catalogue_code for s in shed if s.material.catalogue_code}
    form = AdoptForm(request.POST or None, have=have)
    if request.method == "POST" and form.is_valid():
        code = form.cleaned_data["code"]
        made = attempt(form, lambda: adopt_material(programme=seat.programme, by=seat.person, code=code))
        if made:
            messages.success(request, f"{made.name} is one of your materials now.")
            return redirect("material", programme=programme, material=made.pk)
    declared = current_declarations(seat.programme)
    rows = [
        {"stock": s, "declaration": d, "grade": grade_text(d.analysis())}
        for s in shed
        if (d := declared.get(s.material.pk))
    ]
    return render(request, "blends/materials.html", {"rows": rows, "form": form})


@login_required
@require_http_methods(["GET", "POST"])
def material_add(request: HttpRequest, programme: int) -> HttpResponse:
    """A material from its bag's label, or by formula and purity."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    form = MaterialForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        made = attempt(
            form,
            lambda: declare_material(
                programme=seat.programme,
                by=seat.person,
                name=data["name"],
                kind=data["kind"],
                bulk_density=data["bulk_density"],
                **form.declaration(),
            ),
        )
        if made:
            messages.success(request, f"{made.name} is one of your materials now.")
            return redirect("material", programme=programme, material=made.pk)
    return render(request, "blends/material_add.html", {"form": form})


@login_required
@require_http_methods(["GET", "POST"])
def material(request: HttpRequest, programme: int, material: int) -> HttpResponse:
    """One material: what it declares, its earlier declarations, its deliveries; the next bag may differ."""
    seat = seat_of(request, programme, change=To.ORGANISE)
    row = find(seat, Material, material)
    form = DeclarationForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made = attempt(form, lambda: declare_again(material=row, by=seat.person, **form.declaration()))
        if made:
            messages.success(request, "Declared anew. Lots and revisions keep the figures that they had.")
            return redirect("material", programme=programme, material=row.pk)
    declarations = list(row.declarations.select_related("by"))
    current = declarations[0].analysis()
    return render(
        request,
        "blends/material.html",
        {
            "material": row,
            "form": form,
            "current": declarations[0],
            "earlier": declarations[1:],
            "analysis": current,
            "lines": label_lines(current),
            "grade": grade_text(current),
            "lots": list(lots(seat.programme).filter(material=row)),
            "delivery_url": f"{link('lot_add', programme=programme)}?material={row.pk}",
        },
    )
