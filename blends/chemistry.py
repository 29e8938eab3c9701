"""What is in a material and in a blend: percent by mass, element basis, over the fourteen nutrients and
sodium.

A nutrient that nobody declares is *unknown*, never zero: it has no key. Masses are integer milligrams,
percents `Decimal`. Atomic weights come from molmass (CIAAW); it is imported only when an oxide or a formula
is met.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_FLOOR, Decimal
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache

from gardens.faults import Fault
from gardens.nutrients import ESSENTIAL, Nutrient

HUNDRED = Decimal(100)

# A formula of at least this purity (percent) is taken to hold none of the nutrients it does not name. House
# value: what is left is moisture and a trace of neighbours; below it the rest may be anything, so it stays
# undeclared.
PURE_ENOUGH = Decimal(98)

# Bag key -> (element, oxide's formula). Only these oxides stand on labels; the factor is the element's share
# of the oxide.
OXIDES: Mapping[str, tuple[Nutrient, str]] = {
    "P2O5": (Nutrient.P, "P2O5"),
    "K2O": (Nutrient.K, "K2O"),
    "CaO": (Nutrient.CA, "CaO"),
    "MgO": (Nutrient.MG, "MgO"),
    "SO3": (Nutrient.S, "SO3"),
    "Na2O": (Nutrient.NA, "Na2O"),
}
SLOW_PART = "N slow"
NITROGEN_FORMS: tuple[str, ...] = ("N nitrate", "N ammoniacal", "N urea", SLOW_PART)
LABEL_KEYS: tuple[str, ...] = (*(str(n) for n in Nutrient), *OXIDES, *NITROGEN_FORMS)

# Least guaranteed percent before a nutrient may stand on a label, element basis. WAC 16-200-711 (Washington),
# FOUND; nickel's is the newer model rule, from memory. N, P2O5 and K2O are the grade and have none.
LABEL_MINIMUMS: Mapping[Nutrient, Decimal] = {
    Nutrient.CA: Decimal("1.0000"),
    Nutrient.MG: Decimal("0.5000"),
    Nutrient.S: Decimal("1.0000"),
    Nutrient.B: Decimal("0.0200"),
    Nutrient.CL: Decimal("0.1000"),
    Nutrient.CU: Decimal("0.0500"),
    Nutrient.FE: Decimal("0.1000"),
    Nutrient.MN: Decimal("0.0500"),
    Nutrient.MO: Decimal("0.0005"),
    Nutrient.NI: Decimal("0.0010"),
    Nutrient.ZN: Decimal("0.0500"),
    Nutrient.NA: Decimal("0.1000"),
}

# A label that prints an oxide and its element has rounded both: they agree within 0.1 points or 1 %.
_AGREE_POINTS = Decimal("0.1")
_AGREE_SHARE = Decimal("0.01")
# To the element and back in 28 digits can leave 15.999…9 where the bag says 16: so the label basis ends here.
_EXACT = Decimal("1e-12")


class ChemistryError(Fault):
    """A declaration, formula or recipe that cannot be. `message` is a sentence for who typed it."""


class Slow(StrEnum):
    """The answer to "slow-release or coated?". Anything but no means: not for weekly feeding."""

    NO = "no"
    YES = "yes"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Analysis:
    """What one material declares.

    `soluble_n` is the nitrogen that weekly feeding may count on: total less the declared slow part; zero when
    slow is yes or unknown and no part is declared; None when no nitrogen is declared at all. `forms` keeps
    what the bag says of N.
    """

    percent: Mapping[Nutrient, Decimal]
    soluble_n: Decimal | None
    slow: Slow
    forms: Mapping[str, Decimal] = field(default_factory=dict)

    @property
    def label(self) -> Mapping[str, Decimal]:
        """N, P2O5 and K2O as on a bag; what is not declared is missing."""
        return _label(self.percent)

    @property
    def slow_nitrogen(self) -> bool:
        """Whether its nitrogen is, or may be, slow. Unknown matters only where nitrogen is declared."""
        nitrogen = self.percent.get(Nutrient.N)
        if self.slow is Slow.YES:
            return nitrogen != 0
        return self.slow is Slow.UNKNOWN and bool(nitrogen)


@dataclass(frozen=True)
class BlendAnalysis:
    """What a blend carries, as far as its components declare it.

    Each of `Nutrient` is in exactly one of: fed (percent above zero), `none` (every component declares it,
    all zero), `silent` (no component declares any, and at least one says nothing; it has no percent).
    `at_least`: fed, but some component says nothing.
    """

    percent: Mapping[Nutrient, Decimal]
    at_least: frozenset[Nutrient]
    silent: frozenset[Nutrient]
    none: frozenset[Nutrient]
    soluble_n: Decimal | None
    has_slow: bool

    @property
    def fed(self) -> tuple[Nutrient, ...]:
        """Those of the fourteen that it carries, in label order."""
        return tuple(n for n in ESSENTIAL if self.percent.get(n, 0) > 0)

    @property
    def label(self) -> Mapping[str, Decimal]:
        return _label(self.percent)

    @property
    def ratio(self) -> tuple[Decimal, Decimal, Decimal]:
        """N : P2O5 : K2O relative to nitrogen, or to the first of the three that is there; (0, 0, 0) when
        none is.
        """
        three = [self.label.get(key, Decimal(0)) for key in ("N", "P2O5", "K2O")]
        one = next((value for value in three if value > 0), Decimal(1))
        first, second, third = (_settled(value / one) for value in three)
        return first, second, third

    @property
    def weekly(self) -> bool:
        """Whether it may be fed weekly: it has soluble nitrogen and none that is, or may be, slow."""
        return not self.has_slow and bool(self.soluble_n)


# --- declarations and formulas ------------------------------------------------------------------------------


def from_label(values: Mapping[str, Decimal], *, slow: Slow) -> Analysis:
    """A bag's declaration, percent by mass, keys as on bags (`LABEL_KEYS`). Raises ChemistryError naming the
    key.

    Where a bag prints oxide and element, the oxide is kept: the element beside it is the rounded copy.
    """
    given = {_key(key): _percent(key, value) for key, value in values.items()}
    if len(given) < len(values):
        raise ChemistryError("twice", "One nutrient is given twice.")
    percent = {n: given[str(n)] for n in Nutrient if str(n) in given}
    for key, (nutrient, _) in OXIDES.items():
        if key in given:
            percent[nutrient] = _agreed(key, to_element(key, given[key]), percent.get(nutrient))
    if sum(percent.values()) > HUNDRED:
        raise ChemistryError(
            "over_hundred",
            f"Together these make {_short(sum(percent.values()))} %, more than there is in the bag.",
        )
    forms = {key: given[key] for key in NITROGEN_FORMS if key in given}
    slow = _checked_forms(percent.get(Nutrient.N), forms, slow)
    ordered = {n: percent[n] for n in Nutrient if n in percent}
    return Analysis(ordered, _soluble(ordered.get(Nutrient.N), forms, slow), slow, forms)


def from_formula(formula: str, purity: Decimal = HUNDRED) -> Analysis:
    """A chemical formula ("MgSO4·7H2O") at a purity in percent. Hydrates take · . or *, subscripts are read
    too.

    From `PURE_ENOUGH` on, nutrients that the formula does not name are zero; below it they stay undeclared.
    """
    if not isinstance(purity, (Decimal, int)) or not Decimal(purity).is_finite() or not 0 < purity <= HUNDRED:
        raise ChemistryError("purity", "A purity is above 0 and at most 100 percent.", "purity")
    shares = element_shares(formula)
    named = {n: shares[str(n)] * purity for n in Nutrient if str(n) in shares}
    percent = {n: named.get(n, Decimal(0)) for n in Nutrient if n in named or purity >= PURE_ENOUGH}
    return Analysis(percent, percent.get(Nutrient.N), Slow.NO)


def blend(parts: Sequence[tuple[int, Analysis]]) -> BlendAnalysis:
    """The analysis of a mixture: (mass in mg, analysis) of each component. A component of no mass says
    nothing.
    """
    if any(mass < 0 for mass, _ in parts):
        raise ChemistryError("negative_mass", "A component cannot weigh less than nothing.", "mass")
    carried = [(mass, analysis) for mass, analysis in parts if mass > 0]
    total = sum(mass for mass, _ in carried)
    if not total:
        raise ChemistryError("no_mass", "The recipe is empty: no component weighs anything.", "mass")

    percent: dict[Nutrient, Decimal] = {}
    quiet: set[Nutrient] = set()
    for nutrient in Nutrient:
        said = [(mass, a.percent[nutrient]) for mass, a in carried if nutrient in a.percent]
        if said:
            percent[nutrient] = sum((mass * share for mass, share in said), Decimal(0)) / total
        if len(said) < len(carried):
            quiet.add(nutrient)
    fed = {n for n, share in percent.items() if share > 0}
    silent = quiet - fed
    soluble = [mass * a.soluble_n for mass, a in carried if a.soluble_n is not None]
    return BlendAnalysis(
        percent={n: share for n, share in percent.items() if n not in silent},
        at_least=frozenset(fed & quiet),
        silent=frozenset(silent),
        none=frozenset(set(Nutrient) - fed - quiet),
        soluble_n=sum(soluble, Decimal(0)) / total if soluble else None,
        has_slow=any(a.slow_nitrogen for _, a in carried),
    )


# --- label basis --------------------------------------------------------------------------------------------


def to_element(oxide: str, percent: Decimal) -> Decimal:
    """Percent of the element in `percent` of its oxide: P2O5 -> P and so on."""
    nutrient, formula = OXIDES[oxide]
    return percent * element_shares(formula)[str(nutrient)]


def to_label(nutrient: Nutrient, percent: Decimal) -> Decimal:
    """As the grade counts it: phosphorus as P2O5, potassium as K2O, everything else as the element."""
    oxide = {Nutrient.P: "P2O5", Nutrient.K: "K2O"}.get(nutrient)
    return _settled(percent / element_shares(oxide)[str(nutrient)]) if oxide else percent


def printed_grade(analysis: Analysis | BlendAnalysis) -> tuple[int, int, int]:
    """N-P2O5-K2O in whole numbers, rounded down; what is not declared prints as 0."""
    label = analysis.label
    nitrogen, phosphate, potash = (
        int(label.get(key, Decimal(0)).to_integral_value(ROUND_FLOOR)) for key in ("N", "P2O5", "K2O")
    )
    return nitrogen, phosphate, potash


def printable(analysis: Analysis | BlendAnalysis) -> tuple[Nutrient, ...]:
    """Nutrients besides the grade that reach the labelling minimum, in label order."""
    return tuple(n for n, least in LABEL_MINIMUMS.items() if analysis.percent.get(n, Decimal(0)) >= least)


def too_little(analysis: Analysis | BlendAnalysis) -> tuple[Nutrient, ...]:
    """Nutrients that are there, but below the labelling minimum: they may not be printed."""
    return tuple(n for n, least in LABEL_MINIMUMS.items() if 0 < analysis.percent.get(n, Decimal(0)) < least)


def feeds_sentence(analysis: BlendAnalysis) -> str:
    """ "It feeds eleven of the fourteen, carries no nickel, and says nothing of calcium and chlorine." """
    fed = len(analysis.fed)
    count = "all" if fed == len(ESSENTIAL) else "none" if not fed else _WORDS[fed]
    told = [f"feeds {count} fourteen" if count == "all" else f"feeds {count} of the fourteen"]
    if none := [n.english for n in ESSENTIAL if n in analysis.none]:
        told.append(f"carries no {_listed(none, 'or')}")
    if silent := [n.english for n in ESSENTIAL if n in analysis.silent]:
        told.append(f"says nothing of {_listed(silent, 'and')}")
    sentence = f"It {_listed(told, 'and', comma=len(told) > 2)}."
    if analysis.has_slow:
        sentence += " Some of its nitrogen is slow, or may be: it is not for weekly feeding."
    return sentence


# --- amounts ------------------------------------------------------------------------------------------------


def product_for(amount: Decimal | int | Fraction, percent: Decimal) -> Fraction:
    """How much of a product brings `amount` of a nutrient it holds at `percent`; the answer has the amount's
    unit.
    """
    if percent <= 0:
        raise ChemistryError("holds_none", "A product that holds none of it cannot bring it.", "percent")
    return Fraction(amount) * 100 / Fraction(percent)


def nutrient_in(mass: Decimal | int | Fraction, percent: Decimal) -> Fraction:
    """How much of a nutrient at `percent` there is in `mass`, in the mass's unit."""
    return Fraction(mass) * Fraction(percent) / 100


def cost_per_kg(parts: Sequence[tuple[int, int, int]]) -> Fraction:
    """Minor units of money per kilogram of blend; parts are (mass in mg, price of the lot in minor units, its
    mass in mg).
    """
    total = sum(mass for mass, _, _ in parts)
    if total <= 0 or any(mass < 0 or lot_mass <= 0 for mass, _, lot_mass in parts):
        raise ChemistryError("no_mass", "A cost needs components and lots that weigh something.", "mass")
    spent = sum((Fraction(mass * price, lot_mass) for mass, price, lot_mass in parts), Fraction(0))
    return spent * 1_000_000 / total


# --- formulas -----------------------------------------------------------------------------------------------

_SEPARATORS = "·•⋅∙*.×"
_TOKEN = re.compile(r"(?P<element>[A-Z][a-z]?)|(?P<open>[(\[{])|(?P<close>[)\]}])|(?P<count>[0-9]{1,4})")
_COEFFICIENT = re.compile(r"[0-9]{1,3}(?:\.[0-9]{1,3})?(?=[A-Z(\[{])")
_LONGEST = 120


@lru_cache(maxsize=512)
def element_shares(formula: str) -> Mapping[str, Decimal]:
    """Mass fraction of each element in a formula, by symbol; the fractions sum to 1.

    The grammar is our own and strict (molmass would read "EtOH" or an isotope); the weights are molmass's.
    """
    from molmass import ELEMENTS

    counts = _element_counts(formula)
    unknown = next((symbol for symbol in counts if symbol not in ELEMENTS), None)
    if unknown:
        raise ChemistryError("formula", f"There is no element {unknown}.", "formula")
    # molmass keeps the published weights as floats; their shortest text is the published figure.
    masses = {symbol: count * Decimal(str(ELEMENTS[symbol].mass)) for symbol, count in counts.items()}
    whole = sum(masses.values())
    return {symbol: mass / whole for symbol, mass in masses.items()}


def _element_counts(formula: str) -> dict[str, Decimal]:
    text = unicodedata.normalize("NFKC", formula).replace(" ", "")
    if not text or len(text) > _LONGEST:
        raise _bad_formula(formula)
    counts: dict[str, Decimal] = {}
    at = 0
    while at < len(text):
        lead = _COEFFICIENT.match(text, at)
        times = Decimal(lead.group()) if lead else Decimal(1)
        start = lead.end() if lead else at
        part, at = _part_counts(text, start, formula)
        if not part or not times:
            raise _bad_formula(formula)
        for symbol, count in part.items():
            counts[symbol] = counts.get(symbol, Decimal(0)) + times * count
        if at < len(text):
            at += 1  # the separator
            if at == len(text):
                raise _bad_formula(formula)
    return counts


def _part_counts(text: str, at: int, formula: str) -> tuple[dict[str, int], int]:
    """Counts of one part, up to a separator or the end, and where it ended."""
    stack: list[dict[str, int]] = [{}]
    brackets: list[str] = []
    last: dict[str, int] | None = None  # what a count would multiply
    while at < len(text) and text[at] not in _SEPARATORS:
        token = _TOKEN.match(text, at)
        if token is None:
            raise _bad_formula(formula)
        at = token.end()
        word = token.group()
        if token.lastgroup == "count":
            if last is None or word.startswith("0"):
                raise _bad_formula(formula)
            _add(stack[-1], last, int(word) - 1)
            last = None
        elif token.lastgroup == "element":
            last = {word: 1}
            _add(stack[-1], last, 1)
        elif token.lastgroup == "open":
            brackets.append({"(": ")", "[": "]", "{": "}"}[word])
            stack.append({})
            last = None
        else:
            if not brackets or brackets.pop() != word:
                raise _bad_formula(formula)
            last = stack.pop()
            _add(stack[-1], last, 1)
    if brackets:
        raise _bad_formula(formula)
    return stack[0], at


def _add(to: dict[str, int], these: Mapping[str, int], times: int) -> None:
    for symbol, count in these.items():
        to[symbol] = to.get(symbol, 0) + count * times


def _bad_formula(formula: str) -> ChemistryError:
    shown = formula.strip()[:40]
    return ChemistryError(
        "formula",
        f"“{shown}” is not a formula that can be read. Write it like MgSO4·7H2O or (NH4)2SO4.",
        "formula",
    )


# --- small helpers ------------------------------------------------------------------------------------------

_KEYS = {key.casefold(): key for key in LABEL_KEYS}
_WORDS = (
    *("no", "one", "two", "three", "four", "five", "six", "seven"),
    *("eight", "nine", "ten", "eleven", "twelve", "thirteen", "fourteen"),
)


def _key(written: str) -> str:
    key = _KEYS.get(" ".join(unicodedata.normalize("NFKC", written).split()).casefold())
    if key is None:
        raise ChemistryError(
            "unknown_nutrient", f"“{written}” is not a nutrient that a label declares.", written
        )
    return key


def _percent(key: str, value: Decimal) -> Decimal:
    if not isinstance(value, (Decimal, int)) or isinstance(value, bool) or not Decimal(value).is_finite():
        raise ChemistryError("not_a_number", f"{key} needs a number in percent.", key)
    if value < 0:
        raise ChemistryError("negative", f"{key} cannot be less than 0 %.", key)
    if value > HUNDRED:
        raise ChemistryError("over_hundred", f"{key} cannot be more than 100 %.", key)
    return Decimal(value)


def _agreed(oxide: str, from_oxide: Decimal, element: Decimal | None) -> Decimal:
    if element is None or abs(from_oxide - element) <= max(_AGREE_POINTS, _AGREE_SHARE * from_oxide):
        return from_oxide
    symbol = OXIDES[oxide][0]
    raise ChemistryError(
        "disagree",
        f"{oxide} as given would be {_short(from_oxide)} % {symbol}, but {symbol} is given as "
        f"{_short(element)} %. Leave one out.",
        oxide,
    )


def _checked_forms(nitrogen: Decimal | None, forms: Mapping[str, Decimal], slow: Slow) -> Slow:
    if forms and nitrogen is None:
        raise ChemistryError("no_total", "Give the total nitrogen beside its forms.", "N")
    if forms and nitrogen is not None and sum(forms.values()) > nitrogen + _AGREE_POINTS:
        raise ChemistryError(
            "forms", f"The forms of nitrogen make more than the total of {_short(nitrogen)} %.", "N"
        )
    if not forms.get(SLOW_PART):
        return slow
    if slow is Slow.NO:
        raise ChemistryError("slow", "A slow part is declared, so this is slow-release or coated.", SLOW_PART)
    return Slow.YES


def _soluble(nitrogen: Decimal | None, forms: Mapping[str, Decimal], slow: Slow) -> Decimal | None:
    if nitrogen is None or slow is Slow.NO:
        return nitrogen
    part = forms.get(SLOW_PART)
    return max(Decimal(0), nitrogen - part) if part else Decimal(0)


def _label(percent: Mapping[Nutrient, Decimal]) -> Mapping[str, Decimal]:
    keys = {"N": Nutrient.N, "P2O5": Nutrient.P, "K2O": Nutrient.K}
    return {key: to_label(n, percent[n]) for key, n in keys.items() if n in percent}


def _settled(value: Decimal) -> Decimal:
    """The value to twelve decimals: takes off what a 28-digit division left behind."""
    return value.quantize(_EXACT)


def _short(value: Decimal | int) -> str:
    return f"{Decimal(value).quantize(Decimal('0.01')).normalize():f}"


def _listed(words: Iterable[str], last: str, *, comma: bool = False) -> str:
    """ "a, b and c", or "a, b, and c" with a comma before the last."""
    *head, tail = words
    if not head:
        return tail
    return f"{', '.join(head)}{',' if comma else ''} {last} {tail}"
