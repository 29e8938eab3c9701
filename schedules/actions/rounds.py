"""A round from open to closed: its weeks and gardens, the freeze, the exchange of its revision, its batch.

What a freeze keeps stands in append-only lines; portions are what each household is due by them. Until the
first weigh-out a round may be frozen again, or its revision exchanged; after it, the last snapshot stands.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone

from blends.actions.days import start_batch
from blends.models import Batch, DayState, MixingDay, Pail, PailTarget, Place, Revision, Scale, WeighOut
from gardens import jobs
from gardens.models import Garden, Job, Person, Programme
from gardens.refusals import InTheWay, Refused
from schedules.doses import blend_mg
from schedules.feeding import Analysis
from schedules.models import Cause, Collection, FrozenLine, Portion, Round, RoundGarden, RoundState, Snapshot
from schedules.plans import Feed, PlantingPlan
from schedules.queries.items import Items, check_weekly, item_of_revision, with_components
from schedules.queries.plans import Land, Surface, land_of_round
from schedules.queries.sizing import sizing
from schedules.specs import DoseError

FREEZE = "freeze"  # the kind of job
MOST_WEEKS = 12
HUNDRED = 100


# Open and change --------------------------------------------------------------------------------------------


@transaction.atomic
def open_round(
    *,
    programme: Programme,
    by: Person,
    gardens: Sequence[Garden],
    first_day: dt.date,
    weeks: int,
    revision: Revision,
    mixing_day: MixingDay | None = None,
    freeze_at: dt.datetime | None = None,
    reserve_percent: int = 5,
) -> Round:
    """A new round over some gardens. Refused where the blend cannot be fed weekly, or a garden has those
    weeks already.
    """
    Programme.objects.select_for_update(no_key=True).get(pk=programme.pk)  # numbers are given one by one
    _check(programme, gardens, first_day, weeks, revision, mixing_day, reserve_percent, apart_from=None)
    last = Round.objects.filter(programme=programme).aggregate(last=Max("number"))["last"] or 0
    made = Round.objects.create(
        programme=programme,
        number=last + 1,
        first_day=first_day,
        weeks=weeks,
        revision=revision,
        mixing_day=mixing_day,
        freeze_at=freeze_at,
        reserve_percent=reserve_percent,
        made_by=by,
    )
    RoundGarden.objects.bulk_create(RoundGarden(programme=programme, round=made, garden=g) for g in gardens)
    _ask_for_freeze(made, by)
    return made


@transaction.atomic
def change_round(
    *,
    round: Round,
    by: Person,
    gardens: Sequence[Garden] | None = None,
    first_day: dt.date | None = None,
    weeks: int | None = None,
    revision: Revision | None = None,
    mixing_day: MixingDay | None = None,
    freeze_at: dt.datetime | None = None,
    freeze_by_hand: bool = False,
    reserve_percent: int | None = None,
) -> Round:
    """Change an open round; what is None stays. A frozen round takes a mixing day, until it is mixed, and
    nothing else.
    """
    row = _locked(round)
    changed = {
        name: value
        for name, value in {
            "first_day": first_day,
            "weeks": weeks,
            "revision": revision,
            "mixing_day": mixing_day,
            "freeze_at": freeze_at,
            "reserve_percent": reserve_percent,
        }.items()
        if value is not None and value != getattr(row, name)
    }
    here = list(Garden.objects.filter(pk__in=row.round_gardens.values("garden")))
    others = gardens is not None and {g.pk for g in gardens} != {g.pk for g in here}
    if row.state != RoundState.OPEN and (others or set(changed) - {"mixing_day"}):
        raise _frozen_stands(row)
    if "mixing_day" in changed and row.batch_id:
        raise InTheWay(
            "mixed", f"Batch {_batch_number(row)} of this round is on its mixing day already.", "mixing_day"
        )
    for name, value in changed.items():
        setattr(row, name, value)
    wanted = list(gardens) if gardens is not None else here
    if changed or others:
        _check(
            row.programme,
            wanted,
            row.first_day,
            row.weeks,
            row.revision,
            row.mixing_day if "mixing_day" in changed else None,
            row.reserve_percent,
            apart_from=row,
        )
        row.save(update_fields=[*changed] or ["weeks"])
    if others:
        row.round_gardens.exclude(garden__in=[g.pk for g in wanted]).delete()
        RoundGarden.objects.bulk_create(
            RoundGarden(programme=row.programme, round=row, garden=g)
            for g in wanted
            if g.pk not in {h.pk for h in here}
        )
    if "freeze_at" in changed:
        _ask_for_freeze(row, by)
    if freeze_by_hand and row.freeze_at is not None:
        Round.objects.filter(pk=row.pk).update(freeze_at=None)
        row.freeze_at = None
        jobs.withdraw(programme=row.programme, kind=FREEZE, key=str(row.pk))
    return row


def _check(
    programme: Programme,
    gardens: Sequence[Garden],
    first_day: dt.date,
    weeks: int,
    revision: Revision,
    mixing_day: MixingDay | None,
    reserve_percent: int,
    *,
    apart_from: Round | None,
) -> None:
    if not gardens:
        raise Refused("no_garden", "Choose at least one garden.", "gardens")
    if not 1 <= weeks <= MOST_WEEKS:
        raise Refused("weeks", f"A round is one to {MOST_WEEKS} weeks long, such as 4.", "weeks")
    if not 2000 <= first_day.year <= 2100:
        raise Refused("far_off", f"{first_day} is no day for a round. Write it like 2026-07-06.", "first_day")
    if not 0 <= reserve_percent <= HUNDRED:
        raise Refused(
            "reserve", "The reserve is a share of the portions, from 0 to 100 percent.", "reserve_percent"
        )
    last = first_day + dt.timedelta(weeks=weeks, days=-1)
    other = _in_those_weeks(programme, gardens, first_day, last, apart_from)
    if other is not None:
        raise InTheWay(
            "weeks_taken",
            f"{other.garden.name} has some of these weeks in round {other.round.number} already, "
            f"{_day(other.round.first_day)} to {_day(other.round.last_day)}.",
            "first_day",
        )
    check_weekly(revision.analysis(), str(revision))
    if mixing_day is not None:
        if mixing_day.state != DayState.OPEN:
            raise InTheWay(
                "day_closed", "That mixing day is closed. Choose another, or open a new one.", "mixing_day"
            )
        taken = Round.objects.filter(mixing_day=mixing_day)
        if (apart_from and taken.exclude(pk=apart_from.pk).exists()) or (not apart_from and taken.exists()):
            raise InTheWay("day_taken", "Another round is handed out on that mixing day.", "mixing_day")


def _in_those_weeks(
    programme: Programme, gardens: Sequence[Garden], first: dt.date, last: dt.date, apart_from: Round | None
) -> RoundGarden | None:
    rows = RoundGarden.objects.filter(
        programme=programme, garden__in=[g.pk for g in gardens], round__first_day__lte=last
    ).select_related("round", "garden")
    for row in rows.order_by("round__first_day"):
        if row.round.last_day >= first and (apart_from is None or row.round_id != apart_from.pk):
            return row
    return None


def _ask_for_freeze(round: Round, by: Person) -> None:
    if round.freeze_at is not None:
        jobs.ask(programme=round.programme, kind=FREEZE, key=str(round.pk), due_at=round.freeze_at, by=by)


# Freeze -----------------------------------------------------------------------------------------------------


@transaction.atomic
def freeze_round(*, round: Round, by: Person | None, now: dt.datetime) -> Snapshot:
    """Fix the demand: one line per planting or default planting fed in the round, one portion per plot and
    household.

    Again until the first weigh-out; then the round keeps what it has. ``by`` is None when its time had come.
    """
    row = _locked(round)
    if row.state == RoundState.CLOSED:
        raise InTheWay("round_closed", f"Round {row.number} is closed.")
    _withdraw_batch(row)
    revision = _revision(row.revision_id)
    check_weekly(revision.analysis(), str(revision))
    land = land_of_round(row, anew=True)
    try:
        lines = [line for surface in land.surfaces for line in _lines_of(surface, row)]
    except DoseError as error:
        raise Refused(error.code, error.message) from None
    if not lines:
        raise Refused(
            "nothing_due",
            f"Nothing is due in these gardens from {_day(row.first_day)} to {_day(row.last_day)}, so there "
            "is nothing to freeze. Look at the weeks of the round, and at who holds the plots.",
        )
    return _keep(row, land, lines, by, now)


@transaction.atomic
def exchange_revision(*, round: Round, by: Person, revision: Revision) -> Round:
    """Another bag: weeks and interval stay, the caps are applied again; nitrogen may fall, never rise.

    Open, the round simply takes the other revision; frozen, it is frozen again on it, until the first
    weigh-out.
    """
    row = _locked(round)
    if row.state == RoundState.CLOSED:
        raise InTheWay("round_closed", f"Round {row.number} is closed.")
    check_weekly((other := _revision(revision.pk)).analysis(), str(other))
    if row.revision_id == revision.pk:
        return row
    if row.state == RoundState.OPEN:
        Round.objects.filter(pk=row.pk).update(revision=revision)
        row.revision = revision
        return row
    _withdraw_batch(row)
    old = _planned(row, _revision(row.revision_id))
    new = _planned(row, other)
    last = row.snapshots.order_by("-number")[0]
    analysis = Analysis.of(item_of_revision(other).blend)
    lines = [_exchanged(line, old, new, analysis) for line in last.lines.order_by("pk")]
    Round.objects.filter(pk=row.pk).update(revision=revision)
    row.revision = revision
    land = land_of_round(row)
    _keep(row, land, lines, by, timezone.now())
    return row


def _keep(row: Round, land: Land, lines: Sequence[_Draft], by: Person | None, now: dt.datetime) -> Snapshot:
    if Collection.objects.filter(portion__round=row).exists():
        raise InTheWay("handed_out", "Tubs of this round were handed out already: it stays as it is frozen.")
    number = (row.snapshots.aggregate(last=Max("number"))["last"] or 0) + 1
    try:
        with transaction.atomic():
            snapshot = Snapshot.objects.create(
                programme=row.programme, round=row, number=number, revision=row.revision, by=by, at=now
            )
    except IntegrityError:
        raise InTheWay(
            "frozen_meanwhile", "Somebody froze this round a moment ago. Look at it again."
        ) from None
    lines = [_with_households(line, land) for line in lines]
    FrozenLine.objects.bulk_create((draft.row(row, snapshot) for draft in lines), batch_size=500)
    _make_portions(row, lines)
    moved = Round.objects.filter(pk=row.pk, state__in=[RoundState.OPEN, RoundState.FROZEN]).update(
        state=RoundState.FROZEN
    )
    if not moved:
        raise InTheWay("round_closed", f"Round {row.number} is closed.")
    row.state = RoundState.FROZEN
    jobs.withdraw(programme=row.programme, kind=FREEZE, key=str(row.pk))
    return snapshot


@dataclass(frozen=True)
class _Draft:
    """A frozen line to be."""

    plot: int
    bed: int | None
    planting: int | None
    assumed: bool
    area_mm2: int
    weeks: tuple[dict[str, Any], ...]
    numbers: dict[str, Any]
    line: str
    working: list[Any]

    def row(self, round: Round, snapshot: Snapshot) -> FrozenLine:
        return FrozenLine(
            programme=round.programme,
            snapshot=snapshot,
            plot_id=self.plot,
            bed_id=self.bed,
            planting_id=self.planting,
            assumed=self.assumed,
            area_mm2=self.area_mm2,
            mass_mg=sum(w["mg"] for w in self.weeks),
            weeks=list(self.weeks),
            numbers=self.numbers,
            line=self.line[:300],
            working=self.working,
        )


def _lines_of(surface: Surface, round: Round) -> Iterable[_Draft]:
    for planting, plan in surface.pairs():
        feeds = [f for f in plan.on(round.first_day, round.last_day) if not f.skipped]
        if not feeds:
            continue
        yield _Draft(
            plot=surface.plot.pk,
            bed=surface.bed.pk if surface.bed else None,
            planting=planting.pk if planting else None,
            assumed=plan.assumed,
            area_mm2=plan.spec.area_mm2,
            weeks=tuple(_week(feed) for feed in feeds),
            numbers=_numbers(plan, round),
            line=plan.line,
            working=[step.as_json() for step in plan.working.steps],
        )


def _week(feed: Feed) -> dict[str, Any]:
    return {
        "day": feed.day.isoformat(),
        "n_ug": feed.ug_n,
        "b_ug": feed.ug_boron,
        "mg": feed.blend_mg,
        "weeks": feed.weeks,
        "quarters": feed.scoops.quarters if feed.scoops else None,
    }


def _numbers(plan: PlantingPlan, round: Round) -> dict[str, Any]:
    """What fixes the unit from now on; exact fractions as text, micrograms per m2."""
    kept = plan.frozen
    return {
        "revision": round.revision_id,
        "unit": str(kept.unit),
        "feeds": kept.feeds,
        "interval": kept.interval,
        "cap_blend": str(plan.cap_blend),
        "room_n": str(plan.room_n),
        "room_boron": None if plan.room_boron is None else str(plan.room_boron),
        "crop": plan.spec.crop.code if plan.spec.crop else "",
        "stop": plan.stop.isoformat() if plan.stop else "",
    }


def _with_households(line: _Draft, land: Land) -> _Draft:
    """Each feed with the household that holds the plot on its day: whose tub it is in."""
    weeks = []
    for week in line.weeks:
        holder = land.holder_on(line.plot, dt.date.fromisoformat(week["day"]))
        weeks.append({**week, "household": holder.pk if holder else None})
    return replace(line, weeks=tuple(weeks))


def _make_portions(round: Round, lines: Sequence[_Draft]) -> None:
    """One per plot and household with a feed in the round."""
    due: dict[tuple[int, int], int] = defaultdict(int)
    for line in lines:
        for week in line.weeks:
            if week["household"] is not None:
                due[line.plot, week["household"]] += week["mg"]
    division = round.programme.desk_division_mg
    Portion.objects.filter(round=round).delete()
    Portion.objects.bulk_create(
        Portion(
            programme=round.programme,
            round=round,
            plot_id=plot,
            household_id=household,
            revision=round.revision,
            cause=Cause.FROZEN,
            demand_mg=mg,
            due_mg=-(-mg // division) * division,
        )
        for (plot, household), mg in due.items()
        if mg
    )


# Another revision -------------------------------------------------------------------------------------------


def _planned(round: Round, revision: Revision) -> dict[tuple[int, int | None, int | None], PlantingPlan]:
    """The plans as they are now, under what the round's own freeze fixed, on the given revision."""
    land = land_of_round(round, items=Items(item_of_revision(revision)))
    return {
        (s.plot.pk, s.bed.pk if s.bed else None, planting.pk if planting else None): plan
        for s in land.surfaces
        for planting, plan in s.pairs()
    }


def _exchanged(
    line: FrozenLine,
    old: dict[tuple[int, int | None, int | None], PlantingPlan],
    new: dict[tuple[int, int | None, int | None], PlantingPlan],
    analysis: Analysis,
) -> _Draft:
    """The frozen line on another revision. Later edits do not count: only what the other revision changes
    does.
    """
    key = (line.plot_id, line.bed_id, line.planting_id)
    share = _kept_share(old.get(key), new.get(key))
    weeks = []
    for week in line.weeks:
        day = dt.date.fromisoformat(week["day"])
        ug = min(week["n_ug"], int(week["n_ug"] * share(day)))
        now = {"n_ug": ug, "b_ug": analysis.boron_in(ug), "mg": blend_mg(ug, analysis), "quarters": None}
        weeks.append({**week, **now})
    plan = new.get(key)
    numbers = dict(line.numbers)
    if plan is not None:
        numbers["unit"] = str(min(Fraction(numbers["unit"]), plan.unit or Fraction(numbers["unit"])))
        numbers["cap_blend"] = str(plan.cap_blend)
        numbers["room_boron"] = None if plan.room_boron is None else str(plan.room_boron)
    return _Draft(
        plot=line.plot_id,
        bed=line.bed_id,
        planting=line.planting_id,
        assumed=line.assumed,
        area_mm2=line.area_mm2,
        weeks=tuple(weeks),
        numbers=numbers,
        line=plan.line if plan is not None and plan.feeds else line.line,
        working=[s.as_json() for s in plan.working.steps]
        if plan is not None and plan.feeds
        else line.working,
    )


def _kept_share(old: PlantingPlan | None, new: PlantingPlan | None) -> Callable[[dt.date], Fraction]:
    """How much of each feed's nitrogen the other revision keeps under the caps: at most all of it."""
    before = {f.day: f.ug_n for f in old.feeds} if old else {}
    after = {f.day: f.ug_n for f in new.feeds} if new else {}

    def share(day: dt.date) -> Fraction:
        if before.get(day) and day in after:
            return min(Fraction(after[day], before[day]), Fraction(1))
        whole = sum(before.values())
        return min(Fraction(sum(after.values()), whole), Fraction(1)) if whole else Fraction(1)

    return share


# Mix and close ----------------------------------------------------------------------------------------------


@transaction.atomic
def mix_round(*, round: Round, by: Person, scales: Sequence[Scale] | None = None) -> Batch:
    """The round's batch, in equal pails, on its mixing day."""
    row = _locked(round)
    if row.state != RoundState.FROZEN:
        raise InTheWay("not_frozen", f"Round {row.number} is not frozen: freeze its need first, then mix.")
    if row.batch_id:
        raise InTheWay("mixed", f"This round has batch {_batch_number(row)} already.")
    if row.mixing_day is None:
        raise Refused("no_day", "Choose the mixing day first.", "mixing_day")
    row.revision = _revision(row.revision_id)
    mass = sizing(row).batch_mg
    if mass <= 0:
        raise InTheWay(
            "enough", "The released, unopened pails hold enough for everybody: nothing needs mixing."
        )
    batch = start_batch(day=row.mixing_day, by=by, revision=row.revision, mass_mg=mass, scales=scales)
    if not Round.objects.filter(pk=row.pk, state=RoundState.FROZEN, batch=None).update(batch=batch):
        raise InTheWay("mixed", "Somebody has made this round's batch a moment ago.")
    round.batch = batch
    return batch


@transaction.atomic
def close_round(*, round: Round, by: Person) -> Round:
    """No more is handed out of this round; what was not collected stays listed."""
    row = _locked(round)
    closed = Round.objects.filter(pk=row.pk, state=RoundState.FROZEN).update(state=RoundState.CLOSED)
    if not closed:
        raise InTheWay(
            "not_frozen", f"Round {row.number} is {row.get_state_display()}: only a frozen round is closed."
        )
    row.state = RoundState.CLOSED
    return row


def ask_to_freeze(*, round: Round, by: Person) -> Job:
    """Put the freeze of a large round on the list of work; it takes longer than a page may."""
    return jobs.ask(programme=round.programme, kind=FREEZE, key=str(round.pk), payload={"again": True}, by=by)


def begun(round: Round) -> bool:
    """Whether something was weighed for the round's batch: then its last snapshot stands."""
    return bool(round.batch_id) and WeighOut.objects.filter(pail__batch=round.batch_id).exists()


def _withdraw_batch(round: Round) -> None:
    """Take back a batch of which nothing is weighed, so that the round can be frozen again."""
    if not round.batch_id:
        return
    if begun(round):
        raise InTheWay(
            "weighing_begun",
            f"Batch {_batch_number(round)} of round {round.number} is being weighed: what is frozen stands. "
            "Later changes show as differences.",
        )
    batch = Batch.objects.select_for_update().get(pk=round.batch_id)
    if Batch.objects.filter(programme=round.programme, number__gt=batch.number).exists():
        raise InTheWay("later_batch", f"A later batch stands already, so {batch} cannot be taken back.")
    Round.objects.filter(pk=round.pk).update(batch=None)
    round.batch = None
    PailTarget.objects.filter(pail__batch=batch).delete()
    Place.objects.filter(pail__batch=batch).delete()
    Pail.objects.filter(batch=batch).delete()
    batch.delete()


def _locked(round: Round) -> Round:
    return (
        Round.objects.select_for_update(of=("self",))
        .select_related("programme", "revision__blend", "mixing_day__garden")
        .get(pk=round.pk)
    )


def _revision(pk: int) -> Revision:
    return Revision.objects.select_related("blend").prefetch_related(with_components()).get(pk=pk)


def _batch_number(round: Round) -> str:
    return str(round.batch.number) if round.batch else ""


def _frozen_stands(round: Round) -> InTheWay:
    return InTheWay(
        "round_frozen",
        f"Round {round.number} is frozen: its weeks, gardens and reserve stand. Exchange its blend, or "
        "freeze it again, until the first weigh-out.",
    )


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%B}"
