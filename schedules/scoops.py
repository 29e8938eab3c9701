"""Grams as level scoops: what slip and card print beside the dose. Sums always use the dose itself."""

from __future__ import annotations

from dataclasses import dataclass

_FRACTIONS = ("", "1/4", "1/2", "3/4")


@dataclass(frozen=True)
class Scoops:
    """A number of quarter scoops and what they hold."""

    quarters: int
    mg: int

    def __str__(self) -> str:
        whole, quarter = divmod(self.quarters, 4)
        return " ".join(part for part in (str(whole) if whole else "", _FRACTIONS[quarter]) if part) or "0"


def nearest(blend_mg: int, scoop_mg: int, *, at_most_mg: int | None = None) -> Scoops:
    """The whole number of quarter scoops nearest to `blend_mg` (a tie goes down) and not above `at_most_mg`.

    0 quarters for a dose that is something means: less than a scoop can measure, weigh it.
    """
    if scoop_mg <= 0 or blend_mg < 0:
        raise ValueError("a scoop holds something, and a dose is not negative")
    quarters = (8 * blend_mg + scoop_mg - 1) // (2 * scoop_mg)
    if at_most_mg is not None:
        quarters = min(quarters, 4 * at_most_mg // scoop_mg)
    return Scoops(quarters, (2 * quarters * scoop_mg + 4) // 8)
