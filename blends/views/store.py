"""The shed: deliveries, what stands where, counts, losses, moves."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from blends.actions.stock import (
    change_lot,
    count_place,
    move_lot,
    receive_lot,
    send_back,
    state_loss,
    weighings,
)
from blends.batching import count_band
from blends.forms import CountForm, LossForm, LotChangeForm, LotForm, MoveForm, SendBackForm
from blends.models import Count, Gate, Lot, MixingDay, Place, PlaceKind, Ticket, TicketKind
from blends.queries.store import lots as lots_of
from blends.queries.store import stock as stock_of
from blends.views.pages import link
from blends.wording import unit_for
from gardens.access import Seat, To, find, take_seat
from gardens.clock import today
from gardens.figures import decimals_of
from gardens.forms import attempt


def places() -> QuerySet[Place]:
    """Places with what their words need."""
    return Place.objects.select_related(
        "lot__material", "garden", "pail__batch__day", "plot__garden", "batch"
    )


@login_required
@require_http_methods(["GET"])
def lots(request: HttpRequest, programme: int) -> HttpResponse:
    """All deliveries, newest first; prices for those who report."""
    seat = take_seat(request, programme, to=To.READ)
    rows = list(lots_of(seat.programme))
    stand = [lot for lot in rows if not lot.withdrawn]
    context = {"lots": rows, "stand": len(stand), "paid": sum(lot.price_minor for lot in stand)}
    return render(request, "blends/lots.html", context)


@login_required
@require_http_methods(["GET", "POST"])
def lot_add(request: HttpRequest, programme: int) -> HttpResponse:
    """One delivery: bags, what one holds, what was paid, from whom, when, where it stands."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    initial = {"material": request.GET.get("material", ""), "day": today(seat.programme)}
    form = LotForm(request.POST or None, initial=initial, programme=seat.programme)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        lot = attempt(
            form,
            lambda: receive_lot(
                programme=seat.programme,
                by=seat.person,
                material=data["material"],
                code=data["code"],
                bags=data["bags"],
                bag_mass_mg=data["bag_mass"].milligrams,
                price_minor=data["price"] or 0,
                supplier=data["supplier"],
                day=data["day"],
                garden=data["garden"],
                spot=data["spot"],
                key=data["key"],
            ),
        )
        if lot:
            messages.success(request, f"Lot {lot.code} is in store. Write {lot.code} on its bags.")
            return redirect("stock", programme=programme)
    return render(request, "blends/lot_add.html", {"form": form})


@login_required
@require_http_methods(["GET", "POST"])
def lot(request: HttpRequest, programme: int, lot: int) -> HttpResponse:
    """Mend what was typed wrong of a delivery: its mark, its price, its supplier. Mass is mended by counting."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    row = find(seat, Lot.objects.select_related("material", "garden"), lot)
    places = 10 ** decimals_of(seat.programme.currency)
    price = f"{row.price_minor / places:.{len(str(places)) - 1}f}"
    initial = {"code": row.code, "supplier": row.supplier, "price": price}
    form = LotChangeForm(request.POST or None, initial=initial, programme=seat.programme)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        changed = attempt(
            form,
            lambda: change_lot(
                lot=row,
                by=seat.person,
                code=data["code"],
                price_minor=data["price"] or 0,
                supplier=data["supplier"],
            ),
        )
        if changed:
            messages.success(request, f"Lot {changed.code} is mended.")
            return redirect("lots", programme=programme)
    came = Ticket.objects.filter(kind=TicketKind.RECEIVE, lines__target__lot=row, reversed_by=None).first()
    context = {
        "lot": row,
        "form": form,
        "take_back": link("ticket_reverse", programme=programme, pk=came.pk) if came else "",
    }
    return render(request, "blends/lot.html", context)


@login_required
@require_http_methods(["GET"])
def stock(request: HttpRequest, programme: int) -> HttpResponse:
    """What the book says stands where, lot by lot."""
    seat = take_seat(request, programme, to=To.READ)
    shed = stock_of(seat.programme)
    return render(
        request,
        "blends/stock.html",
        {"shed": [s for s in shed if s.places], "out": [s for s in shed if not s.places]},
    )


@login_required
@require_http_methods(["GET", "POST"])
def count(request: HttpRequest, programme: int, place: int) -> HttpResponse:
    """Count one place: the difference beside the band that weighing explains."""
    seat = take_seat(request, programme, to=To.MIX)
    row = find(seat, places().filter(kind__in=[PlaceKind.LOT, PlaceKind.PAIL]), place)
    form = CountForm(request.POST or None)
    day = row.pail.batch.day if row.pail else None
    outside: dict[str, Any] = {}
    if request.method == "POST" and form.is_valid():
        counted = form.cleaned_data["counted"].milligrams
        made = attempt(form, lambda: _count(seat, row, day, form))
        if made:
            messages.success(request, counted_words(made, row, seat))
            return redirect(_back_to(row, day, programme))
        outside = {"counted_mg": counted, "difference_mg": counted - row.balance_mg}
    divisions = [*weighings(row), seat.programme.desk_division_mg]
    band = count_band(divisions)
    unit = unit_for(band.band_mg, seat.programme.desk_division_mg, seat.programme.units)
    drawing = None
    if outside:
        drawing = {
            "low": unit.value(-band.band_mg),
            "high": unit.value(band.band_mg),
            "reading": unit.value(outside["difference_mg"]),
            "digits": unit.digits,
            "unit": unit.name,
        }
    counts = Count.objects.filter(place=row).select_related("by").order_by("-id")[:5]
    context = {
        "place": row,
        "form": form,
        "band": band,
        "band_words": unit_for(band.band_mg, 100, seat.programme.units).words(band.band_mg),
        "drawing": drawing,
        "counts": counts,
        "back": _back_to(row, day, programme),
        **outside,
    }
    return render(request, "blends/count.html", context)


def _count(seat: Seat, place: Place, day: MixingDay | None, form: CountForm) -> Count:
    data = form.cleaned_data
    return count_place(
        place=place,
        by=seat.person,
        counted_mg=data["counted"].milligrams,
        key=data["key"],
        reason=data["reason"],
        day=day,
    )


def counted_words(made: Count, place: Place, seat: Seat) -> str:
    """What a count came to, in a sentence."""
    from gardens.figures import mass, signed

    units = seat.programme.units
    said = f"Counted {mass(made.counted_mg, units)}: {signed(made.difference_mg, units)} beside the book"
    return f"{said}, {'within weighing' if made.within else 'outside what weighing explains'}."


def _back_to(place: Place, day: MixingDay | None, programme: int) -> str:
    if day:
        return link("close_day", programme=programme, day=day.pk)
    return link("stock", programme=programme)


@login_required
@require_http_methods(["GET", "POST"])
def loss(request: HttpRequest, programme: int, place: int) -> HttpResponse:
    """Spilt, swept up or thrown away, with its reason; it opens no pail."""
    seat = take_seat(request, programme, to=To.MIX)
    row = find(seat, places().filter(kind__in=[PlaceKind.LOT, PlaceKind.PAIL]), place)
    form = LossForm(request.POST or None)

    def act() -> object:
        data = form.cleaned_data
        return state_loss(
            place=row,
            by=seat.person,
            mass_mg=data["mass"].milligrams,
            reason=data["reason"],
            key=data["key"],
            to=data["to"],
        )

    day = row.pail.batch.day if row.pail else None
    back = link("day", programme=programme, day=day.pk) if day else link("stock", programme=programme)
    return _carry_out(request, form, act, row, back, "blends/loss.html", "The loss is written down.")


@login_required
@require_http_methods(["GET", "POST"])
def lot_move(request: HttpRequest, programme: int, place: int) -> HttpResponse:
    """A bag was carried to another spot."""
    seat = take_seat(request, programme, to=To.MIX)
    row = find(seat, places().filter(kind=PlaceKind.LOT), place)
    form = MoveForm(request.POST or None, programme=seat.programme, initial={"garden": row.garden_id})

    def act() -> object:
        data = form.cleaned_data
        return move_lot(
            place=row,
            by=seat.person,
            mass_mg=data["mass"].milligrams,
            garden=data["garden"],
            spot=data["spot"],
            key=data["key"],
        )

    back = link("stock", programme=programme)
    return _carry_out(request, form, act, row, back, "blends/lot_move.html", "It stands there now.")


@login_required
@require_http_methods(["GET", "POST"])
def lot_send_back(request: HttpRequest, programme: int, place: int) -> HttpResponse:
    """Some of a lot went back to its supplier."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    row = find(seat, places().filter(kind=PlaceKind.LOT), place)
    form = SendBackForm(request.POST or None)

    def act() -> object:
        data = form.cleaned_data
        return send_back(
            place=row,
            by=seat.person,
            mass_mg=data["mass"].milligrams,
            reason=data["reason"],
            key=data["key"],
        )

    back = link("stock", programme=programme)
    return _carry_out(request, form, act, row, back, "blends/lot_send_back.html", "Returned to the supplier.")


def _carry_out(
    request: HttpRequest, form: Any, act: Callable[[], object], place: Place, back: str, page: str, said: str
) -> HttpResponse:
    if request.method == "POST" and form.is_valid() and attempt(form, act):
        messages.success(request, said)
        return redirect(back)
    held = place.gate in (Gate.FILLING, Gate.HELD)
    return render(request, page, {"form": form, "place": place, "back": back, "held": held})
