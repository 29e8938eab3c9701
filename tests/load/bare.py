"""What collections are measured against: one insert, behind the same middleware."""

from __future__ import annotations

import uuid

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import path
from django.utils import timezone

from gardens.models import Job, JobState
from gardens.urls import urlpatterns as all_addresses


def one_insert(request: HttpRequest, programme: int) -> HttpResponse:
    """Nobody is looked up; one row goes into a real table."""
    Job.objects.create(
        programme_id=programme, kind="bare", key=str(uuid.uuid4()), due_at=timezone.now(), state=JobState.DONE
    )
    return redirect("/")


urlpatterns = [
    path("bare/<int:programme>/", one_insert),
    path("bare/<int:programme>/signed-in/", login_required(one_insert)),
    *all_addresses,
]
