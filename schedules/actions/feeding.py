"""What a holder says happened on a bed. Saying nothing counts as fed; nothing that is said makes a scoop
larger.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone

from gardens.clock import today, week_of
from gardens.models import Bed, Person, Planting, Plot
from gardens.refusals import InTheWay, Refused
from schedules.models import FeedLog, LogKind

MOST_EXTRA_MG = 5_000_000
LONG_AGO = dt.timedelta(days=366)


@transaction.atomic
def log_feed(
    *,
    plot: Plot,
    by: Person,
    kind: str,
    day: dt.date,
    bed: Bed | None = None,
    planting: Planting | None = None,
    mass_mg: int = 0,
) -> FeedLog:
    """Fed, skipped, or an extra of so much blend, on the feed's day or another of its week. The default
    planting is named by its bed, or by neither where no bed is known. What was said before of the same feed
    is undone by it.
    """
    if planting is not None:
        bed = planting.bed
    if bed is not None and bed.plot_id != plot.pk:
        raise Refused("other_plot", "That bed is on another plot.", "bed")
    if kind not in LogKind.values:
        raise Refused("kind", "Say whether it was fed, skipped, or an extra.", "kind")
    now = timezone.now()
    here = today(plot.programme, now)
    if not here - LONG_AGO <= day <= here + dt.timedelta(days=7):
        raise Refused("far_off", "That day is more than a week ahead, or over a year ago.", "day")
    if kind == LogKind.EXTRA:
        if not 0 < mass_mg <= MOST_EXTRA_MG:
            raise Refused("mass", "Say how much was put on, such as 20 g.", "mass")
        if day > here:
            raise Refused("ahead", "An extra is logged when it has been put on, not before.", "day")
    Plot.objects.select_for_update(no_key=True).get(pk=plot.pk)
    start = week_of(plot.programme, day)
    said = FeedLog.objects.filter(plot=plot, bed=bed, planting=planting, undone_at=None).filter(
        day__gte=start, day__lt=start + dt.timedelta(weeks=1)
    )
    if kind != LogKind.EXTRA:
        same = said.filter(kind=kind).first()
        if same is not None:
            return same
        said.exclude(kind=LogKind.EXTRA).update(undone_at=now, undone_by=by)
    return FeedLog.objects.create(
        programme=plot.programme,
        plot=plot,
        bed=bed,
        planting=planting,
        kind=kind,
        day=day,
        mass_mg=mass_mg if kind == LogKind.EXTRA else 0,
        by=by,
        at=now,
    )


@transaction.atomic
def log_feeds(
    *, plot: Plot, by: Person, kind: str, feeds: Iterable[tuple[dt.date, Bed | None, Planting | None]]
) -> list[FeedLog]:
    """Several feeds, each (day, bed, planting), fed or skipped together: all are kept, or none."""
    return [
        log_feed(plot=plot, by=by, kind=kind, day=day, bed=bed, planting=planting)
        for day, bed, planting in feeds
    ]


@transaction.atomic
def undo_log(*, log: FeedLog, by: Person) -> FeedLog:
    """Take it back; the entry stays, undone."""
    done = FeedLog.objects.filter(pk=log.pk, undone_at=None).update(undone_at=timezone.now(), undone_by=by)
    if not done:
        raise InTheWay("undone", "That was undone already.")
    log.refresh_from_db()
    return log
