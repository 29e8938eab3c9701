"""The ledger's one writer.

Every act is a ticket with lines; each line takes a positive mass from one place to another, so the sum of all places
is zero by construction. Acts come in two kinds over the same ``post``:

*asked*: it has not happened yet. A place with too little, a gate that is shut, a used key: refused, nothing is kept.
*told*: it happened already. Nothing physical is refused: what a place lacked is drawn from *difference* in the same
ticket (difference -> place, then place -> target, never difference -> target) and flagged, to be settled in words.

Places are updated highest id first, everywhere, so that two acts never wait for each other in a circle.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from django.db import IntegrityError, connection, transaction
from django.db.models import F, QuerySet
from django.utils import timezone

from blends.models import SIGNED, Flag, FlagCode, Gate, Movement, Place, PlaceKind, Ticket, TicketKind
from gardens.models import Person, Programme
from gardens.refusals import InTheWay, Refused


@dataclass(frozen=True)
class Line:
    """So many milligrams from ``source`` to ``target``."""

    source: Place
    target: Place
    mass_mg: int


@dataclass(frozen=True)
class Require:
    """What an asked act needs a place to be, checked in the same UPDATE that books it."""

    gates: frozenset[str] = frozenset()  # empty: any
    unopened: bool = False


TRIES = 5
#: What ``str(place)`` reads, for select_related.
NAMED = ("lot__material", "garden", "pail__batch", "plot__garden", "batch")
RELEASED = Require(gates=frozenset({Gate.RELEASED}))
FILLABLE = Require(gates=frozenset({Gate.FILLING, Gate.HELD}), unopened=True)


@dataclass(frozen=True)
class Entry:
    """One ticket to be: its lines, and how each place is to be treated.

    ``told`` holds ids of places that may lack what is taken; ``require`` what asked places must be; ``opens`` the pails
    that this act opens; ``told_about`` the note put on the flag of what was lacking.
    """

    kind: TicketKind
    key: uuid.UUID
    payload: Mapping[str, Any]
    lines: Sequence[Line]
    reason: str = ""
    reverses: Ticket | None = None
    told: Collection[int] = field(default_factory=frozenset)
    require: Mapping[int, Require] = field(default_factory=dict)
    opens: Collection[int] = field(default_factory=frozenset)
    is_told: bool = False
    told_about: str = ""


def digest_of(kind: str, payload: Mapping[str, Any]) -> str:
    """The same act asked twice has the same digest: a hash of what was typed, not of what was computed."""
    text = json.dumps([kind, payload], sort_keys=True, separators=(",", ":"), default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def single(programme: Programme, kind: PlaceKind) -> Place:
    """The programme's one place of this kind (supplier, difference, waste, lost, taken back)."""
    place, _ = Place.objects.get_or_create(programme=programme, kind=kind)
    return place


def open_books(programme: Programme) -> None:
    """Give a new programme its single places, before any other place has an id."""
    for kind in (
        PlaceKind.DIFFERENCE,
        PlaceKind.SUPPLIER,
        PlaceKind.LOST,
        PlaceKind.WASTE,
        PlaceKind.TAKEN_BACK,
    ):
        single(programme, kind)


def known(programme: Programme, key: uuid.UUID, kind: str, payload: Mapping[str, Any]) -> Ticket | None:
    """The ticket that this key already made, or None. The same key for another act is refused."""
    ticket = Ticket.objects.filter(programme=programme, key=key).first()
    if ticket is None:
        return None
    if ticket.digest != digest_of(kind, payload):
        raise InTheWay(
            "key_reused", "This form was already used for something else. Open it afresh and type it again."
        )
    ticket.replayed = True
    return ticket


def post(
    *,
    programme: Programme,
    by: Person,
    entry: Entry,
    happened_at: dt.datetime | None = None,
    device: str = "",
) -> Ticket:
    """Book one act; returns its ticket (``ticket.replayed`` is true where the key was known).

    Raises Refused, after which nothing of it is kept.
    """
    return post_all(programme=programme, by=by, entries=[entry], happened_at=happened_at, device=device)[0]


def post_all(
    *,
    programme: Programme,
    by: Person,
    entries: Sequence[Entry],
    happened_at: dt.datetime | None = None,
    device: str = "",
) -> list[Ticket]:
    """Book several tickets as one act: balances are checked after all of them together."""
    with transaction.atomic():
        tickets: list[Ticket] = []
        for entry in entries:
            if found := known(programme, entry.key, entry.kind, entry.payload):
                return [found, *_replayed(programme, entries[1:])]
            ticket = _insert_ticket(programme, by, entry, happened_at or timezone.now(), device)
            if ticket is None:  # somebody with the same key was first by a hair
                again = known(programme, entry.key, entry.kind, entry.payload)
                assert again is not None
                return [again, *_replayed(programme, entries[1:])]
            tickets.append(ticket)
        _book(programme, list(zip(tickets, entries, strict=True)))
        return tickets


def _replayed(programme: Programme, entries: Iterable[Entry]) -> list[Ticket]:
    found = [known(programme, e.key, e.kind, e.payload) for e in entries]
    return [t for t in found if t is not None]


def _insert_ticket(
    programme: Programme, by: Person, entry: Entry, happened_at: dt.datetime, device: str
) -> Ticket | None:
    try:
        with transaction.atomic():
            ticket = Ticket.objects.create(
                programme=programme,
                kind=entry.kind,
                key=entry.key,
                digest=digest_of(entry.kind, entry.payload),
                by=by,
                device=device[:80],
                happened_at=happened_at,
                day=happened_at.astimezone(ZoneInfo(programme.zone)).date(),
                reason=entry.reason,
                told=entry.is_told,
                reverses=entry.reverses,
            )
    except IntegrityError:
        if entry.reverses and Ticket.objects.filter(reverses=entry.reverses).exists():
            raise InTheWay("already_reversed", "That ticket was already reversed.") from None
        if Ticket.objects.filter(programme=programme, key=entry.key).exists():
            return None
        raise
    ticket.replayed = False
    return ticket


def _book(programme: Programme, booked: Sequence[tuple[Ticket, Entry]]) -> None:
    lines = [(ticket, line) for ticket, entry in booked for line in entry.lines]
    told = {pk for _, entry in booked for pk in entry.told}
    net: dict[int, int] = defaultdict(int)
    for _, line in lines:
        if line.mass_mg <= 0:
            raise Refused("no_mass", "There is no mass in this. Type what the scale shows.")
        net[line.source.pk] -= line.mass_mg
        net[line.target.pk] += line.mass_mg
    if told:
        lines = _cover(programme, booked, lines, net, told) + lines
    Movement.objects.bulk_create(
        Movement(
            programme=programme, ticket=ticket, source=line.source, target=line.target, mass_mg=line.mass_mg
        )
        for ticket, line in lines
    )
    require = {pk: need for _, entry in booked for pk, need in entry.require.items()}
    opens = {pk for _, entry in booked for pk in entry.opens}
    signed = {
        p.pk
        for _, line in lines
        for p in (line.source, line.target)
        if p.kind in (PlaceKind.SUPPLIER, PlaceKind.DIFFERENCE)
    }
    for pk in sorted({*net, *require, *opens}, reverse=True):
        _update(pk, net.get(pk, 0), pk in signed, require.get(pk), pk in opens)


def _cover(
    programme: Programme,
    booked: Sequence[tuple[Ticket, Entry]],
    lines: list[tuple[Ticket, Line]],
    net: dict[int, int],
    told: set[int],
) -> list[tuple[Ticket, Line]]:
    """Lines difference -> place for what the told places lack, each flagged on the last ticket that took from it."""
    difference = single(programme, PlaceKind.DIFFERENCE)
    locked = {
        p.pk: p
        for p in Place.objects.select_for_update().filter(pk__in={*net, *told, difference.pk}).order_by("-pk")
    }
    cover: list[tuple[Ticket, Line]] = []
    notes = {ticket.pk: entry.told_about for ticket, entry in booked}
    for pk in sorted(told, reverse=True):
        lacking = -(locked[pk].balance_mg + net.get(pk, 0))
        if lacking <= 0 or locked[pk].kind in (PlaceKind.SUPPLIER, PlaceKind.DIFFERENCE):
            continue
        ticket = [t for t, line in lines if pk in (line.source.pk, line.target.pk)][-1]
        cover.append((ticket, Line(difference, locked[pk], lacking)))
        net[pk] = net.get(pk, 0) + lacking
        net[difference.pk] = net.get(difference.pk, 0) - lacking
        Flag.objects.create(
            programme=programme,
            ticket=ticket,
            code=FlagCode.LACKED,
            place=locked[pk],
            mass_mg=lacking,
            note=notes[ticket.pk][:300],
        )
    return cover


def _update(pk: int, net: int, signed: bool, need: Require | None, opens: bool) -> None:
    rows: QuerySet[Place] = Place.objects.filter(pk=pk)
    if net < 0 and not signed:
        rows = rows.filter(balance_mg__gte=-net)
    if need and need.gates:
        rows = rows.filter(gate__in=need.gates)
    if need and need.unopened:
        rows = rows.filter(opened=False)
    changes: dict[str, Any] = {}
    if net:
        changes["balance_mg"] = F("balance_mg") + net
    if opens:
        changes["opened"] = True
    if not changes:
        changes["opened"] = F("opened")
    for _ in range(TRIES):
        if rows.update(**changes) == 1:
            return
        place = Place.objects.get(pk=pk)
        if in_the_way := _in_the_way(place, net, need):
            raise in_the_way
        # What was in the way went in that very instant, as when a pail is held and released again: once more.
    raise InTheWay("changed_meanwhile", f"{_head(place)} changed in that instant. Record it once more.")


def _in_the_way(place: Place, net: int, need: Require | None) -> Refused | None:
    """Why the place as it stands now cannot be booked so; None where nothing is in the way."""
    if need and need.gates and place.gate not in need.gates:
        if Gate.RELEASED in need.gates:
            return InTheWay("pail_not_released", f"{_head(place)} is held: nothing may be handed out of it.")
        return InTheWay(
            "pail_not_filling", f"{_head(place)} is released: hold it again before anything goes in."
        )
    if need and need.unopened and place.opened:
        return InTheWay("pail_opened", f"{_head(place)} was opened: nothing more goes in.")
    if net < 0 and place.kind not in SIGNED and place.balance_mg < -net:
        return InTheWay(
            "not_enough",
            f"{_head(place)} holds {place.balance_mg / 1000:,.1f} g by the book, {-net / 1000:,.1f} g is wanted.",
        )
    return None


def _head(place: Place) -> str:
    text = str(place)
    return text[:1].upper() + text[1:]


def reversal(ticket: Ticket, *, key: uuid.UUID, reason: str) -> Entry:
    """The entry that takes a ticket back, line by line; told, since what it did is known to be otherwise."""
    if ticket.kind == TicketKind.REVERSAL:
        raise Refused("reversal_of_reversal", "A reversal is not reversed; book what happened instead.")
    if not reason.strip():
        raise Refused("reason_wanted", "Say why, in a few words.", "reason")
    lines = [
        Line(m.target, m.source, m.mass_mg)
        for m in ticket.lines.select_related("source", "target").order_by("id")
    ]
    places = {p.pk for line in lines for p in (line.source, line.target)}
    return Entry(
        kind=TicketKind.REVERSAL,
        key=key,
        payload={"reverses": ticket.pk, "reason": reason},
        lines=lines,
        reason=reason,
        reverses=ticket,
        told=places,
        is_told=True,
        told_about=f"reversing ticket {ticket}",
    )


def reverse(*, ticket: Ticket, by: Person, key: uuid.UUID, reason: str) -> Ticket:
    """Take one ticket back; what it left to settle is settled by that."""
    with transaction.atomic():
        back = post(programme=ticket.programme, by=by, entry=reversal(ticket, key=key, reason=reason))
        if not back.replayed:
            settle_reversed(ticket=ticket, reversal=back)
        return back


def settle_reversed(*, ticket: Ticket, reversal: Ticket) -> None:
    """The flags of a reversed ticket need no word any more."""
    Flag.objects.filter(ticket=ticket, settled_at=None).update(
        settled_reason=f"reversed by ticket {reversal}: {reversal.reason}"[:400],
        settled_by=reversal.by,
        settled_at=reversal.recorded_at,
    )


@dataclass(frozen=True)
class Wrong:
    """A place whose balance is not the sum of its movements."""

    place: Place
    balance_mg: int
    moved_mg: int


def disagreements(programme: Programme) -> list[Wrong]:
    """Every place whose balance and movements disagree; empty is the only good answer."""
    moved: dict[int, int] = defaultdict(int)
    for source, target, mass in Movement.objects.filter(programme=programme).values_list(
        "source_id", "target_id", "mass_mg"
    ):
        moved[source] -= mass
        moved[target] += mass
    places = Place.objects.filter(programme=programme).select_related(*NAMED)
    return [
        Wrong(place, place.balance_mg, moved[place.pk])
        for place in places
        if place.balance_mg != moved[place.pk]
    ]


def disagreement_mg(programme: Programme) -> int:
    """The *disagreement*: the sum of what balances and movements differ by. Must be zero."""
    return sum(abs(w.balance_mg - w.moved_mg) for w in disagreements(programme))


_TRACE = """
WITH RECURSIVE reached(id) AS (
    SELECT {first} FROM blends_place start WHERE start.id = %s
    UNION
    SELECT m.{onto} FROM blends_movement m
    JOIN reached r ON m.{frm} = r.id
    JOIN blends_place p ON p.id = m.{onto}
    JOIN blends_ticket t ON t.id = m.ticket_id
    LEFT JOIN blends_ticket back ON back.reverses_id = t.id
    WHERE back.id IS NULL AND t.reverses_id IS NULL AND p.kind IN ('lot', 'pail', 'tub')
)
SELECT id FROM reached
"""


def _trace(place: Place, frm: str, onto: str) -> QuerySet[Place]:
    with connection.cursor() as cursor:
        cursor.execute(_TRACE.format(first="start.id", frm=frm, onto=onto), [place.pk])
        ids = [row[0] for row in cursor.fetchall()]
    return Place.objects.filter(pk__in=ids).exclude(pk=place.pk)


def onwards(place: Place) -> QuerySet[Place]:
    """Every lot, pail and tub that mass from here reached, over unreversed lines; never through what lies outside."""
    return _trace(place, "source_id", "target_id")


def backwards(place: Place) -> QuerySet[Place]:
    """Every lot, pail and tub that mass here came from."""
    return _trace(place, "target_id", "source_id")
