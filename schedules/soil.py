"""Step 7: what one bed's soil may get in any 48 weeks, shared in date order among its plantings.

The account is kept per bed (everything given / net area), and beside it each planting keeps one for its own
area. All amounts are whole micrograms of nitrogen. Boron is brought to "nitrogen that brings it": within one
plan every feed comes from one item, so its boron is a fixed share of its nitrogen.

**A log never makes a feed larger.** Shares are worked out as if nothing had been skipped: what a skipped feed
leaves in the soil's account is handed to nobody in this plan ("no catch-up"); only `BedPlan.soil` leaves it
out, so what is planted there later starts from what the soil really got.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from schedules.rules import Rules
from schedules.specs import Cap, Given

MM2 = 1_000_000
"""Square millimetres in a square metre."""


@dataclass(frozen=True)
class Claim:
    """A planned feed: which planting (its place in the list), the day, and what it asks."""

    planting: int
    day: date
    ug_n: int


@dataclass(frozen=True)
class Ground:
    """The part of the bed under one planting, from day to day, and what was decided about it."""

    key: str
    area_mm2: int
    start: date
    end: date
    boron_sensitive: bool
    lifted: Cap | None


@dataclass(frozen=True)
class Entry:
    """What the soil gets whatever is asked: given before this plan, or a logged extra (with its planting).

    `ug_boron` None: nobody declared it.
    """

    day: date
    ug_n: int
    ug_boron: Fraction | int | None
    planting: int | None


@dataclass(frozen=True)
class Soil:
    """A bed's soil: its net area, the parts of it, what it got, and the boron in the item's nitrogen.

    `boron_per_n` is exact, and None when the item does not declare its boron: the cap cannot then be checked.
    """

    area_mm2: int
    grounds: tuple[Ground, ...]
    entries: tuple[Entry, ...]
    boron_per_n: Fraction | None
    rules: Rules

    def n_cap(self, lifted: Cap | None) -> Fraction:
        """ug N/m2; lifted it is the hard ceiling, which no reason lifts."""
        ceiling = self.rules.soil_n_ceiling.value
        return ceiling if lifted is Cap.SOIL_N else min(self.rules.soil_n.value, ceiling)

    def boron_cap(self, lifted: Cap | None, *, sensitive: bool) -> Fraction:
        """ug B/m2: half where a boron-sensitive crop grows; lifted it is the hard ceiling."""
        ceiling = self.rules.soil_boron_ceiling.value
        if lifted is Cap.SOIL_BORON:
            return ceiling
        cap = min(self.rules.soil_boron.value, ceiling)
        return cap * self.rules.boron_sensitive_share.value if sensitive else cap

    def sensitive_on(self, day: date) -> bool:
        """Whether a boron-sensitive crop stands on the bed that day."""
        return any(g.boron_sensitive and g.start <= day <= g.end for g in self.grounds)

    def room(
        self, area_mm2: int, lifted: Cap | None, *, sensitive: bool, n: int, entered: Sequence[Entry]
    ) -> int:
        """Micrograms of N that may still go on `area_mm2`, after `n` of this plan and what was entered.

        Boron holds it as far as it is known: what an entry did not declare opens no room (nothing known is
        let go because of it) and closes none; that the cap cannot be checked is said instead.
        """
        room = int(self.n_cap(lifted) * area_mm2 / MM2) - n - sum(entry.ug_n for entry in entered)
        if self.boron_per_n:
            boron = self.boron_cap(lifted, sensitive=sensitive) * area_mm2 / MM2
            boron -= sum(entry.ug_boron or 0 for entry in entered)
            room = min(room, boron // self.boron_per_n - n)
        return max(room, 0)

    def boron(self, fed_ug_n: int, entered: Sequence[Entry]) -> Fraction | None:
        """Micrograms of B in that much nitrogen of the item and in what was entered; None if a part of it is
        not known.
        """
        if self.boron_per_n is None or any(entry.ug_boron is None for entry in entered):
            return None
        return fed_ug_n * self.boron_per_n + sum(entry.ug_boron or 0 for entry in entered)


def shared(soil: Soil, claims: Sequence[Claim]) -> list[int]:
    """What each claim gets, in the order of `claims`. Rounded down where a cap cuts: rounding passes none.

    On each day every planting is first held to the cap on its own area; then the bed's room is shared in
    proportion to what they ask. Plantings with a lifted cap share, after that, what their higher cap still
    leaves.
    """
    got = [0] * len(claims)
    for day in sorted({claim.day for claim in claims}):
        todays = [at for at, claim in enumerate(claims) if claim.day == day and claim.ug_n]
        for at in todays:
            got[at] = min(claims[at].ug_n, own_room(soil, claims, got, claims[at].planting, day))
        wanted = {at: got[at] for at in todays}
        for at in todays:
            got[at] = 0
        lifts = {at: soil.grounds[claims[at].planting].lifted for at in todays}
        for level in (None, Cap.SOIL_BORON, Cap.SOIL_N):
            sharers = [at for at in todays if level is None or lifts[at] is level]
            room = bed_room(soil, claims, got, level, day) if sharers else 0
            asked = sum(wanted[at] - got[at] for at in sharers)
            for at in sharers:
                left = wanted[at] - got[at]
                got[at] += left if asked <= room else left * room // asked
    return got


def own_room(soil: Soil, claims: Sequence[Claim], got: Sequence[int], planting: int, day: date) -> int:
    """What the planting's own area may still get on `day`."""
    ground = soil.grounds[planting]
    n = _in_window(soil, claims, got, day, lambda claim: claim.planting == planting)
    entered = [e for e in entries_in_window(soil, day) if e.planting == planting]
    return soil.room(ground.area_mm2, ground.lifted, sensitive=ground.boron_sensitive, n=n, entered=entered)


def bed_room(soil: Soil, claims: Sequence[Claim], got: Sequence[int], lifted: Cap | None, day: date) -> int:
    """What the bed as a whole may still get on `day`, under the usual caps or a lifted one."""
    n = _in_window(soil, claims, got, day, lambda claim: True)
    entered = entries_in_window(soil, day)
    return soil.room(soil.area_mm2, lifted, sensitive=soil.sensitive_on(day), n=n, entered=entered)


def entries_in_window(soil: Soil, day: date) -> list[Entry]:
    """What was entered in the 48 weeks up to `day`, the first day left out."""
    return [entry for entry in soil.entries if after_window_start(day, soil.rules) < entry.day <= day]


def after_window_start(day: date, rules: Rules) -> date:
    """The day that is just out of the 48 weeks ending with `day`."""
    return day - timedelta(weeks=rules.soil_weeks)


def given_entries(given: Sequence[Given], grounds: Sequence[Ground]) -> tuple[Entry, ...]:
    places = {ground.key: at for at, ground in enumerate(grounds)}
    return tuple(Entry(g.day, g.ug_n, g.ug_boron, places.get(g.planting)) for g in given)


def _in_window(
    soil: Soil, claims: Sequence[Claim], got: Sequence[int], day: date, counts: Callable[[Claim], bool]
) -> int:
    out = after_window_start(day, soil.rules)
    return sum(
        g for g, claim in zip(got, claims, strict=True) if g and out < claim.day <= day and counts(claim)
    )
