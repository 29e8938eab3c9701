"""The programme's own time."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Iterator
from unittest import mock
from zoneinfo import ZoneInfo

from django.utils import timezone

from gardens.models import Programme


def today(programme: Programme, now: dt.datetime | None = None) -> dt.date:
    """The date in the programme's zone."""
    return (now or timezone.now()).astimezone(ZoneInfo(programme.zone)).date()


def week_of(programme: Programme, day: dt.date) -> dt.date:
    """The first day of the week that ``day`` falls in, as the programme counts weeks."""
    return day - dt.timedelta(days=(day.isoweekday() - programme.week_start) % 7)


@contextlib.contextmanager
def standing_at(moment: dt.datetime) -> Iterator[None]:
    """The clock stands at ``moment`` inside: for the demo, whose past was played before it was first started."""
    with mock.patch.object(timezone, "now", lambda: moment):
        yield
