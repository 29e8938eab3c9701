"""At the scale: one component into one pail; what is doubtful is asked before anything is recorded."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from blends.actions.days import (
    correct_weigh_out,
    hold_pail,
    look_at,
    release_pail,
    reverse_weigh_out,
    weigh_out,
)
from blends.actions.release import was_released
from blends.batching import Doubt, Fitness, Held, Never, Reason, Target
from blends.forms_days import CorrectForm, HoldForm, ReleaseForm, WeighForm, scale_words
from blends.models import Component, MixingDay, Pail, PailTarget, Scale, WeighOut
from blends.planning import Wanted, as_wanted, fit_of
from blends.queries.analyses import percent_text
from blends.queries.days import hands
from blends.queries.pails import ComponentState, PailState, full_pails, pail_state
from blends.queries.store import lots_of_day
from blends.readings import WRONG_BAG, Asked, ReadingAsked
from blends.views.pages import link
from blends.wording import ReadingUnit, unit_for
from gardens import quantities as q
from gardens.access import Seat, To, find, take_seat
from gardens.figures import US
from gardens.nutrients import Nutrient
from gardens.refusals import Refused


def _pail(seat: Seat, pk: int) -> PailState:
    return pail_state(find(seat, full_pails(Pail.objects.select_related("programme")), pk))


@login_required
@require_http_methods(["GET", "POST"])
def weigh(request: HttpRequest, programme: int, pail: int, component: int) -> HttpResponse:
    """Weigh one component for one pail."""
    seat = take_seat(request, programme, to=To.MIX)
    state = _pail(seat, pail)
    own = _component(state, component)
    if own.complete and request.method == "GET":
        return redirect("pail", programme=programme, pail=pail)
    form = _weigh_form(request, seat, state, own)
    if request.method == "POST" and request.POST.get("step") != "mend" and form.is_valid():
        try:
            made = weigh_out(
                pail=state.pail, component=own.target.component, by=seat.person, **form.reading()
            )
        except ReadingAsked as refusal:
            return _stop(request, seat, state, own, form, refusal.asked)
        except Refused as refusal:
            _tell(form, refusal)
        else:
            return _after(request, seat, state, made)
    return render(request, "blends/weigh.html", _weigh_page(seat, state, own, form))


def _component(state: PailState, pk: int) -> ComponentState:
    for each in state.components:
        if each.target.component_id == pk:
            return each
    raise Http404


def _tell(form: Any, refusal: Refused) -> None:
    form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)


def _weigh_form(request: HttpRequest, seat: Seat, state: PailState, own: ComponentState) -> WeighForm:
    day = state.pail.batch.day
    tare = (
        WeighOut.objects.filter(pail__batch__day=day, component__material=own.target.component.material_id)
        .order_by("-id")
        .values_list("tare_mg", flat=True)
        .first()
    )
    initial = {"tare": as_read(tare, seat) if tare else ""}
    return WeighForm(
        request.POST if request.method == "POST" else None,
        component=own.target.component,
        programme=seat.programme,
        lots=lots_of_day(day),
        scales=_scales(seat, own.target.scale),
        scale=own.target.scale,
        hands=[p for p in hands(day) if p.pk != seat.person.pk],
        initial=initial,
    )


def as_read(mg: int, seat: Seat) -> str:
    """A mass as it would be typed into a reading's box, whose unit is the gram: `5154.4`; else with its units."""
    grams = f"{Decimal(mg).scaleb(-3).normalize():f}"
    if seat.programme.units == US or len(grams.partition(".")[2]) == 3:  # 12.345 has two readings
        return q.print_mass(q.Mass(mg), "us" if seat.programme.units == US else "metric")
    return grams


def _scales(seat: Seat, planned: Scale) -> list[Scale]:
    rows = Scale.objects.filter(programme=seat.programme, retired=False)
    return sorted(rows, key=lambda s: (s.pk != planned.pk, s.name))


def _unit(seat: Seat, own: ComponentState) -> ReadingUnit:
    target = own.target
    return unit_for(target.target_mg, target.scale.division_mg, seat.programme.units)


def _weigh_page(seat: Seat, state: PailState, own: ComponentState, form: WeighForm) -> dict[str, Any]:
    wanted = as_wanted(own.target, max(own.left_mg, 1))
    position = [c.target.pk for c in state.components].index(own.target.pk) + 1
    cautions = [c for c in own.target.component.material.cautions if c["code"] != "dust"]
    return {
        "state": state,
        "pail": state.pail,
        "day": state.pail.batch.day,
        "own": own,
        "form": form,
        "position": position,
        "of": len(state.components),
        "done": sum(1 for c in state.components if c.complete),
        "borate": any(c["code"] == "borate" for c in cautions),
        "cautions": [c for c in cautions if c["code"] != "borate"],
        "heavy": own.target.target_mg > 10_000_000,
        "target_words": _unit(seat, own).words(_shown(wanted)),
        "scale_words": scale_words(own.target.scale, seat.programme.units),
        "unfit": wanted.fit not in (Fitness.FINE,),
        "over": wanted.fit is Fitness.OVER_MAXIMUM,
        **_net(seat, own, wanted, form),
    }


def _shown(wanted: Wanted) -> int:
    return wanted.target.shown_mg or wanted.target.target_mg


def _net(seat: Seat, own: ComponentState, wanted: Wanted, form: WeighForm) -> dict[str, Any]:
    """The column gross, vessel, net, and the band of what is good, as far as they can be read."""
    unit = _unit(seat, own)
    gross, tare = _read(form, "gross"), _read(form, "tare") or 0
    net = None if gross is None or gross <= tare else gross - tare
    off = None if net is None else net - wanted.target.target_mg
    within = off is not None and abs(off) <= wanted.target.tolerance_mg
    return {
        "unit": unit.name,
        "digits": unit.digits,
        "target": unit.value(_shown(wanted)),
        "low": unit.value(wanted.low_mg),
        "high": unit.value(wanted.high_mg),
        "net": None if net is None else unit.value(net),
        "net_words": "" if net is None else unit.words(net),
        "net_figure": "" if net is None else unit.figure(net),
        "tare_words": unit.figure(tare) if tare else "",
        "within": within,
        "off_words": "" if off is None else _off_words(off, unit),
        "lot_code": _lot_code(form),
    }


def _off_words(off: int, unit: ReadingUnit) -> str:
    if not off:
        return "on the target"
    return f"{unit.words(abs(off))} {'over' if off > 0 else 'under'}"


def _read(form: WeighForm, name: str) -> int | None:
    """What stands in a box, quietly: None while it cannot be read."""
    text = str(form[name].value() or "").strip()
    try:
        return q.parse_mass(text, default_unit=form.fields[name].default_unit).milligrams  # type: ignore[attr-defined]
    except q.QuantityError:
        return None


def _lot_code(form: WeighForm) -> str:
    chosen = str(form["lot"].value() or "")
    words = dict(form.fields["lot"].choices)  # type: ignore[attr-defined]
    return str(words.get(chosen, "")).partition(":")[0]


@login_required
@require_http_methods(["GET"])
def weigh_net(request: HttpRequest, programme: int, pail: int, component: int) -> HttpResponse:
    """The net and its band while somebody types; nothing is recorded."""
    seat = take_seat(request, programme, to=To.MIX)
    state = _pail(seat, pail)
    own = _component(state, component)
    form = WeighForm(
        request.GET,
        component=own.target.component,
        programme=seat.programme,
        lots=lots_of_day(state.pail.batch.day),
        scales=[],
        scale=own.target.scale,
        hands=[],
    )
    wanted = as_wanted(own.target, max(own.left_mg, 1))
    return render(request, "blends/_weigh_net.html", {**_net(seat, own, wanted, form), "live": True})


def _after(request: HttpRequest, seat: Seat, state: PailState, made: WeighOut) -> HttpResponse:
    unit = unit_for(made.target_mg, made.scale.division_mg, seat.programme.units)
    said = f"Recorded: {unit.words(made.net_mg)} of {made.lot.material.name}, lot {made.lot.code}."
    fresh = _pail(seat, state.pail.pk)
    if fresh.next:
        messages.success(request, said)
        return redirect(
            "weigh", programme=seat.programme.pk, pail=state.pail.pk, component=fresh.next.target.component_id
        )
    messages.success(request, f"{said} Pail {state.pail.number} is complete.")
    return redirect("pail", programme=seat.programme.pk, pail=state.pail.pk)


# --- the question ---------------------------------------------------------------------------------------


def _stop(
    request: HttpRequest, seat: Seat, state: PailState, own: ComponentState, form: WeighForm, asked: Asked
) -> HttpResponse:
    page = _weigh_page(seat, state, own, form)
    kept = [(name, value) for name, value in request.POST.items() if name not in _NOT_KEPT]
    unit = unit_for(own.target.target_mg, own.target.scale.division_mg, seat.programme.units)
    context = {**page, "asked": asked, "kept": kept, **stop_words(asked, own.target.component, unit)}
    return render(request, "blends/weigh_stop.html", context)


_NOT_KEPT = {"csrfmiddlewaretoken", "question_reason", "step"}


def stop_words(asked: Asked, component: Component, unit: ReadingUnit) -> dict[str, Any]:
    """Heading and lines of the stop page: what the reading looks like, in the reader's units."""
    net, wanted = unit.words(asked.net_mg), unit.words(asked.target.shown_mg or asked.target.target_mg)
    question = asked.question
    lines: list[str] = []
    doubts = question.doubts if question else ()
    if Doubt.TEN_TIMES in doubts:
        heading = f"{net} is ten times too much."
    elif Doubt.A_TENTH in doubts:
        heading = f"{net} is a tenth of what is wanted."
    elif doubts:
        off = asked.net_mg - asked.target.target_mg
        heading = f"{net} is {unit.words(abs(off))} too {'much' if off > 0 else 'little'}."
    elif WRONG_BAG in asked.codes:
        heading = f"That bag is {asked.bag}."
    else:
        heading = "This scale is too coarse for it."
    lines.append(f"{wanted} of {component.material.name} is wanted.")
    if question and question.another:
        other: Target = question.another
        lines.append(
            f"{unit.words(other.shown_mg)} is the target of {other.part.name}: is the other bag open?"
        )
    if question and Doubt.UNIT in doubts:
        lines.append(f"It would fit if the scale shows {question.shown} where {question.typed} was typed.")
    if WRONG_BAG in asked.codes and doubts:
        lines.append(f"The lot that you chose is {asked.bag}, not {component.material.name}.")
    boron = ""
    if question and question.boron_multiple is not None:
        boron = f"In the pail, boron would be {float(question.boron_multiple):.1f} times the design."
    if any(code.startswith("scale_") for code in asked.codes):
        lines.append("The scale's step or smallest load makes the error larger than the reading may be off.")
    return {"heading": heading, "lines": lines, "boron": boron, "scale_only": asked.of_the_scale_only}


# --- the pail -------------------------------------------------------------------------------------------


@login_required
@require_http_methods(["GET"])
def pail(request: HttpRequest, programme: int, pail: int) -> HttpResponse:
    """One pail: what went in, by whom, from which lot; whether it may be handed out."""
    seat = take_seat(request, programme, to=To.READ)
    return _pail_page(request, seat, _pail(seat, pail), ReleaseForm(), HoldForm())


def _pail_page(
    request: HttpRequest, seat: Seat, state: PailState, release: ReleaseForm, hold: HoldForm
) -> HttpResponse:
    reversed_ones = (
        WeighOut.objects.filter(pail=state.pail, ticket__reversed_by__isnull=False)
        .select_related("component__material", "lot", "scale", "ticket__by", "ticket__reversed_by__by")
        .order_by("id")
    )
    reasons: tuple[Reason, ...] = getattr(state.verdict, "reasons", ())
    context = {
        "state": state,
        "pail": state.pail,
        "batch": state.pail.batch,
        "day": state.pail.batch.day,
        "rows": [_row(seat, c, state.to_look_at) for c in state.components],
        "struck": list(reversed_ones),
        "compare": _compare(state),
        "held": isinstance(state.verdict, Held),
        "never": isinstance(state.verdict, Never),
        "shut": not state.pail.batch.day.is_open and not was_released(state.pail),
        "reasons": [r.text for r in reasons],
        "off": any(r.nutrient for r in reasons),
        "release": release,
        "hold": hold,
        "place_url": link("place", programme=seat.programme.pk, pk=state.pail.place.pk),
        "desk_url": link("desk", programme=seat.programme.pk, day=state.pail.batch.day_id),
        "weigh_words": f"Weigh {state.next.target.component.material.name}" if state.next else "",
        "release_words": f"Release pail {state.pail.number}",
    }
    return render(request, "blends/pail.html", context)


def _row(seat: Seat, own: ComponentState, to_look_at: Sequence[WeighOut]) -> dict[str, Any]:
    wanted = as_wanted(own.target)
    unit = _unit(seat, own)
    return {
        "own": own,
        "wanted": wanted,
        "unit": unit.name,
        "target": unit.figure(_shown(wanted)),
        "good": f"{unit.figure(wanted.low_mg)} to {unit.figure(wanted.high_mg)}",
        "weighed": [
            {
                "it": w,
                "net": unit_for(w.target_mg, w.scale.division_mg, seat.programme.units).words(w.net_mg),
                "looked": getattr(w, "look", None),
                "look_wanted": w in to_look_at,
                "own": w.ticket.by_id == seat.person.pk,
            }
            for w in own.weigh_outs
        ],
    }


def _compare(state: PailState) -> list[dict[str, str]]:
    """Each nutrient that the design declares, as designed and as made."""
    if state.made is None:
        return []
    rows = []
    for n in Nutrient:
        meant, got = state.design.percent.get(n), state.made.percent.get(n)
        if meant is None and got is None:
            continue
        off = "" if not meant or got is None else f"{float(got / meant - 1) * 100:+.1f} %".replace("-", "−")
        rows.append(
            {
                "name": n.english.capitalize(),
                "design": "not declared" if meant is None else percent_text(meant),
                "made": "not declared" if got is None else percent_text(got),
                "off": off,
            }
        )
    return rows


@login_required
@require_http_methods(["POST"])
def pail_decide(request: HttpRequest, programme: int, pail: int) -> HttpResponse:
    """Release, accept or hold: decided pail by pail."""
    seat = take_seat(request, programme, to=To.MIX)
    state = _pail(seat, pail)
    step = request.POST.get("step", "")
    release = ReleaseForm(request.POST if step == "accept" else None)
    hold = HoldForm(request.POST if step == "hold" else None)
    try:
        if step == "release":
            release_pail(pail=state.pail, by=seat.person)
            messages.success(request, f"Pail {state.pail.number} is released: it may be handed out.")
        elif step == "accept" and release.is_valid():
            reason = release.cleaned_data["reason"]
            release_pail(pail=state.pail, by=seat.person, reason=reason, accept=True)
            messages.success(request, f"Pail {state.pail.number} is released as it is, with your reason.")
        elif step == "hold" and hold.is_valid():
            hold_pail(pail=state.pail, by=seat.person, reason=hold.cleaned_data["reason"])
            messages.success(request, f"Pail {state.pail.number} is held: nothing is handed out of it.")
        else:
            return _pail_page(request, seat, state, release, hold)
    except Refused as refusal:
        if step == "accept":
            _tell(release, refusal)
            return _pail_page(request, seat, state, release, hold)
        messages.warning(request, refusal.message)
    return redirect("pail", programme=programme, pail=pail)


@login_required
@require_http_methods(["POST"])
def look(request: HttpRequest, programme: int, weigh_out: int) -> HttpResponse:
    """A second person has looked at bag, scale and reading."""
    seat = take_seat(request, programme, to=To.MIX)
    row = find(seat, WeighOut.objects.select_related("ticket", "pail"), weigh_out)
    try:
        look_at(weigh_out=row, by=seat.person)
        messages.success(request, "Thank you: you have looked at bag, scale and reading.")
    except Refused as refusal:
        messages.warning(request, refusal.message)
    return redirect("pail", programme=programme, pail=row.pail_id)


@login_required
@require_http_methods(["GET", "POST"])
def weigh_correct(request: HttpRequest, programme: int, weigh_out: int) -> HttpResponse:
    """What was really read; the first entry stays in sight, struck."""
    seat = take_seat(request, programme, to=To.MIX)
    row = find(
        seat,
        WeighOut.objects.select_related(
            "ticket__by", "lot__material", "scale", "component__material", "pail"
        ),
        weigh_out,
    )
    state = _pail(seat, row.pail_id)
    own = _component(state, row.component_id)
    if hasattr(row.ticket, "reversed_by"):
        messages.warning(request, "That reading was taken back already; correct the one that stands.")
        return redirect("pail", programme=programme, pail=row.pail_id)
    form = _correct_form(request, seat, state, own, row)
    asked: Asked | None = None
    if request.method == "POST" and form.is_valid():
        try:
            _correct(request, seat, row, form)
            messages.success(request, "Corrected. The first entry stays in the list, struck.")
            return redirect("pail", programme=programme, pail=row.pail_id)
        except ReadingAsked as refusal:
            asked = refusal.asked
            form.doubtful()
            _tell(form, refusal)
        except Refused as refusal:
            _tell(form, refusal)
    context = {
        "weigh_out": row,
        "pail": state.pail,
        "day": state.pail.batch.day,
        "form": form,
        "asked": asked,
        "was": unit_for(row.target_mg, row.scale.division_mg, seat.programme.units).words(row.net_mg),
    }
    return render(request, "blends/weigh_correct.html", context)


def _correct(request: HttpRequest, seat: Seat, row: WeighOut, form: CorrectForm) -> None:
    reading = form.reading()
    reading.pop("part")
    reason = form.cleaned_data["reason"]
    if request.POST.get("step") == "reverse":
        reverse_weigh_out(weigh_out=row, by=seat.person, key=reading["key"], reason=reason)
        return
    correct_weigh_out(weigh_out=row, by=seat.person, reason=reason, **reading)


def _correct_form(
    request: HttpRequest, seat: Seat, state: PailState, own: ComponentState, row: WeighOut
) -> CorrectForm:
    initial = {
        "lot": row.lot_id,
        "scale": row.scale_id,
        "gross": as_read(row.gross_mg, seat),
        "tare": as_read(row.tare_mg, seat) if row.tare_mg else "",
        "alone": row.alone,
    }
    lots = {lot.pk: lot for lot in lots_of_day(state.pail.batch.day)}
    lots.setdefault(row.lot_id, row.lot)
    scales = {s.pk: s for s in _scales(seat, row.scale)}
    scales.setdefault(row.scale_id, row.scale)
    return CorrectForm(
        request.POST if request.method == "POST" else None,
        component=own.target.component,
        programme=seat.programme,
        lots=list(lots.values()),
        scales=list(scales.values()),
        scale=row.scale,
        hands=[p for p in hands(state.pail.batch.day) if p.pk != seat.person.pk],
        initial=initial,
    )


def wanted_rows(seat: Seat, targets: list[PailTarget]) -> list[dict[str, Any]]:
    """Targets as papers print them: order, target, good band, scale."""
    rows = []
    for row in targets:
        wanted = as_wanted(row)
        unit = unit_for(row.target_mg, row.scale.division_mg, seat.programme.units)
        rows.append(
            {
                "name": row.component.material.name,
                "trace": row.component.material.is_trace,
                "target": unit.figure(_shown(wanted)),
                "unit": unit.name,
                "good": f"{unit.figure(wanted.low_mg)} to {unit.figure(wanted.high_mg)}",
                "scale": scale_words(row.scale, seat.programme.units),
                "scale_name": row.scale.name,
                "fine": fit_of(row.target_mg, row.scale, row.component.material.is_trace) is Fitness.FINE,
            }
        )
    return rows


def day_of(seat: Seat, pk: int) -> MixingDay:
    return find(seat, MixingDay.objects.select_related("garden", "programme"), pk)
