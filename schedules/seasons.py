"""A garden's year: frost dates and feeding weeks, on either hemisphere."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

WEEK = timedelta(weeks=1)
EARLIEST = date(1990, 1, 1)
LATEST = date(2199, 12, 31)


def week_of(day: date, *, starts: int = 0) -> date:
    """The first day of the week that `day` lies in; `starts` is 0 for Monday to 6 for Sunday."""
    return day - timedelta(days=(day.weekday() - starts) % 7)


@dataclass(frozen=True)
class GardenSeason:
    """Last frost of spring, first frost of autumn, and any day of the first and of the last feeding week.

    Days are dates in the programme's zone. A southern season runs over New Year. Frost dates may be unknown
    (None).
    """

    last_frost: date | None
    first_frost: date | None
    first_feed: date
    last_feed: date

    @property
    def southern(self) -> bool:
        """Whether spring comes in the second half of the year: fixed dates then move by six months."""
        spring = self.last_frost or self.first_feed
        return (
            self.last_frost is not None and spring.month >= 7
        ) or self.last_feed.year > self.first_feed.year

    def first_day(self, *, week_starts: int) -> date:
        """First day of the first feeding week."""
        return week_of(self.first_feed, starts=week_starts)

    def last_day(self, *, week_starts: int) -> date:
        """Last day of the last feeding week."""
        return week_of(self.last_feed, starts=week_starts) + timedelta(days=6)

    @property
    def year(self) -> tuple[date, date]:
        """First and last day of the garden's year: January to December, or July to June in the south."""
        if not self.southern:
            return date(self.first_feed.year, 1, 1), date(self.first_feed.year, 12, 31)
        begins = self.first_feed.year if self.first_feed.month >= 7 else self.first_feed.year - 1
        return date(begins, 7, 1), date(begins + 1, 6, 30)
