"""A pail may be handed out, or may not: decided pail by pail, from what went into it."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from blends.batching import Held, Never
from blends.models import DayState, Gate, Pail, PailDecision, Place, Verdict
from blends.queries.pails import PailState, as_kept, full_pails, pail_state
from blends.refusals import wanted, withdrawn_kindly
from gardens.models import Person, RoleName
from gardens.refusals import InTheWay, Refused


@transaction.atomic
def release_pail(*, pail: Pail, by: Person, reason: str = "", accept: bool = False) -> PailDecision:
    """Open the gate.

    What lies outside 5 % (N) or 10 %, or is still asked about, only an organiser ``accept``s, with a reason.
    Boron above 1.5 times the design, a missing component, a trace weighing nobody looked at: nobody does.
    """
    state = _locked_state(pail)
    if state.released:
        raise InTheWay("already_released", f"{_head(pail)} is released already; nothing changed.")
    _day_is_open(state)
    if state.missing:
        names = ", ".join(c.target.component.material.name for c in state.missing)
        raise InTheWay("not_complete", f"{_head(pail)} is not complete: {names} still to weigh.")
    if isinstance(state.verdict, Never):
        raise InTheWay("never", " ".join(r.text for r in state.verdict.reasons))
    if state.to_look_at:
        raise InTheWay(
            "look_wanted",
            "A second person has to look at bag, scale and reading of the trace weighing first.",
        )
    accepted = isinstance(state.verdict, Held)
    if isinstance(state.verdict, Held):
        if not accept:
            raise InTheWay("held", " ".join(r.text for r in state.verdict.reasons))
        if not by.roles.filter(name=RoleName.ORGANISER).exists():
            raise Refused("organiser_wanted", "Only an organiser can accept this pail as it is.", "accept")
        reason = wanted(reason, message="Say why it may be handed out as it is.")
    if not _gate(pail, {Gate.FILLING, Gate.HELD}, Gate.RELEASED):
        raise InTheWay("already_released", f"{_head(pail)} was released a moment ago; nothing changed.")
    return _decide(state, by, Verdict.RELEASED, reason, accepted=accepted)


@transaction.atomic
def hold_pail(*, pail: Pail, by: Person, reason: str = "") -> PailDecision:
    """Shut the gate, at once and by anybody who mixes. Holding what is held only adds a reason."""
    state = _locked_state(pail)
    _gate(pail, {Gate.FILLING, Gate.RELEASED}, Gate.HELD)
    return _decide(state, by, Verdict.HELD, reason.strip()[:400])


def decide_anew(*, pail: Pail, by: Person, reason: str) -> PailDecision | None:
    """After a correction, in its transaction: a released pail stays so only if nothing stands against it."""
    state = pail_state(Pail.objects.get(pk=pail.pk))
    good = state.complete and state.verdict is not None and not isinstance(state.verdict, (Held, Never))
    if state.released:
        if good:
            return _decide(state, by, Verdict.RELEASED, reason[:400])
        _gate(pail, {Gate.RELEASED}, Gate.HELD)
        return _decide(state, by, Verdict.HELD, reason[:400])
    if state.open_questions or state.to_look_at:
        _gate(pail, {Gate.FILLING}, Gate.HELD)
        return _decide(state, by, Verdict.HELD, reason[:400])
    return None


def _day_is_open(state: PailState) -> None:
    """Counted and finished: only a pail that was released before, and held since, is released again."""
    if state.pail.batch.day.state == DayState.CLOSED and not was_released(state.pail):
        raise InTheWay(
            "day_closed",
            f"That mixing day is counted and closed: {state.pail} was not released while it was open, so it "
            "stays held. State what is in it as waste.",
        )


def was_released(pail: Pail) -> bool:
    return PailDecision.objects.filter(pail=pail, verdict=Verdict.RELEASED).exists()


def _locked_state(pail: Pail) -> PailState:
    Pail.objects.select_for_update(no_key=True).filter(pk=pail.pk).first()
    with withdrawn_kindly():
        return pail_state(full_pails(Pail.objects.filter(pk=pail.pk)).get())


def _gate(pail: Pail, was: set[Gate], becomes: Gate) -> bool:
    return bool(Place.objects.filter(pail=pail, gate__in=was).update(gate=becomes))


def _decide(
    state: PailState, by: Person, verdict: Verdict, reason: str, *, accepted: bool = False
) -> PailDecision:
    return PailDecision.objects.create(
        programme=state.pail.programme,
        pail=state.pail,
        verdict=verdict,
        reason=reason,
        accepted=accepted,
        analysis=as_kept(state.made),
        by=by,
        at=timezone.now(),
    )


def _head(pail: Pail) -> str:
    text = str(pail)
    return text[:1].upper() + text[1:]
