"""What went into a pail, what is still asked about it, and whether it may go out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from django.db.models import Prefetch, QuerySet

from blends import chemistry
from blends.batching import NITROGEN_WITHIN, Held, Never, Releasable, judge, tolerance
from blends.chemistry import BlendAnalysis
from blends.models import (
    Batch,
    Component,
    Gate,
    Pail,
    PailDecision,
    PailTarget,
    WeighOut,
)
from blends.readings import holds, is_part
from gardens.refusals import InTheWay


def standing(weigh_outs: QuerySet[WeighOut] | None = None) -> QuerySet[WeighOut]:
    """Weigh-outs that were not reversed, with all that judging them needs."""
    rows = WeighOut.objects.all() if weigh_outs is None else weigh_outs
    return rows.filter(ticket__reversed_by=None).select_related(
        "ticket__by",
        "component__material",
        "lot__material",
        "lot__declaration",
        "scale",
        "witness",
        "look__by",
    )


def full_pails(pails: QuerySet[Pail]) -> QuerySet[Pail]:
    """Pails with targets, standing weigh-outs and decisions, in a constant count of queries."""
    return pails.select_related(
        "place", "batch__revision__blend", "batch__day__garden", "batch__day__programme", "batch__scoop_by"
    ).prefetch_related(
        Prefetch(
            "targets",
            PailTarget.objects.select_related("component__material", "component__declaration", "scale"),
        ),
        Prefetch("weigh_outs", standing(), to_attr="standing_weigh_outs"),
        Prefetch("decisions", PailDecision.objects.select_related("by")),
        Prefetch("batch__revision__components", Component.objects.select_related("declaration")),
    )


@dataclass(frozen=True)
class ComponentState:
    """One component of one pail: what is wanted, what went in, what is asked."""

    target: PailTarget
    weigh_outs: tuple[WeighOut, ...]

    @property
    def weighed_mg(self) -> int:
        return sum(w.net_mg for w in self.weigh_outs)

    @property
    def left_mg(self) -> int:
        return self.target.target_mg - self.weighed_mg

    @property
    def complete(self) -> bool:
        """Weighed whole; or in parts that came within the tolerance of the target."""
        if any(not is_part(w.question) for w in self.weigh_outs):
            return True
        trace = self.target.component.material.is_trace
        allowed = tolerance(self.target.target_mg, self.target.scale.division_mg, trace=trace)
        return bool(self.weigh_outs) and self.left_mg <= allowed

    @property
    def begun(self) -> bool:
        return bool(self.weigh_outs)


@dataclass(frozen=True)
class PailState:
    """All that a pail's page says of it."""

    pail: Pail
    components: tuple[ComponentState, ...]
    design: BlendAnalysis
    made: BlendAnalysis | None
    verdict: Releasable | Held | Never | None
    missing: tuple[ComponentState, ...]
    open_questions: tuple[WeighOut, ...]
    to_look_at: tuple[WeighOut, ...]
    decision: PailDecision | None

    @property
    def complete(self) -> bool:
        return not self.missing

    @property
    def weighed(self) -> int:
        """How many components are in it whole."""
        return len(self.components) - len(self.missing)

    @property
    def released(self) -> bool:
        return self.pail.place.gate == Gate.RELEASED

    @property
    def ready(self) -> bool:
        """Nothing stands between this pail and its release."""
        return not self.released and self.complete and isinstance(self.verdict, Releasable)

    @property
    def next(self) -> ComponentState | None:
        return self.missing[0] if self.missing else None


def pail_state(pail: Pail) -> PailState:
    """The state of one pail; from what ``full_pails`` fetched, else it is fetched here."""
    if "standing_weigh_outs" not in vars(pail):
        pail = full_pails(Pail.objects.filter(pk=pail.pk)).get()
    kept: list[WeighOut] = vars(pail)["standing_weigh_outs"]
    weighed: Mapping[int, list[WeighOut]] = _by_component(kept)
    components = tuple(
        ComponentState(target, tuple(weighed.get(target.component_id, ()))) for target in pail.targets.all()
    )
    in_it = [w for ws in weighed.values() for w in ws]
    design = pail.batch.revision.analysis()
    made = made_of(in_it) if in_it else None
    questions = tuple(w for w in in_it if holds(w.question))
    to_look_at = tuple(w for w in in_it if _needs_look(w))
    missing = tuple(c for c in components if not c.complete)
    decisions = list(pail.decisions.all())
    return PailState(
        pail=pail,
        components=components,
        design=design,
        made=made,
        verdict=judge(design, made, len(questions), len(to_look_at)) if made else None,
        missing=missing,
        open_questions=questions,
        to_look_at=to_look_at,
        decision=decisions[-1] if decisions else None,
    )


def _by_component(weigh_outs: Iterable[WeighOut]) -> Mapping[int, list[WeighOut]]:
    found: dict[int, list[WeighOut]] = defaultdict(list)
    for weigh_out in weigh_outs:
        found[weigh_out.component_id].append(weigh_out)
    return found


def _needs_look(weigh_out: WeighOut) -> bool:
    trace = weigh_out.component.material.is_trace or weigh_out.lot.material.is_trace
    return trace and weigh_out.witness_id is None and not hasattr(weigh_out, "look")


def made_of(weigh_outs: Iterable[WeighOut]) -> BlendAnalysis:
    """The analysis of what really went in: each lot by the declaration it came with."""
    return chemistry.blend([(w.net_mg, w.lot.declaration.analysis()) for w in weigh_outs])


def pail_analysis(pail: Pail) -> BlendAnalysis:
    """The pail as made. Refused while nothing has gone in."""
    made = pail_state(pail).made
    if made is None:
        raise InTheWay("nothing_weighed", f"Nothing has gone into {pail} yet.")
    return made


def open_questions(pail: Pail) -> tuple[WeighOut, ...]:
    """Readings that were kept in spite of a question; they hold the pail until the organiser decides."""
    return pail_state(pail).open_questions


def dose_analysis(what: Pail | Batch) -> BlendAnalysis:
    """What doses are reckoned with: the design within 5 % of nitrogen, else the pail as it was accepted.

    Of a batch: the design, unless every pail released was accepted outside; then what is in those together.
    """
    if isinstance(what, Pail):
        return dose_of(pail_state(what))
    states = [pail_state(p) for p in full_pails(what.pails.all())]
    released = [s for s in states if s.released]
    if not released or not all(_doses_as_made(s) for s in released):
        return what.revision.analysis()
    return made_of(w for s in released for c in s.components for w in c.weigh_outs)


def dose_of(state: PailState) -> BlendAnalysis:
    """``dose_analysis`` of a pail whose state is known."""
    return state.made if state.made is not None and _doses_as_made(state) else state.design


def _doses_as_made(state: PailState) -> bool:
    """Once accepted, so it stays: what is held again later is in people's tubs as it was made."""
    if state.made is None or not any(decision.accepted for decision in state.pail.decisions.all()):
        return False
    meant, got = state.design.soluble_n, state.made.soluble_n
    if not meant or got is None:
        return got is not None
    return abs(Fraction(got) / Fraction(meant) - 1) > NITROGEN_WITHIN


def as_kept(analysis: BlendAnalysis | None) -> dict[str, object]:
    """An analysis as a decision keeps it: percents as text, element basis."""
    if analysis is None:
        return {}
    return {
        "percent": {str(n): _short(share) for n, share in analysis.percent.items()},
        "soluble_n": None if analysis.soluble_n is None else _short(analysis.soluble_n),
        "at_least": sorted(str(n) for n in analysis.at_least),
        "silent": sorted(str(n) for n in analysis.silent),
        "slow": analysis.has_slow,
    }


def _short(percent: Decimal) -> str:
    return f"{round(percent, 8).normalize():f}"
