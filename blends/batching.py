"""From a recipe to pails, weigh-outs, readings and release. Masses are integer milligrams throughout.

Two components exchanged pass every check of totals; so readings are judged one by one (`question`), and a
pail by the analysis of what really went in (`judge`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from math import ceil, isqrt

from blends.chemistry import BlendAnalysis
from blends.sharing import largest_remainder
from gardens.faults import Fault
from gardens.nutrients import Nutrient

KG = 1_000_000  # milligrams

# House values: what a 20 L pail that still tumbles holds; the density stays "assumed" until it is measured.
PAIL_LITRES = Decimal(20)
FILL = Decimal("0.60")
DENSITY_G_ML = Decimal("0.95")
# Safe lift: the load constant of the NIOSH lifting equation, 23 kg (FOUND).
LIFT_MG = 23 * KG

# A reading's tolerance in percent of its target, house values; never less than one division of the scale.
TOLERANCE_PERCENT = 2
TRACE_TOLERANCE_PERCENT = 3

# Release: how far a pail's analysis may lie from the design, relative. House values; see 2 % and 3 % above.
NITROGEN_WITHIN = Fraction(5, 100)
OTHERS_WITHIN = Fraction(10, 100)
BORON_NEVER_ABOVE = Fraction(3, 2)


class BatchingError(Fault):
    """A batch, pail or weighing that cannot be. `message` is a sentence for a person."""


# --- pails --------------------------------------------------------------------------------------------------


class Limit(StrEnum):
    VOLUME = "volume"
    LIFT = "lift"


@dataclass(frozen=True)
class Pails:
    """`masses_mg` of each pail, most first; what one pail may hold, and whether its volume or the lift
    decides.
    """

    masses_mg: tuple[int, ...]
    limit_mg: int
    limited_by: Limit

    @property
    def count(self) -> int:
        return len(self.masses_mg)


def split(
    mass_mg: int,
    *,
    pail_litres: Decimal = PAIL_LITRES,
    fill: Decimal = FILL,
    density_g_ml: Decimal = DENSITY_G_ML,
    lift_mg: int = LIFT_MG,
) -> Pails:
    """The fewest equal pails: n = ceil(M / limit), M/n in each, never rounded up to full pails.

    Where M does not divide by n, the first pails hold one milligram more, so that they sum to M exactly.
    """
    if mass_mg <= 0:
        raise BatchingError("no_mass", "A batch must weigh something.", "mass")
    if not (pail_litres > 0 and 0 < fill <= 1 and density_g_ml > 0 and lift_mg > 0):
        raise BatchingError(
            "pail", "A pail needs a volume, a fill of up to 100 %, a density and a lift above zero.", "pail"
        )
    by_volume = int(pail_litres * fill * density_g_ml * KG)
    limit = min(by_volume, lift_mg)
    if limit < 1:
        raise BatchingError("pail", "That pail holds nothing.", "pail")
    count = -(-mass_mg // limit)
    each, over = divmod(mass_mg, count)
    masses = (each + 1,) * over + (each,) * (count - over)
    return Pails(masses, limit, Limit.VOLUME if by_volume <= lift_mg else Limit.LIFT)


def scaled(recipe_mg: Sequence[int], mass_mg: int) -> tuple[int, ...]:
    """A recipe's masses brought to a total of `mass_mg`, by largest remainder: they sum to it exactly."""
    return largest_remainder(recipe_mg, mass_mg).amounts


# --- weigh-outs ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Part:
    """A component of a recipe and how it is weighed. `mass_mg` may be in any batch: only proportions count.

    `boron` is the percent it declares (0 when it says nothing); with `trace` a question on it tells what
    boron becomes.
    """

    key: str
    name: str
    mass_mg: int
    division_mg: int
    inert: bool = False
    trace: bool = False
    boron: Decimal = Decimal(0)


@dataclass(frozen=True)
class Target:
    """What one component must weigh in one pail; `shown_mg` is what its scale can show of that."""

    part: Part
    target_mg: int

    @property
    def shown_mg(self) -> int:
        return _to_division(self.target_mg, self.part.division_mg)

    @property
    def tolerance_mg(self) -> int:
        return tolerance(self.target_mg, self.part.division_mg, trace=self.part.trace)


def weigh_outs(parts: Sequence[Part], pail_mg: int) -> tuple[Target, ...]:
    """Targets for one pail in the order of weighing; they sum to `pail_mg` exactly.

    Each is rounded half up to its scale's division, and the difference lands in the inert component (the
    largest of them), else in the largest. A target below half a division stays as it is, and where the scales
    are so coarse that the difference would eat up the largest, all do: `fitness` tells which will not do.
    """
    weighing = [part for part in parts if part.mass_mg > 0]
    if pail_mg <= 0 or not weighing:
        raise BatchingError("no_mass", "A pail needs a mass and components that weigh something.", "mass")
    if len({part.key for part in parts}) < len(parts):
        raise BatchingError("twice", "A component stands in the recipe twice.", "key")
    if any(part.mass_mg < 0 or part.division_mg < 1 for part in parts):
        raise BatchingError("negative", "A component's mass and its scale's division are above zero.", "mass")
    exact = scaled([part.mass_mg for part in weighing], pail_mg)
    masses = _rounded(weighing, exact) or exact
    return in_order([Target(part, mass) for part, mass in zip(weighing, masses, strict=True)])


def in_order(targets: Sequence[Target]) -> tuple[Target, ...]:
    """Large components first; trace elements last, the smallest first, as they are pre-mixed stepwise."""
    large = sorted((t for t in targets if not t.part.trace), key=lambda t: -t.target_mg)
    trace = sorted((t for t in targets if t.part.trace), key=lambda t: t.target_mg)
    return (*large, *trace)


def _rounded(parts: Sequence[Part], exact: Sequence[int]) -> list[int] | None:
    """The masses on their scales, one of them taking the difference: the largest inert one that can bear it
    and still weigh a division, else the largest. None when nothing would be left of that.
    """
    masses = [_to_division(mass, part.division_mg) or mass for mass, part in zip(exact, parts, strict=True)]
    difference = sum(exact) - sum(masses)
    by_mass = sorted(range(len(parts)), key=lambda place: -exact[place])
    inert = [p for p in by_mass if parts[p].inert and masses[p] + difference >= parts[p].division_mg]
    takes = (inert or by_mass)[0]
    masses[takes] += difference
    return masses if masses[takes] > 0 or not difference else None


def _to_division(mass_mg: int, division_mg: int) -> int:
    return (2 * mass_mg + division_mg) // (2 * division_mg) * division_mg


# --- readings -----------------------------------------------------------------------------------------------


def tolerance(target_mg: int, division_mg: int, *, trace: bool) -> int:
    """How far a reading may lie from its target: one division or 2 % (3 % trace), the larger."""
    return max(division_mg, target_mg * (TRACE_TOLERANCE_PERCENT if trace else TOLERANCE_PERCENT) // 100)


class Doubt(StrEnum):
    """What a reading outside its tolerance looks like."""

    OUTSIDE = "outside"
    NOTHING = "nothing"
    ANOTHER = "another"
    TEN_TIMES = "ten_times"
    A_TENTH = "a_tenth"
    UNIT = "unit"


@dataclass(frozen=True)
class Question:
    """Why a reading is asked about. `doubts` holds all that fit, the likeliest first; `text` names them in
    words.

    `another` is the component whose target it fits; `typed` and `shown` the units of a slip; `boron_multiple`
    what this pail's boron would be beside its design, for trace components that bear it.
    """

    doubts: tuple[Doubt, ...]
    text: str
    another: Target | None = None
    typed: str = ""
    shown: str = ""
    boron_multiple: Fraction | None = None

    @property
    def doubt(self) -> Doubt:
        return self.doubts[0]


_UNIT_MG = {
    "g": Fraction(1000),
    "oz": Fraction("28349.523125"),
    "lb": Fraction("453592.37"),
    "kg": Fraction(KG),
}


def question(reading_mg: int, target: Target, others: Sequence[Target] = ()) -> Question | None:
    """None when the reading is within its tolerance; else a question that names what the reading looks like.

    `others` are the other targets of this pail.
    """
    if abs(reading_mg - target.target_mg) <= target.tolerance_mg:
        return None
    if reading_mg <= 0:
        return Question((Doubt.NOTHING,), f"That is no mass. {_called_for(target)}")
    another = next((t for t in others if _fits(reading_mg, t, Fraction(1))), None)
    slip = next(
        (
            (typed, shown)
            for typed in _UNIT_MG
            for shown in _UNIT_MG
            if typed != shown and _fits(reading_mg, target, _UNIT_MG[typed] / _UNIT_MG[shown])
        ),
        None,
    )
    doubts: list[Doubt] = []
    told: list[str] = []
    if another:
        doubts.append(Doubt.ANOTHER)
        told.append(
            f"It fits {another.part.name} ({_mass(another.target_mg)} in this pail): is it the right bag?"
        )
    for doubt, factor, words in (
        (Doubt.TEN_TIMES, Fraction(10), "ten times"),
        (Doubt.A_TENTH, Fraction(1, 10), "a tenth of"),
    ):
        if _fits(reading_mg, target, factor):
            doubts.append(doubt)
            told.append(f"It is {words} its own target.")
    if slip:
        doubts.append(Doubt.UNIT)
        told.append(f"It would fit if the scale showed {slip[1]} where {slip[0]} was typed.")
    boron = _boron_multiple(reading_mg, target, others)
    if boron is not None:
        told.append(f"Boron in this pail would be {_times(boron)} times the design.")
    return Question(
        doubts=tuple(doubts) or (Doubt.OUTSIDE,),
        text=" ".join(
            [f"{_mass(reading_mg)} is {_beside(reading_mg, target)}. {_called_for(target)}", *told]
        ),
        another=another,
        typed=slip[0] if slip else "",
        shown=slip[1] if slip else "",
        boron_multiple=boron,
    )


def _fits(reading_mg: int, target: Target, factor: Fraction) -> bool:
    """Whether a reading is `factor` times a target, within that target's tolerance scaled alike (at least
    half a division).
    """
    meant = target.target_mg * factor
    percent = TRACE_TOLERANCE_PERCENT if target.part.trace else TOLERANCE_PERCENT
    return abs(reading_mg - meant) <= max(Fraction(target.part.division_mg, 2), meant * percent / 100)


def _boron_multiple(reading_mg: int, target: Target, others: Sequence[Target]) -> Fraction | None:
    if not (target.part.trace and target.part.boron > 0):
        return None
    rest = sum(
        (t.target_mg * Fraction(t.part.boron) for t in others if t.part.key != target.part.key), Fraction(0)
    )
    own = Fraction(target.part.boron)
    design = rest + target.target_mg * own
    return (rest + reading_mg * own) / design if design else None


class Fitness(StrEnum):
    """Whether a scale can weigh a target: fine; too coarse or below its minimum (may go on with a reason);
    over its maximum.
    """

    FINE = "fine"
    TOO_COARSE = "too_coarse"
    BELOW_MINIMUM = "below_minimum"
    OVER_MAXIMUM = "over_maximum"


@dataclass(frozen=True)
class Scale:
    division_mg: int
    minimum_mg: int
    maximum_mg: int


def fitness(target_mg: int, scale: Scale, *, trace: bool, tare_mg: int = 0) -> Fitness:
    """Whether one division of the scale is finer than 2 % (3 % trace) of the target, and its load within its
    range.

    The load on the scale is the target with its vessel's `tare_mg`. Only `OVER_MAXIMUM` is a refusal.
    """
    if target_mg + tare_mg > scale.maximum_mg:
        return Fitness.OVER_MAXIMUM
    if target_mg < scale.minimum_mg:
        return Fitness.BELOW_MINIMUM
    percent = TRACE_TOLERANCE_PERCENT if trace else TOLERANCE_PERCENT
    return Fitness.TOO_COARSE if scale.division_mg * 100 > target_mg * percent else Fitness.FINE


# --- release ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Reason:
    """One reason against handing a pail out: code, the nutrient it is about, a sentence."""

    code: str
    text: str
    nutrient: Nutrient | None = None


@dataclass(frozen=True)
class Releasable:
    """Nothing stands against handing it out."""


@dataclass(frozen=True)
class Held:
    """It stays until the organiser decides with a reason, or until what is open is settled."""

    reasons: tuple[Reason, ...]


@dataclass(frozen=True)
class Never:
    """It may not be handed out, whatever the reason."""

    reasons: tuple[Reason, ...]


def judge(
    design: BlendAnalysis, made: BlendAnalysis, open_questions: int = 0, unwitnessed: int = 0
) -> Releasable | Held | Never:
    """Whether a pail may be handed out: the analysis of what went in, beside the revision's.

    Releasable when nitrogen is within 5 % of the design, every other nutrient that the design declares within
    10 %, no question is open and every trace component was witnessed. Boron above 1.5 times the design:
    never.
    """
    if boron := _boron_too_high(design, made):
        return Never((boron,))
    reasons = [reason for n in Nutrient if (reason := _off_design(n, design, made))]
    if made.has_slow and not design.has_slow:
        reasons.append(
            Reason("slow", "Some of what went in has slow nitrogen, the design has none.", Nutrient.N)
        )
    if open_questions:
        word = (
            "A question on a reading is"
            if open_questions == 1
            else f"{open_questions} questions on readings are"
        )
        reasons.append(Reason("open_question", f"{word} still open."))
    if unwitnessed:
        word = "One trace weighing has" if unwitnessed == 1 else f"{unwitnessed} trace weighings have"
        reasons.append(Reason("unwitnessed", f"{word} not been looked at by a second person."))
    return Held(tuple(reasons)) if reasons else Releasable()


def _boron_too_high(design: BlendAnalysis, made: BlendAnalysis) -> Reason | None:
    meant, got = design.percent.get(Nutrient.B), made.percent.get(Nutrient.B, Decimal(0))
    if meant is None or Fraction(got) <= BORON_NEVER_ABOVE * Fraction(meant):
        return None
    if not meant:
        return Reason("boron", "It carries boron and the design has none.", Nutrient.B)
    times = _times(Fraction(got) / Fraction(meant))
    return Reason(
        "boron",
        f"It carries {times} times the boron of the design; above 1.5 it is never handed out.",
        Nutrient.B,
    )


def _off_design(n: Nutrient, design: BlendAnalysis, made: BlendAnalysis) -> Reason | None:
    meant, got = design.percent.get(n), made.percent.get(n)
    if meant is None:
        if n is Nutrient.B and got:
            return Reason("new", "It carries boron, of which the design says nothing.", n)
        return None
    if got is None:
        return Reason("not_declared", f"What went in says nothing of {n.english}, the design declares it.", n)
    if not meant:
        return Reason("new", f"It carries {n.english}, the design has none.", n) if got else None
    off = Fraction(got) / Fraction(meant) - 1
    within = NITROGEN_WITHIN if n is Nutrient.N else OTHERS_WITHIN
    if abs(off) <= within:
        return None
    text = (
        f"{n.english.capitalize()} is {_times(abs(off) * 100)} % {'above' if off > 0 else 'below'} the design"
    )
    return Reason("off_design", f"{text}; up to {_times(within * 100)} % may go out.", n)


# --- counting and buying ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Band:
    """How far a count may lie from the book for the weighings behind it: two standard deviations, rounded
    down to mg.
    """

    weighings: int
    band_mg: int

    def holds(self, difference_mg: int) -> bool:
        """Whether a difference (counted less book) is "within weighing"."""
        return abs(difference_mg) <= self.band_mg


def count_band(divisions_mg: Sequence[int]) -> Band:
    """The band for weighings on scales of these divisions: each rounds evenly, so sd = sqrt(sum of d² / 12),
    band = 2 sd.

    >>> count_band([1000] * 40).band_mg  # forty tubs on a 1 g scale
    3651
    """
    if any(division < 0 for division in divisions_mg):
        raise BatchingError("negative", "A scale's division is above zero.", "division")
    return Band(len(divisions_mg), isqrt(sum(division * division for division in divisions_mg) // 3))


@dataclass(frozen=True)
class Purchase:
    """Whole bags of one material: what is needed, in stock, bought, and left over. `cost_minor` is None
    without a price.
    """

    key: str
    need_mg: int
    stock_mg: int
    bags: int
    cost_minor: int | None
    left_mg: int


@dataclass(frozen=True)
class Bag:
    """How a material is sold. `price_minor` in minor units of money, None when nobody knows it yet."""

    mass_mg: int
    price_minor: int | None = None


def shopping(
    need_mg: Mapping[str, int], stock_mg: Mapping[str, int], bags: Mapping[str, Bag]
) -> tuple[Purchase, ...]:
    """Whole bags to buy for each need, stock first. A need without a bag's size cannot be bought:
    BatchingError names it.
    """
    if any(need < 0 for need in need_mg.values()) or any(stock < 0 for stock in stock_mg.values()):
        raise BatchingError("negative", "Neither a need nor a stock can be less than nothing.", "mass")
    return tuple(_purchase(key, need, stock_mg.get(key, 0), bags.get(key)) for key, need in need_mg.items())


def _purchase(key: str, need: int, stock: int, bag: Bag | None) -> Purchase:
    lacking = max(0, need - stock)
    if not lacking:
        return Purchase(key, need, stock, 0, 0, stock - need)
    if bag is None or bag.mass_mg <= 0:
        raise BatchingError("no_bag", f"Say what a bag of {key} weighs.", key)
    count = ceil(Fraction(lacking, bag.mass_mg))
    cost = None if bag.price_minor is None else count * bag.price_minor
    return Purchase(key, need, stock, count, cost, stock + count * bag.mass_mg - need)


# --- words --------------------------------------------------------------------------------------------------


def _called_for(target: Target) -> str:
    """To the digits of the scale, like everything said at it."""
    division = target.part.division_mg
    allowed = max(division, target.tolerance_mg // division * division)
    return f"{target.part.name} should be {_mass(target.shown_mg)} ± {_mass(allowed)}."


def _beside(reading_mg: int, target: Target) -> str:
    return (
        f"{_mass(abs(reading_mg - target.target_mg))} {'over' if reading_mg > target.target_mg else 'short'}"
    )


def _mass(mass_mg: int) -> str:
    unit, size = ("kg", KG) if abs(mass_mg) >= KG else ("g", 1000)
    return f"{Decimal(mass_mg) / size:f} {unit}"


def _times(value: Fraction) -> str:
    return f"{round(Decimal(value.numerator) / value.denominator, 1).normalize():f}"
