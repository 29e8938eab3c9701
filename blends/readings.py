"""What is asked about a weighing before it counts: the reading, the bag, the scale. Pure.

A question is kept on the weigh-out as codes, a space between them. Those of the reading and of the bag hold
the pail until the organiser decides; those of the scale, and a stated part, do not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from blends.batching import Doubt, Fitness, Question, Scale, Target, fitness, question
from gardens.refusals import Refused

WRONG_BAG = "wrong_bag"
PART = "part"
_HOLDING = frozenset({*(str(d) for d in Doubt), WRONG_BAG})


@dataclass(frozen=True)
class Asked:
    """``codes`` as kept; ``text`` says all of it; ``question`` is the one about the reading, if any."""

    codes: tuple[str, ...]
    text: str
    question: Question | None
    net_mg: int
    target: Target
    bag: str = ""  # the material in the bag that was named, where it is another

    @property
    def code(self) -> str:
        return " ".join(self.codes)

    @property
    def of_the_scale_only(self) -> bool:
        return not _HOLDING & set(self.codes)


class ReadingAsked(Refused):
    """Nothing is recorded; the same act with a reason is."""

    def __init__(self, asked: Asked) -> None:
        super().__init__("question", asked.text, "question_reason")
        self.asked = asked


def ask(
    *,
    net_mg: int,
    target: Target,
    others: Sequence[Target],
    scale: Scale,
    tare_mg: int = 0,
    component: str,
    bag: str,
    part: bool = False,
) -> Asked | None:
    """All that is doubtful about one weighing, or None. ``component`` and ``bag`` name what is wanted and
    what the chosen lot holds; a ``part`` may be short, since another bag follows.
    """
    codes: list[str] = []
    said: list[str] = []
    own = replace(target, part=replace(target.part, division_mg=scale.division_mg))
    doubt = question(net_mg, own, others)
    if doubt and part and 0 < net_mg < own.target_mg:
        doubt = None
    if doubt:
        codes += [str(d) for d in doubt.doubts[:2]]
        said.append(doubt.text)
    if component != bag:
        codes.append(WRONG_BAG)
        said.append(f"The lot that you chose is {bag}; this weighing is for {component}.")
    fit = fitness(net_mg if part else own.target_mg, scale, trace=own.part.trace, tare_mg=tare_mg)
    if fit in (Fitness.TOO_COARSE, Fitness.BELOW_MINIMUM):
        codes.append(f"scale_{fit}")
        said.append(_SCALE[fit])
    if not codes:
        return None
    return Asked(tuple(codes), " ".join(said), doubt, net_mg, own, bag if component != bag else "")


_SCALE = {
    Fitness.TOO_COARSE: "One step of this scale is more than the reading may be off: take a finer scale.",
    Fitness.BELOW_MINIMUM: "This is below the scale's smallest load: take a finer scale.",
}


def holds(codes: str) -> bool:
    """Whether a kept question stands between the pail and its release."""
    return bool(_HOLDING & set(codes.split()))


def is_part(codes: str) -> bool:
    return PART in codes.split()
