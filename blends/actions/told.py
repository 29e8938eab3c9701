"""When a told act can have happened."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from blends.models import Batch
from gardens.days import in_words
from gardens.refusals import Refused


def not_before(happened_at: dt.datetime | None, batch: Batch) -> None:
    """Nothing is weighed for a batch, or handed out of it, before it was made.

    A day noted on paper is typed in afterwards: its own date is early enough, whatever hour the batch was
    entered.
    """
    if happened_at is None:
        return
    zone = ZoneInfo(batch.programme.zone)
    first = min(batch.made_at, dt.datetime.combine(batch.day.day, dt.time(), zone))
    if happened_at < first:
        raise Refused(
            "too_early",
            f"Then {batch} was not there yet: it was made on {in_words(first.astimezone(zone).date())}. "
            "Look at the date.",
            "happened_at",
        )
