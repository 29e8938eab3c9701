"""What is still due of a portion, and whether a reading at the desk looks like net or gross.

Masses are whole milligrams. The thresholds are house values, chosen so that a tub on the scale is noticed
and one scoop too many is not.
"""

from __future__ import annotations

from dataclasses import dataclass

OVER_SHARE_PERCENT = 10  # a reading is asked about when it exceeds what is due by more than this ...
OVER_MG = 20_000  # ... and by more than this
NEAR_TUB_MG = 15_000  # or when it lies this near to what is due with the tub on the scale


def left(due_mg: int, had_mg: int, home_mg: int) -> int:
    """What may still be handed out: the portion, less what was had of it, topped up over what is at home."""
    return max(0, due_mg - had_mg - home_mg)


def is_over(net_mg: int, left_mg: int) -> bool:
    """More than is due by more than 10 % and 20 g."""
    over = net_mg - left_mg
    return over > OVER_MG and over * 100 > left_mg * OVER_SHARE_PERCENT


@dataclass(frozen=True)
class Question:
    """ "With the tub?": what the reading would be without it, and how far it is off."""

    reading_mg: int
    portion_mg: int
    left_mg: int
    tub_mg: int
    home_mg: int

    @property
    def net_mg(self) -> int:
        """The reading less the tub and what was in it; not above zero where the tub explains nothing."""
        return self.reading_mg - self.tub_mg - self.home_mg

    @property
    def tub_explains(self) -> bool:
        """Taking the tub off leaves something that is itself not too much."""
        return self.tub_mg + self.home_mg > 0 and self.net_mg > 0 and not is_over(self.net_mg, self.left_mg)

    @property
    def percent_of_portion(self) -> int:
        return _percent(self.reading_mg, self.portion_mg)

    @property
    def percent_of_left(self) -> int:
        return _percent(self.reading_mg, self.left_mg)


def question(*, reading_mg: int, portion_mg: int, left_mg: int, tub_mg: int, home_mg: int) -> Question | None:
    """Asked when a reading without the tub is too much, or lies near what it would be with the tub.

    A portion of 200 g, 45 g at home, a tub of 58 g: 258 g on the scale is asked, 155 g net would be right.
    """
    with_tub = left_mg + tub_mg + home_mg
    off = abs(reading_mg - with_tub)
    looks_gross = off <= NEAR_TUB_MG and off < abs(reading_mg - left_mg)
    if not is_over(reading_mg, left_mg) and not looks_gross:
        return None
    return Question(reading_mg, portion_mg, left_mg, tub_mg, home_mg)


def _percent(part: int, whole: int) -> int:
    return (200 * part + whole) // (2 * whole) if whole else 0
