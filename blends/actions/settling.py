"""Settling what is flagged, and taking whole tickets back. Settling gives a reason and moves nothing."""

from __future__ import annotations

import uuid

from django.db import transaction
from django.utils import timezone

from blends import ledger
from blends.models import Flag, Ticket, TicketKind
from gardens.models import Person
from gardens.refusals import InTheWay, Refused

#: What may be taken back as it stands; weigh-outs and collections have corrections of their own.
PLAIN = frozenset(
    {
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


def settle_reversed(*, ticket: Ticket, reversal: Ticket, by: Person) -> int:
    """A ticket that was taken back leaves nothing to settle; returns how many flags that was."""
    return Flag.objects.filter(ticket=ticket, settled_at=None).update(
        settled_reason=f"reversed by {reversal}: {reversal.reason}"[:400],
        settled_by=by,
        settled_at=timezone.now(),
    )


@transaction.atomic
def reverse_ticket(*, ticket: Ticket, by: Person, key: uuid.UUID, reason: str) -> Ticket:
    """Take a plain ticket back (a loss, waste, a move, what was taken back or handed over tub to tub)."""
    if ticket.kind not in PLAIN:
        raise Refused("not_so", f"{ticket.get_kind_display()}: such a ticket is corrected where it was made.")
    reversal = ledger.reverse(ticket=ticket, by=by, key=key, reason=reason.strip())
    if not reversal.replayed:
        settle_reversed(ticket=ticket, reversal=reversal, by=by)
    return reversal
