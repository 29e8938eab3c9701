"""The desk: handing out, correcting, taking back, handing over tub to tub.

*Asked*: the tub has not left the desk; portion, balance, gate and revision may say no. *Told*: it has; it is
kept whatever they say, and what is odd about it is flagged to be settled.
"""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from blends import ledger
from blends.actions.settling import flag_counted, settle
from blends.actions.told import not_before
from blends.ledger import Entry, Line
from blends.models import (
    Batch,
    DayState,
    Flag,
    FlagCode,
    Gate,
    MixingDay,
    Pail,
    Place,
    PlaceKind,
    Ticket,
    TicketKind,
)
from gardens import figures
from gardens.clock import today
from gardens.models import Household, Member, Person, Plot
from gardens.refusals import InTheWay, Refused
from schedules import portions
from schedules.models import Collection, Portion, Round, RoundState

__all__ = [
    "TubQuestion",
    "correct_collection",
    "hand_out",
    "hand_over",
    "reverse_collection",
    "settle",
    "take_back",
    "what_stands",
]

CLOCKS_DIFFER = dt.timedelta(minutes=10)


class TubQuestion(Refused):
    """ "With the tub?": nothing is recorded until ``with_tub`` or ``question_reason`` answers it."""

    def __init__(self, question: portions.Question, message: str) -> None:
        super().__init__("with_the_tub", message, "reading")
        self.question = question


def hand_out(
    *,
    portion: Portion,
    by: Person,
    pail: Pail,
    reading_mg: int,
    collected_by: Person,
    key: uuid.UUID,
    home_mg: int = 0,
    with_tub: bool = False,
    question_reason: str = "",
    consent: str = "",
    told: bool = False,
    happened_at: dt.datetime | None = None,
    device: str = "",
) -> Collection:
    """Hand ``reading_mg`` (``with_tub``: less tub and what was in it) out of a pail; one key is one act.

    ``consent`` says who agreed, where a person outside the household collects. ``told``: it already happened.
    Raises TubQuestion, or Refused with code already_collected, nothing_due, day_closed, round_closed,
    other_blend, not_of_household, no_mass, pail_not_released, not_enough, in_future, key_reused; nothing is
    then recorded.
    """
    payload = _payload(
        portion,
        pail,
        collected_by,
        reading_mg,
        home_mg,
        with_tub,
        question_reason,
        consent,
        told,
        happened_at,
    )
    with transaction.atomic():
        portion = _locked(portion)
        if ticket := ledger.known(portion.programme, key, TicketKind.HAND_OUT, payload):
            return ticket.collection
        had = what_stands(portion)
        home_mg = max(home_mg, max((c.home_mg for c in had), default=0))
        tare_mg = portion.programme.tub_mass_mg + home_mg if with_tub else 0
        net_mg = _net(reading_mg, tare_mg)
        left_mg = portions.left(portion.due_mg, sum(c.net_mg for c in had), home_mg)
        outsider = not _is_member(portion, collected_by)
        if told:
            _not_in_future(happened_at)
            not_before(happened_at, pail.batch)
        else:
            _may_hand_out(portion, pail, had, left_mg, outsider and not consent.strip(), collected_by)
            if not question_reason.strip():
                _ask_about_the_tub(portion, had, reading_mg, net_mg, left_mg, home_mg, with_tub)
        over = portions.is_over(net_mg, left_mg) or not left_mg
        place = _pail_place(pail)
        ticket = _post(
            portion,
            by,
            _entry(portion, pail, place, net_mg, key, payload, told, question_reason),
            happened_at if told else None,
            device,
        )
        if not told:
            _day_is_open(portion, pail)  # again: now this act holds the pail's place, as closing the day must
        asked = " ".join(
            filter(None, ["tub" if with_tub or question_reason else "", "neighbour" if outsider else ""])
        )
        collection = _record(
            ticket,
            portion,
            pail,
            collected_by,
            reading_mg,
            tare_mg,
            home_mg,
            asked,
            _said(question_reason, consent),
        )
        if told:
            _flag_what_is_odd(ticket, portion, pail, place)
        if over:
            words = _had_words(had) or "more than the portion in one tub"
            _flag(ticket, FlagCode.TWICE, place, net_mg - left_mg, words)
        return collection


def correct_collection(
    *,
    collection: Collection,
    by: Person,
    key: uuid.UUID,
    reason: str,
    reading_mg: int,
    home_mg: int | None = None,
    with_tub: bool = False,
    pail: Pail | None = None,
    collected_by: Person | None = None,
    device: str = "",
) -> Collection:
    """Take a hand-out back and put what really happened in its place, in one transaction; both are told.

    What is not given stays as it was. Raises Refused: reason_wanted, already_reversed, no_mass, key_reused.
    """
    pail = pail or collection.pail
    collected_by = collected_by or collection.collected_by
    home = collection.home_mg if home_mg is None else home_mg
    payload: dict[str, Any] = {
        "corrects": collection.pk,
        "pail": pail.pk,
        "reading_mg": reading_mg,
        "collected_by": collected_by.pk,
        "home_mg": home,
        "with_tub": with_tub,
        "reason": reason,
    }
    with transaction.atomic():
        portion = _locked(collection.portion)
        if known := ledger.known(portion.programme, key, TicketKind.HAND_OUT, payload):
            return known.collection
        tare_mg = portion.programme.tub_mass_mg + home if with_tub else 0
        net_mg = _net(reading_mg, tare_mg)
        back = ledger.reversal(collection.ticket, key=_reversal_key(key), reason=reason.strip()[:400])
        place = _pail_place(pail)
        anew = _entry(portion, pail, place, net_mg, key, payload, True, reason)
        reversal, ticket = ledger.post_all(
            programme=portion.programme, by=by, entries=[back, anew], device=device
        )
        odd = _still_odd(collection) if pail == collection.pail else []
        ledger.settle_reversed(ticket=collection.ticket, reversal=reversal)
        others = what_stands(portion)
        left_mg = portions.left(
            portion.due_mg, sum(c.net_mg for c in others), max([home, *(c.home_mg for c in others)])
        )
        kept = collection if collected_by == collection.collected_by else None
        neighbour = kept is not None and "neighbour" in kept.question.split()
        asked = " ".join(filter(None, ["tub" if with_tub else "", "neighbour" if neighbour else ""]))
        said = kept.question_reason if kept else ""
        corrected = _record(ticket, portion, pail, collected_by, reading_mg, tare_mg, home, asked, said)
        for flag in odd:
            _flag(ticket, FlagCode(flag.code), place, 0, flag.note)
        flag_counted(ticket=collection.ticket, on=ticket)
        if portions.is_over(net_mg, left_mg) or not left_mg:
            _flag(
                ticket,
                FlagCode.TWICE,
                place,
                net_mg - left_mg,
                _had_words(others) or "corrected to more than is due",
            )
        _settle_pairs(portion, reversal, by)
        return corrected


def reverse_collection(*, collection: Collection, by: Person, key: uuid.UUID, reason: str) -> Ticket:
    """Take a hand-out back: it did not happen, or not here. The portion is due again."""
    with transaction.atomic():
        portion = _locked(collection.portion)
        entry = ledger.reversal(collection.ticket, key=key, reason=reason.strip()[:400])
        reversal = ledger.post(programme=portion.programme, by=by, entry=entry)
        if not reversal.replayed:
            ledger.settle_reversed(ticket=collection.ticket, reversal=reversal)
            flag_counted(ticket=collection.ticket, on=reversal)
            _settle_pairs(portion, reversal, by)
        return reversal


def take_back(
    *,
    portion: Portion,
    by: Person,
    mass_mg: int,
    key: uuid.UUID,
    reason: str,
    batch: Batch | None = None,
    happened_at: dt.datetime | None = None,
    device: str = "",
) -> Ticket:
    """Opened blend comes back from a plot's tub: it stands in *taken back* and is never handed out again.

    ``batch`` is that of the tub; without one, the last one's. The portion is not due again for it.
    """
    if not reason.strip():
        raise Refused("reason_wanted", "Say why it comes back, in a few words.", "reason")
    _not_in_future(happened_at)
    # As typed: which tub is the last one may change between two tries of the same act.
    payload = {
        "portion": portion.pk,
        "batch": batch.pk if batch else None,
        "mass_mg": mass_mg,
        "reason": reason,
        "happened_at": _utc(happened_at),
    }
    with transaction.atomic():
        portion = _locked(portion)
        if known := ledger.known(portion.programme, key, TicketKind.TAKE_BACK, payload):
            return known
        tub = _tub_to_take_from(portion, batch)
        assert tub.batch is not None
        not_before(happened_at, tub.batch)
        entry = Entry(
            kind=TicketKind.TAKE_BACK,
            key=key,
            payload=payload,
            lines=[Line(tub, ledger.single(portion.programme, PlaceKind.TAKEN_BACK), mass_mg)],
            reason=reason.strip()[:400],
            told={tub.pk},
            is_told=True,
            told_about="more came back than the book says the tub held",
        )
        return ledger.post(
            programme=portion.programme, by=by, entry=entry, happened_at=happened_at, device=device
        )


def hand_over(
    *,
    plot: Plot,
    giver: Household,
    taker: Household,
    batch: Batch,
    by: Person,
    mass_mg: int,
    key: uuid.UUID,
    reason: str = "",
    happened_at: dt.datetime | None = None,
    device: str = "",
) -> Ticket:
    """The plot changes hands and the tub with it: from one household's tub to the next one's, same batch."""
    _not_in_future(happened_at)
    not_before(happened_at, batch)
    if giver == taker:
        raise Refused("same_household", "Giver and taker are one household: the tub stays.", "taker")
    with transaction.atomic():
        tub = Place.objects.filter(plot=plot, household=giver, batch=batch, kind=PlaceKind.TUB).first()
        if tub is None:
            raise Refused(
                "no_tub", f"By the book {giver} has no tub of {batch} for plot {plot.label}.", "giver"
            )
        entry = Entry(
            kind=TicketKind.HAND_OVER,
            key=key,
            payload={
                "plot": plot.pk,
                "from": giver.pk,
                "to": taker.pk,
                "batch": batch.pk,
                "mass_mg": mass_mg,
                "reason": reason,
                "happened_at": _utc(happened_at),
            },
            lines=[Line(tub, _tub(plot, taker, batch), mass_mg)],
            reason=reason.strip()[:400],
            told={tub.pk},
            is_told=True,
            told_about="more was handed over than the book says the tub held",
        )
        return ledger.post(
            programme=plot.programme, by=by, entry=entry, happened_at=happened_at, device=device
        )


def what_stands(portion: Portion) -> list[Collection]:
    """The unreversed collections of a portion, each with ``net``, first one first."""
    rows = Collection.objects.filter(portion=portion).standing()
    return list(rows.select_related("ticket__by", "collected_by").order_by("id"))


# ---------- what may be in the way ----------


def _may_hand_out(
    portion: Portion,
    pail: Pail,
    had: list[Collection],
    left_mg: int,
    needs_consent: bool,
    collected_by: Person,
) -> None:
    _day_is_open(portion, pail)
    if Round.objects.filter(pk=portion.round_id, state=RoundState.CLOSED).exists():
        raise InTheWay("round_closed", "The round is closed: nothing more is due from it.")
    if pail.batch.revision_id != portion.revision_id:
        raise Refused("other_blend", f"{_head(pail)} holds another blend than this portion is due.", "pail")
    if not left_mg and had:
        raise InTheWay("already_collected", f"{_had_words(had)}. Nothing is left of the portion.", "reading")
    if not left_mg:
        words = "With that at home nothing is due now." if portion.due_mg else "Nothing is due to this plot."
        raise InTheWay("nothing_due", words, "home" if portion.due_mg else "reading")
    if needs_consent:
        raise Refused(
            "not_of_household",
            f"{collected_by} is not of the household {portion.household}. Say who agreed to it.",
            "consent",
        )


def _day_is_open(portion: Portion, pail: Pail) -> None:
    if not _desk_days(portion, pail).filter(state=DayState.OPEN).exists():
        raise InTheWay(
            "day_closed", "The day is closed: nothing more is handed out. What happened can be told."
        )


def _desk_days(portion: Portion, pail: Pail) -> QuerySet[MixingDay]:
    """The day at whose desk it is handed out: the round's, though its pail may be left from an earlier one."""
    day = portion.round.mixing_day_id
    return MixingDay.objects.filter(Q(pk=day) if day else Q(batches=pail.batch_id))


def _ask_about_the_tub(
    portion: Portion,
    had: list[Collection],
    reading_mg: int,
    net_mg: int,
    left_mg: int,
    home_mg: int,
    with_tub: bool,
) -> None:
    asked = portions.question(
        reading_mg=net_mg,
        portion_mg=portion.due_mg,
        left_mg=left_mg,
        tub_mg=0 if with_tub else portion.programme.tub_mass_mg,
        home_mg=0 if with_tub else home_mg,
    )
    if not asked:
        return
    said = figures.mass(net_mg)
    if asked.tub_explains:
        raise TubQuestion(asked, f"{said}. With the tub?")
    before = f" {_had_words(had)}." if had else ""
    raise TubQuestion(asked, f"{said} is {figures.mass(net_mg - left_mg)} more than is due.{before}")


def _not_in_future(happened_at: dt.datetime | None) -> None:
    if happened_at and happened_at > timezone.now() + CLOCKS_DIFFER:
        raise Refused("in_future", "That time is still to come.", "happened_at")


def _net(reading_mg: int, tare_mg: int) -> int:
    if reading_mg <= 0:
        raise Refused("no_mass", "There is no mass in this. Type what the scale shows.", "reading")
    if reading_mg <= tare_mg:
        raise Refused(
            "no_mass",
            f"Tub and what was in it are {figures.mass(tare_mg)} already. Type what the scale shows in all.",
            "reading",
        )
    return reading_mg - tare_mg


def _is_member(portion: Portion, person: Person) -> bool:
    day = today(portion.programme)
    rows = Member.objects.filter(household=portion.household_id, person=person)
    ends = rows.values_list("until_day", flat=True)
    return any(until is None or until > day for until in ends)


# ---------- the ticket ----------


def _payload(
    portion: Portion,
    pail: Pail,
    collected_by: Person,
    reading_mg: int,
    home_mg: int,
    with_tub: bool,
    question_reason: str,
    consent: str,
    told: bool,
    happened_at: dt.datetime | None,
) -> dict[str, Any]:
    return {
        "portion": portion.pk,
        "pail": pail.pk,
        "collected_by": collected_by.pk,
        "reading_mg": reading_mg,
        "home_mg": home_mg,
        "with_tub": with_tub,
        "question_reason": question_reason,
        "consent": consent,
        "told": told,
        "happened_at": _utc(happened_at),
    }


def _utc(moment: dt.datetime | None) -> str:
    return moment.astimezone(dt.UTC).isoformat() if moment else ""


def _entry(
    portion: Portion,
    pail: Pail,
    place: Place,
    net_mg: int,
    key: uuid.UUID,
    payload: dict[str, Any],
    told: bool,
    reason: str,
) -> Entry:
    return Entry(
        kind=TicketKind.HAND_OUT,
        key=key,
        payload=payload,
        lines=[Line(place, _tub(portion.plot, portion.household, pail.batch), net_mg)],
        reason=reason.strip()[:400],
        told={place.pk} if told else (),
        require={} if told else {place.pk: ledger.RELEASED},
        opens={place.pk},
        is_told=told,
        told_about=f"handed out for plot {portion.plot.label}",
    )


def _post(portion: Portion, by: Person, entry: Entry, happened_at: dt.datetime | None, device: str) -> Ticket:
    try:
        return ledger.post(
            programme=portion.programme, by=by, entry=entry, happened_at=happened_at, device=device
        )
    except Refused as refusal:
        refusal.field = refusal.field or {"no_mass": "reading", "key_reused": ""}.get(refusal.code, "pail")
        raise


def _record(
    ticket: Ticket,
    portion: Portion,
    pail: Pail,
    collected_by: Person,
    reading_mg: int,
    tare_mg: int,
    home_mg: int,
    question: str,
    question_reason: str,
) -> Collection:
    return Collection.objects.create(
        programme=portion.programme,
        ticket=ticket,
        portion=portion,
        pail=pail,
        collected_by=collected_by,
        reading_mg=reading_mg,
        tare_mg=tare_mg,
        home_mg=home_mg,
        question=question,
        question_reason=question_reason[:300],
    )


def _said(question_reason: str, consent: str) -> str:
    return "; ".join(part.strip() for part in (question_reason, consent) if part.strip())


def _flag_what_is_odd(ticket: Ticket, portion: Portion, pail: Pail, place: Place) -> None:
    if pail.batch.revision_id != portion.revision_id:
        _flag(ticket, FlagCode.OTHER, place, 0, f"due: {portion.revision}; handed out: {pail.batch.revision}")
    if not _desk_days(portion, pail).get().is_open:
        _flag(ticket, FlagCode.LATE, place, 0, f"the day of {pail} was closed")
    if place.gate != Gate.RELEASED:
        _flag(ticket, FlagCode.HELD, place, 0, f"{pail} was {place.get_gate_display()}")


def _still_odd(collection: Collection) -> list[Flag]:
    """What stands to settle about the pail that it came from; another figure does not answer that."""
    codes = [FlagCode.HELD, FlagCode.OTHER, FlagCode.LATE]
    return list(Flag.objects.filter(ticket=collection.ticket_id, code__in=codes, settled_at=None))


def _flag(ticket: Ticket, code: FlagCode, place: Place, mass_mg: int, note: str) -> None:
    Flag.objects.create(
        programme=ticket.programme, ticket=ticket, code=code, place=place, mass_mg=mass_mg, note=note[:300]
    )


def _settle_pairs(portion: Portion, reversal: Ticket, by: Person) -> None:
    """Once the other one of a pair is taken back, the one that stays is no longer too much."""
    stands = what_stands(portion)
    home_mg = max((c.home_mg for c in stands), default=0)
    if portions.is_over(sum(c.net_mg for c in stands), portions.left(portion.due_mg, 0, home_mg)):
        return
    Flag.objects.filter(
        ticket__in=[c.ticket_id for c in stands], code=FlagCode.TWICE, settled_at=None
    ).update(
        settled_reason=f"the other one was reversed by {reversal}: {reversal.reason}"[:400],
        settled_by=by,
        settled_at=timezone.now(),
    )


# ---------- rows and words ----------


def _locked(portion: Portion) -> Portion:
    """The same portion, its row held and what is due read again; what it points to never changes."""
    try:
        portion.refresh_from_db(
            fields=["demand_mg", "due_mg"], from_queryset=Portion.objects.select_for_update()
        )
    except Portion.DoesNotExist:
        raise InTheWay("frozen_again", "The round was frozen again a moment ago: look at it again.") from None
    return portion


def _pail_place(pail: Pail) -> Place:
    place = Place.objects.get(pail=pail.pk)
    place.pail = pail
    return place


def _tub(plot: Plot, household: Household, batch: Batch) -> Place:
    place, _ = Place.objects.get_or_create(
        programme_id=plot.programme_id, kind=PlaceKind.TUB, plot=plot, household=household, batch=batch
    )
    return place


def _tub_to_take_from(portion: Portion, batch: Batch | None) -> Place:
    tubs = Place.objects.filter(kind=PlaceKind.TUB, plot=portion.plot, household=portion.household)
    if batch:
        tubs = tubs.filter(batch=batch)
    else:
        tubs = tubs.filter(batch__revision=portion.revision)
    tub = tubs.select_related("batch", "plot__garden").order_by("-batch__number").first()
    if tub is None:
        raise Refused("no_tub", f"By the book plot {portion.plot.label} has no tub to bring back.", "batch")
    return tub


def _reversal_key(key: uuid.UUID) -> uuid.UUID:
    """A correction has one key; its reversal's follows from it."""
    return uuid.uuid5(key, "reversal")


def _had_words(had: list[Collection]) -> str:
    """ "Stevo handed 155 g to Henna (ticket 0012)"."""
    return "; ".join(
        f"{c.ticket.by} handed {figures.mass(c.net_mg)} to {c.collected_by} (ticket {c.ticket})" for c in had
    )


def _head(pail: Pail) -> str:
    text = str(pail)
    return text[:1].upper() + text[1:]
