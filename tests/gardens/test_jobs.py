"""A worker whose lease ran out leaves the job to who has it now."""

from __future__ import annotations

from typing import Any

import pytest
from django.utils import timezone

from gardens import jobs
from gardens.models import Job, JobState

pytestmark = pytest.mark.django_db


def test_a_late_failure_does_not_touch_the_job_that_somebody_else_took_up(
    cast: Any, monkeypatch: Any
) -> None:
    monkeypatch.setattr(jobs, "_ring", lambda pk: None)
    asked = jobs.ask(programme=cast.programme, kind="slow", key="1")
    late = jobs.claim(asked.pk)
    other = jobs.claim(asked.pk, timezone.now() + 2 * jobs.LEASE)
    assert late and other
    jobs._failed(late, ValueError("too late"))
    now = Job.objects.get()
    assert (now.state, now.attempts, now.message) == (JobState.RUNNING, 2, "")
    assert now.lease_until == other.lease_until
    jobs._failed(other, ValueError("in time"))
    assert Job.objects.get().state == JobState.DUE
