"""Several feeds noted at once are noted all, or none."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.urls import reverse

from gardens.clock import today
from schedules.models import FeedLog

pytestmark = pytest.mark.django_db


def test_of_feeds_noted_together_all_are_kept_or_none(cast: Any, as_: Any) -> None:
    here, bed = today(cast.programme), f"b{cast.bed.pk}"
    at = reverse("feed_log", args=[cast.programme.pk, cast.plot.pk])
    late = here + dt.timedelta(days=60)
    as_(cast.holder).post(at, {"kind": "fed", "feed": [f"{bed}@{here}", f"{bed}@{late}"]})
    assert not FeedLog.objects.exists()
    as_(cast.holder).post(at, {"kind": "fed", "feed": [f"{bed}@{here}"]})
    assert FeedLog.objects.count() == 1
