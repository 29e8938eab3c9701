"""The Celery application with one more kind of job: it moves a gram and, the first time, takes very long.

``celery -A tests.slow_jobs worker``. Nothing of the product knows of it.
"""

from __future__ import annotations

import time
from pathlib import Path

import django
from django.conf import settings

django.setup()

from blends import ledger  # noqa: E402
from blends.models import PlaceKind, TicketKind  # noqa: E402
from gardens.celery import app  # noqa: E402
from gardens.jobs import register  # noqa: E402
from gardens.models import Job  # noqa: E402
from tests.play import move  # noqa: E402

__all__ = ["app"]

KIND = "slow"


def begun(attempt: int) -> Path:
    """The file that says the job is in the middle of its work."""
    return Path(settings.DATA_DIR) / f"slow-job-{attempt}"


@register(KIND)
def slow(job: Job) -> str:
    supplier = ledger.single(job.programme, PlaceKind.SUPPLIER)
    waste = ledger.single(job.programme, PlaceKind.WASTE)
    assert job.asked_by
    move(job.programme, job.asked_by, TicketKind.MOVE, supplier, waste, 1_000)
    begun(job.attempts).touch()
    if job.attempts == 1:
        time.sleep(120)
    return "moved a gram"
