"""Work in the background: the rows are the truth, Celery only rings the bell."""

from __future__ import annotations

import datetime as dt

from django.db import models

from gardens.constraints import wall
from gardens.models.people import Person, Walled


class JobState(models.TextChoices):
    DUE = "due", "due"
    RUNNING = "running", "running"
    DONE = "done", "done"
    FAILED = "failed", "failed"


class JobQuerySet(models.QuerySet["Job"]):
    def ready(self, now: dt.datetime) -> JobQuerySet:
        """Due, or begun by a worker whose lease has run out."""
        return self.filter(
            models.Q(state=JobState.DUE, due_at__lte=now)
            | models.Q(state=JobState.RUNNING, lease_until__lt=now)
        )


class Job(Walled):
    """One piece of work, done once. ``key`` says what it is about, so asking twice is asking once."""

    kind = models.CharField(max_length=40)
    key = models.CharField(max_length=120)
    payload = models.JSONField(default=dict, blank=True)
    state = models.CharField(max_length=8, choices=JobState.choices, default=JobState.DUE)
    due_at = models.DateTimeField()
    lease_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    message = models.TextField(blank=True)
    asked_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-id"]
        constraints = [
            *wall("asked_by"),
            models.UniqueConstraint(fields=["programme", "kind", "key"], name="%(app_label)s_%(class)s_once"),
        ]
        indexes = [models.Index(fields=["state", "due_at"], name="gardens_job_due")]

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"
