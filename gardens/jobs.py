"""Work that rows ask for. Each kind of job registers what it does; ``run`` claims a row, does it, marks it done.

What a job does and its mark *done* are one transaction, so a worker that dies in the middle leaves nothing behind and
the row is taken up again when its lease has run out.
"""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Callable

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from gardens.models import Job, JobState, Person, Programme
from gardens.refusals import Refused

LEASE = dt.timedelta(minutes=5)
MOST_ATTEMPTS = 5
Work = Callable[[Job], str]
KINDS: dict[str, Work] = {}
log = logging.getLogger("jobs")


def register(kind: str) -> Callable[[Work], Work]:
    """Decorator: the function does jobs of this kind and returns a sentence on what came of it."""

    def keep(work: Work) -> Work:
        KINDS[kind] = work
        return work

    return keep


def ask(
    *,
    programme: Programme,
    kind: str,
    key: str,
    due_at: dt.datetime | None = None,
    payload: dict[str, object] | None = None,
    by: Person | None = None,
) -> Job:
    """Put a job on the list once; asking again before it is done moves its time."""
    when = due_at or timezone.now()
    job, made = Job.objects.get_or_create(
        programme=programme,
        kind=kind,
        key=key,
        defaults={"due_at": when, "payload": payload or {}, "asked_by": by},
    )
    if not made:
        Job.objects.filter(pk=job.pk).exclude(state=JobState.RUNNING).update(
            state=JobState.DUE, due_at=when, payload=payload or {}, attempts=0, message="", finished_at=None
        )
    if when <= timezone.now():
        transaction.on_commit(lambda: _ring(job.pk))
    return job


def withdraw(*, programme: Programme, kind: str, key: str) -> None:
    """Take a job that has not begun off the list."""
    Job.objects.filter(programme=programme, kind=kind, key=key, state=JobState.DUE).delete()


def _ring(pk: int) -> None:
    """Ring the doorbell; if nobody hears it, the sweep finds the row."""
    from gardens.tasks import run_job

    try:
        run_job.delay(pk)
    except Exception:
        log.warning("the doorbell is out of order; the sweep will find the job", extra={"job": pk})


def claim(pk: int, now: dt.datetime | None = None) -> Job | None:
    """Take the job for one lease, or None when it is not ready or somebody else has it."""
    moment = now or timezone.now()
    taken = (
        Job.objects.ready(moment)
        .filter(pk=pk)
        .update(state=JobState.RUNNING, lease_until=moment + LEASE, attempts=F("attempts") + 1)
    )
    return Job.objects.select_related("programme").get(pk=pk) if taken else None


def run(pk: int, now: dt.datetime | None = None) -> bool:
    """Claim and do one job; True when it was done now."""
    job = claim(pk, now)
    if job is None:
        return False
    lease = job.lease_until
    try:
        with transaction.atomic():
            message = KINDS[job.kind](job)
            kept = Job.objects.filter(pk=pk, state=JobState.RUNNING, lease_until=lease).update(
                state=JobState.DONE, message=message, finished_at=timezone.now(), lease_until=None
            )
            if not kept:
                raise LeaseLost
    except LeaseLost:
        log.warning("lease lost", extra={"job": pk, "kind": job.kind})
        return False
    except Exception as problem:
        _failed(job, problem)
        return False
    log.info("done", extra={"job": pk, "kind": job.kind})
    return True


class LeaseLost(Exception):
    """Somebody else took the job up while this worker was at it; nothing of this attempt is kept."""


def _failed(job: Job, problem: Exception) -> None:
    """Try again a little later, a few times; then it stands as failed, for the organiser to see.

    Only while the lease is ours: whoever took the job up since has it.
    """
    refused = isinstance(problem, Refused)
    words = problem.message if isinstance(problem, Refused) else f"{type(problem).__name__}: {problem}"
    final = refused or job.attempts >= MOST_ATTEMPTS
    if not refused:
        log.error("failed", extra={"job": job.pk, "kind": job.kind}, exc_info=problem)
    Job.objects.filter(pk=job.pk, state=JobState.RUNNING, lease_until=job.lease_until).update(
        state=JobState.FAILED if final else JobState.DUE,
        message=words[:2000],
        due_at=timezone.now() + dt.timedelta(seconds=20 * job.attempts),
        finished_at=timezone.now() if final else None,
        lease_until=None,
    )


def sweep(now: dt.datetime | None = None) -> int:
    """Do everything that is due or was left lying; the number done."""
    ready = list(
        Job.objects.ready(now or timezone.now()).order_by("due_at", "pk").values_list("pk", flat=True)[:200]
    )
    return sum(run(pk, now) for pk in ready)
