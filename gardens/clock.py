"""The programme's own time."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from django.utils import timezone

from gardens.models import Programme


def today(programme: Programme, now: dt.datetime | None = None) -> dt.date:
    """The date in the programme's zone."""
    return (now or timezone.now()).astimezone(ZoneInfo(programme.zone)).date()


def week_of(programme: Programme, day: dt.date) -> dt.date:
    """The first day of the week that ``day`` falls in, as the programme counts weeks."""
    return day - dt.timedelta(days=(day.isoweekday() - programme.week_start) % 7)
