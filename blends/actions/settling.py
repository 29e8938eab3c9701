"""Settling what is flagged, and taking whole tickets back. Settling gives a reason and moves nothing."""

from __future__ import annotations

import uuid
from collections import defaultdict

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from blends import ledger
from blends.actions.stock import withdraw_lot
from blends.models import Count, DayState, Flag, FlagCode, Movement, Place, PlaceKind, Ticket, TicketKind
from gardens.models import Person
from gardens.refusals import InTheWay, Refused

#: What may be taken back as it stands; weigh-outs and collections have corrections of their own.
PLAIN = frozenset(
    {
        TicketKind.RECEIVE,  # while all of it stands where it came in
        TicketKind.LOSS,
        TicketKind.WASTE,
        TicketKind.MOVE,
        TicketKind.TAKE_BACK,
        TicketKind.HAND_OVER,
        TicketKind.SEND_BACK,
    }
)


def settle(*, flag: Flag, by: Person, reason: str) -> Flag:
    """Give what stands to settle its reason, once."""
    if not reason.strip():
        raise Refused("reason_wanted", "Say what is known about it, in a few words.", "reason")
    settled = Flag.objects.filter(pk=flag.pk, settled_at=None).update(
        settled_reason=reason.strip()[:400], settled_by=by, settled_at=timezone.now()
    )
    flag.refresh_from_db()
    if settled != 1:
        raise InTheWay("already_settled", f"{flag.settled_by} settled it already: {flag.settled_reason}")
    return flag


@transaction.atomic
def reverse_ticket(*, ticket: Ticket, by: Person, key: uuid.UUID, reason: str) -> Ticket:
    """Take a plain ticket back (a delivery, a loss, waste, a move, what was taken back or handed over tub to tub)."""
    if ticket.kind == TicketKind.RECEIVE:
        return withdraw_lot(ticket=ticket, by=by, key=key, reason=reason.strip())
    if ticket.kind not in PLAIN:
        raise Refused("not_so", f"{ticket.get_kind_display()}: such a ticket is corrected where it was made.")
    reversal = ledger.reverse(ticket=ticket, by=by, key=key, reason=reason.strip())
    if not reversal.replayed:
        flag_counted(ticket=ticket, on=reversal)
    return reversal


def flag_counted(*, ticket: Ticket, on: Ticket) -> None:
    """What changes in a pail that was counted since, its day closed: nobody counts it again, so it wants a word.

    ``ticket`` was just reversed; ``on`` is its reversal, or the ticket that corrects it.
    """
    changed: dict[Place, int] = defaultdict(int)
    lines = Movement.objects.filter(Q(ticket=on) | Q(ticket__reverses=ticket))
    for line in lines.select_related("source", "target"):
        changed[line.source] -= line.mass_mg
        changed[line.target] += line.mass_mg
    for place, mass_mg in changed.items():
        if mass_mg and place.kind == PlaceKind.PAIL and _was_counted(place, ticket):
            way = "put back into" if mass_mg > 0 else "taken out of"
            Flag.objects.create(
                programme=on.programme,
                ticket=on,
                code=FlagCode.LATE,
                place=place,
                mass_mg=abs(mass_mg),
                note=f"{way} it after it was counted, correcting ticket {ticket}",
            )


def _was_counted(place: Place, since: Ticket) -> bool:
    closed = Place.objects.filter(pk=place.pk, pail__batch__day__state=DayState.CLOSED)
    return closed.exists() and Count.objects.filter(place=place, ticket_id__gt=since.pk).exists()
