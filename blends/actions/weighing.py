"""One component weighed into one pail: asked for scale and gate, told for what the bag held.

The pail's row is locked first, then places as the ledger orders them, so that acts on a pail come one by one.
"""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass, replace
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from blends import ledger
from blends.actions.release import decide_anew
from blends.actions.settling import flag_counted
from blends.actions.told import not_before
from blends.batching import Fitness
from blends.ledger import FILLABLE, Entry, Line
from blends.models import (
    Component,
    DayState,
    Gate,
    Look,
    Lot,
    Pail,
    PailDecision,
    PailTarget,
    Place,
    PlaceKind,
    SafetyTick,
    Scale,
    TicketKind,
    Verdict,
    WeighOut,
)
from blends.planning import as_wanted, fit_of, loads
from blends.queries.pails import ComponentState
from blends.readings import PART, Asked, ReadingAsked, ask, holds
from blends.refusals import wanted, withdrawn_kindly
from blends.safety import POINTS
from gardens.models import Person
from gardens.refusals import InTheWay, Refused

MOST_MG = 10**11


@dataclass(frozen=True)
class Reading:
    """One weighing as it was made."""

    component: Component
    lot: Lot
    scale: Scale
    gross_mg: int
    tare_mg: int
    witness: Person | None
    alone: bool
    question_reason: str
    part: bool

    @property
    def net_mg(self) -> int:
        return self.gross_mg - self.tare_mg

    @property
    def trace(self) -> bool:
        return self.component.material.is_trace or self.lot.material.is_trace

    def is_seen_as(self, made: WeighOut) -> bool:
        """Whether bag, scale and figure are those that the witness of ``made`` read."""
        seen = (made.component_id, made.lot_id, made.scale_id, made.gross_mg, made.tare_mg)
        return (self.component.pk, self.lot.pk, self.scale.pk, self.gross_mg, self.tare_mg) == seen

    def payload(self) -> dict[str, Any]:
        return {
            "component": self.component.pk,
            "lot": self.lot.pk,
            "scale": self.scale.pk,
            "gross_mg": self.gross_mg,
            "tare_mg": self.tare_mg,
            "witness": self.witness.pk if self.witness else None,
            "alone": self.alone,
            "part": self.part,
            "question_reason": self.question_reason,
        }


@transaction.atomic
def weigh_out(
    *,
    pail: Pail,
    component: Component,
    by: Person,
    lot: Lot,
    scale: Scale,
    gross_mg: int,
    tare_mg: int = 0,
    key: uuid.UUID,
    witness: Person | None = None,
    alone: bool = False,
    question_reason: str = "",
    part: bool = False,
    happened_at: dt.datetime | None = None,
    device: str = "",
) -> WeighOut:
    """Book one reading. A ``part`` may be short of the target: the rest comes from another bag.

    A doubtful reading, bag or scale raises ReadingAsked with nothing recorded; with ``question_reason`` it is
    booked as it happened, and what was asked about the reading or the bag holds the pail. A trace component
    needs a ``witness``, another person; who is ``alone`` says so, and the pail is held until a second looked.
    """
    reading = Reading(
        component, lot, scale, gross_mg, tare_mg, witness, alone, question_reason.strip()[:400], part
    )
    happened = happened_at.astimezone(dt.UTC).isoformat() if happened_at else ""
    payload = {"pail": pail.pk, "happened_at": happened, **reading.payload()}
    pail = _locked(pail)
    if found := ledger.known(pail.programme, key, TicketKind.WEIGH_OUT, payload):
        return found.weigh_out
    _may_weigh(pail)
    not_before(happened_at, pail.batch)
    _check_reading(pail, reading, by)
    asked = question_about(pail, reading)
    if asked and not reading.question_reason:
        raise ReadingAsked(asked)
    source, target = lot_place(lot, pail), pail.place
    entry = Entry(
        TicketKind.WEIGH_OUT,
        key,
        payload,
        [Line(source, target, reading.net_mg)],
        reason=reading.question_reason,
        told={source.pk},
        require={target.pk: FILLABLE},
        told_about=f"the bag of {lot} held more than the book",
    )
    ticket = ledger.post(
        programme=pail.programme, by=by, entry=entry, happened_at=_not_ahead(happened_at), device=device
    )
    if ticket.replayed:
        return ticket.weigh_out
    made = _keep(ticket_id=ticket.pk, pail=pail, reading=reading, asked=asked)
    if holds(made.question) or (reading.trace and reading.alone):
        _hold(pail, by, "a question on a reading" if holds(made.question) else "weighed alone")
    return made


@transaction.atomic
def correct_weigh_out(
    *,
    weigh_out: WeighOut,
    by: Person,
    key: uuid.UUID,
    reason: str,
    component: Component | None = None,
    lot: Lot | None = None,
    scale: Scale | None = None,
    gross_mg: int | None = None,
    tare_mg: int | None = None,
    witness: Person | None = None,
    alone: bool = False,
    question_reason: str = "",
    device: str = "",
) -> WeighOut:
    """What was really read: a reversal and a new ticket in one act, both told, before or after release.

    What is not given stays as it was, but for the witness of another bag, scale or figure: nobody has
    witnessed that yet. Gates do not apply; the pail is judged anew.
    """
    reason = wanted(reason)
    reading = Reading(
        component=component or weigh_out.component,
        lot=lot or weigh_out.lot,
        scale=scale or weigh_out.scale,
        gross_mg=weigh_out.gross_mg if gross_mg is None else gross_mg,
        tare_mg=weigh_out.tare_mg if tare_mg is None else tare_mg,
        witness=witness,
        alone=alone or (weigh_out.alone and witness is None),
        question_reason=question_reason.strip()[:400],
        part=PART in weigh_out.question.split(),
    )
    if witness is None and not alone and reading.is_seen_as(weigh_out):
        reading = replace(reading, witness=weigh_out.witness)
    payload = {"corrects": weigh_out.pk, "reason": reason, **reading.payload()}
    pail = _locked(weigh_out.pail)
    if found := ledger.known(pail.programme, key, TicketKind.WEIGH_OUT, payload):
        return found.weigh_out
    _check_reading(pail, reading, by, leaving_out=weigh_out)
    asked = question_about(pail, reading, leaving_out=weigh_out)
    if asked and not reading.question_reason:
        raise ReadingAsked(asked)
    source = lot_place(reading.lot, pail)
    entries = [
        ledger.reversal(weigh_out.ticket, key=uuid.uuid5(key, "reversal"), reason=reason),
        Entry(
            TicketKind.WEIGH_OUT,
            key,
            payload,
            [Line(source, pail.place, reading.net_mg)],
            reason=reason,
            told={source.pk, pail.place.pk},
            is_told=True,
            told_about=f"correcting ticket {weigh_out.ticket}",
        ),
    ]
    tickets = ledger.post_all(programme=pail.programme, by=by, entries=entries, device=device)
    if tickets[-1].replayed:
        return tickets[-1].weigh_out
    ledger.settle_reversed(ticket=weigh_out.ticket, reversal=tickets[0])
    flag_counted(ticket=weigh_out.ticket, on=tickets[-1])
    made = _keep(ticket_id=tickets[-1].pk, pail=pail, reading=reading, asked=asked)
    decide_anew(pail=pail, by=by, reason=f"a reading was corrected: {reason}")
    return made


@transaction.atomic
def reverse_weigh_out(*, weigh_out: WeighOut, by: Person, key: uuid.UUID, reason: str) -> Pail:
    """It did not go into this pail: take the reading back, and judge the pail anew."""
    reason = wanted(reason)
    pail = _locked(weigh_out.pail)
    ticket = ledger.reverse(ticket=weigh_out.ticket, by=by, key=key, reason=reason)
    if not ticket.replayed:
        flag_counted(ticket=weigh_out.ticket, on=ticket)
        decide_anew(pail=pail, by=by, reason=f"a reading was taken back: {reason}")
    return pail


@transaction.atomic
def look_at(*, weigh_out: WeighOut, by: Person) -> Look:
    """A second person has looked at bag, scale and reading of what was weighed alone."""
    if weigh_out.ticket.by_id == by.pk:
        raise Refused("same_person", "You weighed it yourself: a second person has to look.", "by")
    if hasattr(weigh_out.ticket, "reversed_by"):
        raise InTheWay("reversed", "That reading was taken back; look at the one that stands.")
    if weigh_out.witness_id:
        raise InTheWay("witnessed", "It was witnessed when it was weighed; nothing is wanting.")
    try:
        with transaction.atomic():
            return Look.objects.create(
                programme=weigh_out.programme, weigh_out=weigh_out, by=by, at=timezone.now()
            )
    except IntegrityError:
        raise InTheWay("looked_at", "Somebody has looked at it already; nothing changed.") from None


# --- checks ---------------------------------------------------------------------------------------------


def question_about(pail: Pail, reading: Reading, *, leaving_out: WeighOut | None = None) -> Asked | None:
    """What is doubtful about a reading, beside the pail's other targets; nothing is recorded."""
    rows = {t.component_id: t for t in pail.targets.select_related(*_TARGET)}
    row = rows[reading.component.pk]
    already = _state_of(pail, row, leaving_out).weighed_mg
    target = as_wanted(row, max(row.target_mg - already, 1)).target
    others = [as_wanted(other).target for pk, other in rows.items() if pk != row.component_id]
    return ask(
        net_mg=reading.net_mg,
        target=target,
        others=others,
        scale=loads(reading.scale),
        tare_mg=reading.tare_mg,
        component=reading.component.material.name,
        bag=reading.lot.material.name,
        part=reading.part,
    )


_TARGET = ("component__material", "component__declaration", "scale")


def _state_of(pail: Pail, row: PailTarget, leaving_out: WeighOut | None) -> ComponentState:
    rows = WeighOut.objects.filter(pail=pail, component=row.component_id, ticket__reversed_by=None)
    if leaving_out:
        rows = rows.exclude(pk=leaving_out.pk)
    return ComponentState(row, tuple(rows))


def _locked(pail: Pail) -> Pail:
    """The pail's row, locked so that two acts on it come one after the other; its place is read afresh."""
    Pail.objects.select_for_update(no_key=True).filter(pk=pail.pk).first()
    rows = Pail.objects.select_related("place", "batch__day", "batch__revision", "programme")
    with withdrawn_kindly():
        return rows.get(pk=pail.pk)


def _may_weigh(pail: Pail) -> None:
    day = pail.batch.day
    if day.state == DayState.CLOSED:
        raise InTheWay(
            "day_closed",
            "That mixing day is counted and closed: what stood in its pails is in the counts. Correct a reading "
            "if it was wrong; what is still to be weighed goes into a batch of a new mixing day.",
        )
    ticked = set(SafetyTick.objects.filter(day=day).values_list("point", flat=True))
    if missing := [p for p in POINTS if p not in ticked]:
        count = len(missing)
        raise InTheWay(
            "safety_first", f"Safety first: {count} {'point' if count == 1 else 'points'} to tick."
        )
    if pail.place.gate == Gate.RELEASED:
        raise InTheWay(
            "pail_not_filling", f"{str(pail).capitalize()} is released: hold it before anything goes in."
        )


def _check_reading(pail: Pail, reading: Reading, by: Person, leaving_out: WeighOut | None = None) -> None:
    row = pail.targets.filter(component=reading.component).select_related(*_TARGET).first()
    if row is None:
        raise Refused("not_in_recipe", "That material is not in this pail's recipe.", "component")
    if reading.scale.retired:
        raise Refused(
            "scale_retired", f"{reading.scale.name} is no longer used: take another scale.", "scale"
        )
    if reading.tare_mg < 0:
        raise Refused("tare", "A vessel weighs zero or more.", "tare")
    if not 0 < reading.gross_mg <= MOST_MG or reading.net_mg <= 0:
        raise Refused(
            "no_mass", "There is nothing on the scale beside its vessel. Type what it shows.", "gross"
        )
    if fit_of(reading.net_mg, reading.scale, trace=False, tare_mg=reading.tare_mg) is Fitness.OVER_MAXIMUM:
        raise Refused(
            "over_maximum",
            f"{reading.scale.name} carries up to {reading.scale.max_mg / 1_000_000:g} kg, vessel included: "
            "weigh it in parts, or take a larger scale.",
            "gross",
        )
    if _state_of(pail, row, leaving_out).complete:
        raise InTheWay(
            "already_weighed",
            f"{reading.component.material.name} is in {pail} already. If that is wrong, correct it there.",
        )
    _check_witness(reading, by)


def _check_witness(reading: Reading, by: Person) -> None:
    if reading.witness is not None:
        if reading.witness.pk == by.pk:
            raise Refused("same_person", "A witness is another person than who weighs.", "witness")
        if reading.witness.programme_id != by.programme_id or reading.witness.erased_at:
            raise Refused("witness", "The witness is a person of this programme.", "witness")
    elif reading.trace and not reading.alone:
        raise Refused(
            "witness_wanted",
            "A second person reads bag, scale and figure: name them, or say that you are alone.",
            "witness",
        )


def lot_place(lot: Lot, pail: Pail) -> Place:
    """Where the bag stands: in the day's garden before elsewhere, where most of it is."""
    garden = pail.batch.day.garden_id
    places = list(Place.objects.filter(kind=PlaceKind.LOT, lot=lot).order_by("id"))
    return max(places, key=lambda p: (p.balance_mg > 0, p.garden_id == garden, p.balance_mg, -p.pk))


def _not_ahead(happened_at: dt.datetime | None) -> dt.datetime | None:
    if happened_at and happened_at > timezone.now() + dt.timedelta(minutes=5):
        raise Refused("future", "That lies ahead: a reading is recorded when it was made.", "happened_at")
    return happened_at


def _keep(*, ticket_id: int, pail: Pail, reading: Reading, asked: Asked | None) -> WeighOut:
    codes = [*(asked.codes if asked else ()), *([PART] if reading.part else ())]
    row = pail.targets.get(component=reading.component)
    return WeighOut.objects.create(
        programme=pail.programme,
        ticket_id=ticket_id,
        pail=pail,
        component=reading.component,
        lot=reading.lot,
        scale=reading.scale,
        target_mg=asked.target.target_mg if asked else row.target_mg,
        gross_mg=reading.gross_mg,
        tare_mg=reading.tare_mg,
        witness=reading.witness,
        alone=reading.alone and reading.witness is None,
        question=" ".join(codes)[:40],
        question_reason=reading.question_reason if asked else "",
    )


def _hold(pail: Pail, by: Person, why: str) -> None:
    if Place.objects.filter(pk=pail.place.pk, gate=Gate.FILLING).update(gate=Gate.HELD):
        PailDecision.objects.create(
            programme=pail.programme, pail=pail, verdict=Verdict.HELD, reason=why, by=by, at=timezone.now()
        )


__all__ = [
    "Reading",
    "correct_weigh_out",
    "look_at",
    "lot_place",
    "question_about",
    "reverse_weigh_out",
    "weigh_out",
]
