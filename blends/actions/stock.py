"""What is bought and where it stands: materials, declarations, deliveries, losses, counts."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import timezone

from blends import catalogue, ledger
from blends.batching import count_band
from blends.chemistry import HUNDRED, Analysis, from_formula, from_label
from blends.chemistry import Slow as SlowAnswer
from blends.ledger import Entry, Line
from blends.models import (
    Basis,
    Count,
    Declaration,
    Flag,
    FlagCode,
    Kind,
    Lot,
    Material,
    MixingDay,
    Movement,
    Place,
    PlaceKind,
    Slow,
    Ticket,
    TicketKind,
)
from blends.refusals import told_kindly, wanted
from gardens.clock import today
from gardens.models import Garden, Person, Programme
from gardens.nutrients import Nutrient
from gardens.refusals import InTheWay, Refused

#: From most to least sure; a declaration is as sure as its weakest figure.
SURENESS = ("FOUND", "LIBRARY", "DERIVED", "FOUND (2nd)", "common practice, no source", "MEMORY")
MOST_BAGS = 10_000
MOST_MG = 10**12
LONG_BACK = dt.timedelta(days=366 * 5)


# --- materials ------------------------------------------------------------------------------------------


@transaction.atomic
def adopt_material(*, programme: Programme, by: Person, code: str) -> Material:
    """Copy an entry of the catalogue, with its code and version, into the programme's own materials."""
    try:
        entry = catalogue.material(code)
    except KeyError:
        raise Refused("not_in_catalogue", "The catalogue has no such material.", "code") from None
    figures = [*entry.values.values(), *([entry.purity] if entry.purity else [])]
    material = _new_material(
        programme,
        name=entry.name,
        kind=Kind(entry.kind),
        catalogue_code=entry.code,
        catalogue_version=catalogue.VERSION,
        bulk_density=entry.bulk_density_g_ml.value,
        cautions=[{"code": c.code, "text": c.text, "source": c.source} for c in entry.cautions],
    )
    Declaration.objects.create(
        programme=programme,
        material=material,
        basis=Basis(entry.basis),
        values={key: f"{figure.value}" for key, figure in entry.values.items()},
        formula=entry.formula or "",
        purity=entry.purity.value if entry.purity else HUNDRED,
        slow=Slow(entry.slow),
        source="; ".join(dict.fromkeys(f.source for f in figures))[:300] or "the element's own nature",
        confidence=max(
            (f.confidence for f in figures), key=SURENESS.index, default="common practice, no source"
        ),
        by=by,
    )
    return material


@transaction.atomic
def declare_material(
    *,
    programme: Programme,
    by: Person,
    name: str,
    kind: str,
    values: Mapping[str, Decimal] | None = None,
    slow: str = Slow.UNKNOWN,
    formula: str = "",
    purity: Decimal = HUNDRED,
    bulk_density: Decimal | None = None,
    source: str = "the bag",
    confidence: str = "",
) -> Material:
    """A material as its bag says, or by a formula and its purity. What is not given is not declared."""
    analysis = _analysis(values or {}, slow, formula, purity)
    kind = _kind(kind)
    if bulk_density is not None and not Decimal("0.02") <= bulk_density <= 5:
        raise Refused("density", "A bulk density lies between 0.02 and 5 g/mL, such as 0.95.", "bulk_density")
    material = _new_material(
        programme,
        name=_name(name),
        kind=Kind(kind),
        bulk_density=bulk_density,
        cautions=_usual_cautions(Kind(kind), analysis),
    )
    _declare(material, by, values or {}, slow, formula, purity, source, confidence)
    return material


@transaction.atomic
def declare_again(
    *,
    material: Material,
    by: Person,
    values: Mapping[str, Decimal] | None = None,
    slow: str = Slow.UNKNOWN,
    formula: str = "",
    purity: Decimal = HUNDRED,
    source: str = "the bag",
    confidence: str = "",
) -> Declaration:
    """The next bag says something else: a new declaration; lots and revisions keep the one they had."""
    _analysis(values or {}, slow, formula, purity)
    return _declare(material, by, values or {}, slow, formula, purity, source, confidence)


def _new_material(programme: Programme, **fields: Any) -> Material:
    try:
        with transaction.atomic():
            return Material.objects.create(programme=programme, **fields)
    except IntegrityError:
        raise InTheWay(
            "have_it", f"You have a material named “{fields['name']}”. Open it to declare it anew.", "name"
        ) from None


def _declare(
    material: Material,
    by: Person,
    values: Mapping[str, Decimal],
    slow: str,
    formula: str,
    purity: Decimal,
    source: str,
    confidence: str,
) -> Declaration:
    return Declaration.objects.create(
        programme=material.programme,
        material=material,
        basis=Basis.FORMULA if formula else Basis.LABEL,
        values={} if formula else {key: f"{value}" for key, value in values.items()},
        formula=formula.strip(),
        purity=purity,
        slow=Slow.NO if formula else Slow(slow),
        source=source.strip()[:300],
        confidence=confidence,
        by=by,
    )


def _analysis(values: Mapping[str, Decimal], slow: str, formula: str, purity: Decimal) -> Analysis:
    if formula and values:
        raise Refused("both", "Give either what the bag declares, or a formula: not both.", "formula")
    if len(formula) > 80:
        raise Refused("formula", "That formula is too long. Write it like MgSO4·7H2O.", "formula")
    if slow not in Slow.values:
        raise Refused("slow", "Slow-release or coated: yes, no, or not known?", "slow")
    with told_kindly():
        return from_formula(formula, purity) if formula else from_label(values, slow=SlowAnswer(slow))


def _kind(kind: str) -> str:
    if kind not in Kind.values:
        raise Refused("kind", "Say what sort of material it is.", "kind")
    return kind


def _name(name: str) -> str:
    text = " ".join(name.split())
    if not text:
        raise Refused("name_wanted", "Give it the name that its bag has.", "name")
    if len(text) > 120:
        raise Refused("name_long", "That name is too long; 120 letters are the most.", "name")
    return text


def _usual_cautions(kind: Kind, analysis: Analysis) -> list[dict[str, str]]:
    """What every dust asks for, and what boron does; the bag's own label adds to it."""
    usual = [
        ("dust", "Its dust irritates eyes, skin and lungs: wear a dust mask, eye protection and gloves.")
    ]
    boron = analysis.percent.get(Nutrient.B)
    trace = kind in (Kind.TRACE_SALT, Kind.TRACE_CONCENTRATE)
    if boron or (trace and boron is None):
        usual.append(
            (
                "borate",
                "May harm fertility or an unborn child: nobody who is or may be pregnant handles it. "
                "Too much boron kills plants.",
            )
        )
    return [{"code": code, "text": text, "source": "usual for such materials"} for code, text in usual]


# --- deliveries -----------------------------------------------------------------------------------------


@transaction.atomic
def receive_lot(
    *,
    programme: Programme,
    by: Person,
    material: Material,
    code: str,
    bags: int,
    bag_mass_mg: int,
    price_minor: int,
    supplier: str,
    day: dt.date,
    garden: Garden,
    spot: str,
    key: uuid.UUID,
) -> Lot:
    """One delivery: from the supplier into one spot, at what its bags say they hold."""
    code, spot = " ".join(code.split()), " ".join(spot.split())
    payload = {
        "material": material.pk,
        "code": code,
        "bags": bags,
        "bag_mg": bag_mass_mg,
        "price": price_minor,
        "supplier": supplier,
        "day": day,
        "garden": garden.pk,
        "spot": spot,
    }
    if found := ledger.known(programme, key, TicketKind.RECEIVE, payload):
        return _lot_of(found)
    _check_delivery(programme, code, bags, bag_mass_mg, price_minor, day, spot)
    try:
        with transaction.atomic():
            lot = Lot.objects.create(
                programme=programme,
                material=material,
                declaration=material.current(),
                code=code,
                bags=bags,
                bag_mass_mg=bag_mass_mg,
                price_minor=price_minor,
                supplier=supplier.strip()[:120],
                day=day,
                garden=garden,
                spot=spot[:80],
                by=by,
            )
    except IntegrityError:
        if found := ledger.known(programme, key, TicketKind.RECEIVE, payload):
            return _lot_of(found)  # the same form, sent twice at once
        raise InTheWay(
            "lot_code_used", f"There is a lot {code} already. Give this one a mark of its own.", "code"
        ) from None
    place = Place.objects.create(
        programme=programme, kind=PlaceKind.LOT, lot=lot, garden=garden, spot=lot.spot
    )
    supplier_place = ledger.single(programme, PlaceKind.SUPPLIER)
    entry = Entry(TicketKind.RECEIVE, key, payload, [Line(supplier_place, place, lot.mass_mg)])
    ledger.post(programme=programme, by=by, entry=entry)
    return lot


@transaction.atomic
def change_lot(*, lot: Lot, by: Person, code: str, price_minor: int, supplier: str) -> Lot:
    """What was typed wrong of a delivery and moves no mass: its mark, its price, its supplier."""
    code = " ".join(code.split())
    if lot.withdrawn:
        raise InTheWay("withdrawn", f"Lot {lot.code} was taken back; enter the delivery as it came.")
    if not code or len(code) > 40:
        raise Refused("lot_code", "Give the lot a short mark to write on its bags, such as C-07.", "code")
    if not 0 <= price_minor <= 10**12:
        raise Refused("price", "A price is zero or more, such as 29.00 for all bags together.", "price")
    try:
        with transaction.atomic():
            Lot.objects.filter(pk=lot.pk).update(
                code=code, price_minor=price_minor, supplier=supplier.strip()[:120]
            )
    except IntegrityError:
        raise InTheWay("lot_code_used", f"There is a lot {code} already.", "code") from None
    lot.refresh_from_db()
    return lot


@transaction.atomic
def withdraw_lot(*, ticket: Ticket, by: Person, key: uuid.UUID, reason: str) -> Ticket:
    """A delivery entered wrong: its ticket is reversed, its price no longer counts, its mark is free again.

    Refused once anything else moved it that still stands.
    """
    lot = _lot_of(ticket)
    Place.objects.select_for_update(of=("self",)).get(
        lot=lot, ins__ticket=ticket
    )  # nothing leaves it meanwhile
    moved = Movement.objects.filter(Q(source__lot=lot) | Q(target__lot=lot)).filter(
        ticket__reversed_by=None, ticket__reverses=None
    )
    if moved.exclude(ticket=ticket).exists():
        raise InTheWay(
            "lot_begun",
            f"Some of lot {lot.code} was carried, counted or taken since it came. Count what stands there and "
            "say why, or send it back.",
        )
    reversal = ledger.reverse(ticket=ticket, by=by, key=key, reason=reason)
    Lot.objects.filter(pk=lot.pk).update(withdrawn=True)
    return reversal


def _lot_of(ticket: Ticket) -> Lot:
    lot: Lot | None = ticket.lines.select_related("target__lot")[0].target.lot
    assert lot is not None
    return lot


def _check_delivery(
    programme: Programme, code: str, bags: int, bag_mass_mg: int, price_minor: int, day: dt.date, spot: str
) -> None:
    if not code or len(code) > 40:
        raise Refused("lot_code", "Give the lot a short mark to write on its bags, such as C-07.", "code")
    if not 0 < bags <= MOST_BAGS:
        raise Refused("bags", "How many bags came? One or more.", "bags")
    if not 0 < bag_mass_mg <= MOST_MG // MOST_BAGS:
        raise Refused("bag_mass", "What one bag holds is more than nothing, such as 25 kg.", "bag_mass")
    if not 0 <= price_minor <= 10**12:
        raise Refused("price", "A price is zero or more, such as 29.00 for all bags together.", "price")
    if not spot:
        raise Refused("spot", "Say where it stands, such as north shed.", "spot")
    now = today(programme)
    if day > now:
        raise Refused("future", "A delivery is entered when it has come.", "day")
    if day < now - LONG_BACK:
        raise Refused("long_ago", "That day is more than five years back.", "day")


@transaction.atomic
def move_lot(
    *, place: Place, by: Person, mass_mg: int, garden: Garden, spot: str, key: uuid.UUID, reason: str = ""
) -> Place:
    """Carry some or all of a lot to another spot; told, since the bag already stands there."""
    spot = " ".join(spot.split())[:80]
    if place.lot is None:
        raise Refused("not_a_lot", "Only what is in store can be moved.")
    if not spot:
        raise Refused("spot", "Say where it stands now, such as north shed.", "spot")
    there, _ = Place.objects.get_or_create(
        programme=place.programme, kind=PlaceKind.LOT, lot=place.lot, garden=garden, spot=spot
    )
    if there.pk == place.pk:
        raise Refused("same_spot", "It stands there already.", "spot")
    payload = {"from": place.pk, "to": there.pk, "mass_mg": mass_mg, "reason": reason}
    _told(place, by, TicketKind.MOVE, there, mass_mg, payload, key, reason)
    return there


@transaction.atomic
def send_back(*, place: Place, by: Person, mass_mg: int, reason: str, key: uuid.UUID) -> Ticket:
    """Back to the supplier: told, since it has left."""
    if place.lot is None:
        raise Refused("not_a_lot", "Only what came from a supplier goes back there.")
    reason = wanted(reason)
    target = ledger.single(place.programme, PlaceKind.SUPPLIER)
    payload = {"place": place.pk, "mass_mg": mass_mg, "reason": reason}
    return _told(place, by, TicketKind.SEND_BACK, target, mass_mg, payload, key, reason)


@transaction.atomic
def state_loss(
    *, place: Place, by: Person, mass_mg: int, reason: str, key: uuid.UUID, to: str = "lost"
) -> Ticket:
    """Spilt, blown away, swept up (``lost``), or thrown away on purpose (``waste``): told, with its reason.

    It opens no pail.
    """
    if to not in (PlaceKind.LOST, PlaceKind.WASTE):
        raise Refused("to", "Say whether it was lost or thrown away.", "to")
    reason = wanted(reason, message="Say how it was lost, such as “spilt at the scale”.")
    kind = TicketKind.LOSS if to == PlaceKind.LOST else TicketKind.WASTE
    payload = {"place": place.pk, "mass_mg": mass_mg, "reason": reason, "to": to}
    return _told(
        place, by, kind, ledger.single(place.programme, PlaceKind(to)), mass_mg, payload, key, reason
    )


def _told(
    place: Place,
    by: Person,
    kind: TicketKind,
    target: Place,
    mass_mg: int,
    payload: Mapping[str, Any],
    key: uuid.UUID,
    reason: str,
) -> Ticket:
    if not 0 < mass_mg <= MOST_MG:
        raise Refused("no_mass", "Say how much, such as 250 g.", "mass")
    entry = Entry(
        kind,
        key,
        payload,
        [Line(place, target, mass_mg)],
        reason=reason,
        told={place.pk},
        is_told=True,
        told_about=reason or str(kind.label),
    )
    return ledger.post(programme=place.programme, by=by, entry=entry)


# --- counting -------------------------------------------------------------------------------------------


@transaction.atomic
def count_place(
    *,
    place: Place,
    by: Person,
    counted_mg: int,
    key: uuid.UUID,
    reason: str = "",
    day: MixingDay | None = None,
) -> Count:
    """What stands there, beside the book. The book is made to agree, the difference stays in *difference*.

    Inside the band the difference is "within weighing", which is its reason; outside it needs one in words.
    """
    programme = place.programme
    reason = reason.strip()[:400]
    payload = {"place": place.pk, "counted_mg": counted_mg, "day": day.pk if day else None, "reason": reason}
    if found := ledger.known(programme, key, TicketKind.COUNT, payload):
        return found.count
    if place.kind not in (PlaceKind.LOT, PlaceKind.PAIL, PlaceKind.TAKEN_BACK, PlaceKind.WASTE):
        raise Refused("not_counted", "That cannot be counted.")
    if not 0 <= counted_mg <= MOST_MG:
        raise Refused("counted", "A count is zero or more, such as 3.085 kg.", "counted")
    book = Place.objects.select_for_update().get(pk=place.pk).balance_mg
    band = count_band([*weighings(place), programme.desk_division_mg])
    difference = counted_mg - book
    if not band.holds(difference) and not reason:
        raise Refused(
            "reason_wanted",
            f"That is {abs(difference) / 1000:,.1f} g {'more' if difference > 0 else 'less'} than the book "
            f"says; {band.weighings} weighings explain up to {band.band_mg / 1000:,.1f} g. "
            "Count again, or say in a few words what happened.",
            "reason",
        )
    away = ledger.single(programme, PlaceKind.DIFFERENCE)
    lines = (
        [Line(*((away, place) if difference > 0 else (place, away)), abs(difference))] if difference else []
    )
    entry = Entry(TicketKind.COUNT, key, payload, lines, reason=reason or "within weighing", is_told=True)
    ticket = ledger.post(programme=programme, by=by, entry=entry)
    if ticket.replayed:
        return ticket.count
    if not band.holds(difference):
        Flag.objects.create(
            programme=programme,
            ticket=ticket,
            code=FlagCode.OUTSIDE,
            place=place,
            mass_mg=abs(difference),
            note="counted outside what weighing explains",
            settled_reason=reason,
            settled_by=by,
            settled_at=timezone.now(),
        )
    return Count.objects.create(
        programme=programme,
        place=place,
        day=day,
        counted_mg=counted_mg,
        book_mg=book,
        band_mg=band.band_mg,
        weighings=band.weighings,
        reason=reason,
        ticket=ticket,
        by=by,
        at=timezone.now(),
    )


def weighings(place: Place) -> Sequence[int]:
    """The divisions (mg) of the scales behind the place's movements since it was last counted.

    Weigh-outs know their scale; what was handed out or stated is read on the desk's. Deliveries, counts,
    moves and reversed acts are no weighings.
    """
    last = Count.objects.filter(place=place).order_by("-id").values_list("ticket_id", flat=True).first()
    moved = Movement.objects.filter(Q(source=place) | Q(target=place)).values("ticket")
    tickets = (
        Ticket.objects.filter(pk__in=moved, pk__gt=last or 0, reversed_by=None)
        .exclude(kind__in=[TicketKind.RECEIVE, TicketKind.COUNT, TicketKind.REVERSAL, TicketKind.MOVE])
        .values_list("weigh_out__scale__division_mg", flat=True)
    )
    return [division or place.programme.desk_division_mg for division in tickets]
