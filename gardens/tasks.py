"""Celery's entry points: each only names a row, or asks what is due."""

from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from gardens import jobs
from gardens.clock import today
from gardens.models import Programme


@shared_task(name="gardens.tasks.run_job")
def run_job(pk: int) -> bool:
    return jobs.run(pk)


@shared_task(name="gardens.tasks.sweep")
def sweep() -> int:
    return jobs.sweep()


@shared_task(name="gardens.tasks.nightly")
def nightly() -> int:
    """Ask for tonight's check of each programme's books, once a day in its own zone; the rows keep it to once."""
    asked = 0
    for programme in Programme.objects.all():
        day = today(programme)
        if not programme_was_asked(programme, key := f"{day:%Y-%m-%d}"):
            jobs.ask(programme=programme, kind="verify", key=key, due_at=timezone.now())
            asked += 1
    return asked


def programme_was_asked(programme: Programme, key: str) -> bool:
    from gardens.models import Job

    return Job.objects.filter(programme=programme, kind="verify", key=key).exists()
