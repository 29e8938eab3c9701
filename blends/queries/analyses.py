"""An analysis as a page shows it: a row per nutrient, label and element basis, what a season of it brings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from blends import chemistry
from blends.boron import HEAVY_SEASON_N, BoronSeason, heavy_season
from blends.chemistry import Analysis, BlendAnalysis
from blends.models import Revision
from gardens.nutrients import ESSENTIAL, TRACE, Nutrient

_OXIDE = {Nutrient.P: "P₂O₅", Nutrient.K: "K₂O"}


@dataclass(frozen=True)
class NutrientRow:
    """``state`` is the drawing's word, ``shape`` and ``word`` the state tag's; figures are ready texts."""

    name: str
    symbol: str
    state: str
    shape: str
    word: str
    share: Decimal | None  # percent
    oxide: str
    label: str
    element: str
    season: str
    group: bool  # a heavier rule before it

    @property
    def in_strength(self) -> bool:
        """Fed in more than a trace."""
        return self.state in ("supplied", "atleast") and self.symbol not in TRACE


def nutrient_rows(analysis: BlendAnalysis) -> tuple[NutrientRow, ...]:
    """The fourteen, in label order."""
    return tuple(_row(n, analysis) for n in ESSENTIAL)


def _row(n: Nutrient, analysis: BlendAnalysis) -> NutrientRow:
    share = analysis.percent.get(n)
    least = n in analysis.at_least
    if share is None:
        state, shape, word = "unknown", "unknown", "Not declared"
    elif not share:
        state, shape, word = "none", "none", "None"
    elif least:
        state, shape, word = "atleast", "done", "At least"
    elif n in TRACE:
        state, shape, word = "trace", "part", "Trace"
    else:
        state, shape, word = "supplied", "done", "Supplied"
    mark = "≥ " if least else ""
    return NutrientRow(
        name=n.english.capitalize(),
        symbol=str(n),
        state=state,
        shape=shape,
        word=word,
        share=share,
        oxide=_OXIDE.get(n, ""),
        label="?" if share is None else mark + percent_text(chemistry.to_label(n, share), finest=4),
        element="?" if share is None else mark + percent_text(share, finest=4),
        season="?" if share is None else _season_text(n, share, analysis, mark),
        group=n in (Nutrient.CA, Nutrient.B),
    )


def percent_text(share: Decimal, *, finest: int = 6) -> str:
    """Three decimals from 1 % on, four below, ``finest`` below a thousandth; 0 is "0"."""
    if not share:
        return "0"
    places = 3 if share >= 1 else 4 if share >= Decimal("0.001") else finest
    return f"{share.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP):f}"


def season_g_m2(n: Nutrient, analysis: BlendAnalysis) -> Fraction | None:
    """Grams of a nutrient per m2 in a season of a heavy feeder fed with this blend."""
    share = analysis.percent.get(n)
    if share is None or not analysis.soluble_n:
        return None
    return chemistry.nutrient_in(chemistry.product_for(HEAVY_SEASON_N, analysis.soluble_n), share)


def _season_text(n: Nutrient, share: Decimal, analysis: BlendAnalysis, mark: str) -> str:
    grams = season_g_m2(n, analysis)
    if grams is None:
        return "?"
    if not grams:
        return "0"
    if grams < Fraction(1, 2):
        return f"{mark}{float(grams * 1000):.1f} mg"
    return f"{mark}{float(grams):.2f} g"


@dataclass(frozen=True)
class Sheet:
    """All that a blend's page says of what is in it."""

    analysis: BlendAnalysis
    sentence: str
    rows: tuple[NutrientRow, ...]
    grade: str
    ratio: str
    printable: tuple[str, ...]
    too_little: tuple[str, ...]
    boron: BoronSeason
    phosphorus_g_m2: Fraction | None
    weekly_refusal: str

    @property
    def weekly(self) -> bool:
        return not self.weekly_refusal

    @property
    def strong(self) -> tuple[NutrientRow, ...]:
        return tuple(row for row in self.rows if row.in_strength)

    @property
    def traces(self) -> int:
        """How many are fed as traces."""
        return sum(1 for row in self.rows if row.share and not row.in_strength)


def sheet(analysis: BlendAnalysis) -> Sheet:
    """``weekly_refusal`` says why it is not for weekly feeding; empty when it is."""
    return Sheet(
        analysis=analysis,
        sentence=chemistry.feeds_sentence(analysis),
        rows=nutrient_rows(analysis),
        grade=grade_text(analysis),
        ratio=" : ".join(f"{value.quantize(Decimal('0.01')).normalize():f}" for value in analysis.ratio),
        printable=tuple(str(n) for n in chemistry.printable(analysis)),
        too_little=tuple(str(n) for n in chemistry.too_little(analysis)),
        boron=heavy_season(analysis),
        phosphorus_g_m2=season_g_m2(Nutrient.P, analysis),
        weekly_refusal=why_not_weekly(analysis),
    )


def why_not_weekly(analysis: BlendAnalysis) -> str:
    """A sentence where a blend cannot be fed weekly; empty where it can."""
    if analysis.has_slow:
        return "Some of its nitrogen is slow-release or coated, or may be: it is not for weekly feeding."
    if not analysis.soluble_n:
        return "It has no soluble nitrogen, by which weekly feeding is reckoned: no dose can be told."
    return ""


def grade_text(analysis: Analysis | BlendAnalysis) -> str:
    return "-".join(str(n) for n in chemistry.printed_grade(analysis))


@dataclass(frozen=True)
class LabelLine:
    """One line of a declaration: as on the bag, and as the element."""

    name: str
    label: str
    element: str


def label_lines(analysis: Analysis) -> Sequence[LabelLine]:
    """What one material declares: nutrients in order, then the forms of its nitrogen."""
    lines = [
        LabelLine(
            f"{n.english.capitalize()} {_OXIDE.get(n, n)}",
            percent_text(chemistry.to_label(n, share)),
            percent_text(share),
        )
        for n, share in analysis.percent.items()
    ]
    forms: Mapping[str, Decimal] = analysis.forms
    return [
        *lines,
        *(LabelLine(f"of it {key.removeprefix('N ')}", percent_text(v), "") for key, v in forms.items()),
    ]


def nitrogen_working(revision: Revision, analysis: BlendAnalysis) -> dict[str, object]:
    """Why the blend holds so much nitrogen: each component's share, then their sum over the mass."""
    components = list(revision.components.all())
    total = sum(c.mass_mg for c in components)
    steps: list[dict[str, object]] = []
    for c in components:
        share = c.declaration.analysis().percent.get(Nutrient.N)
        said = "?" if share is None else percent_text(share)
        if share is None:
            result = "not declared"
        else:
            result = f"{_kilograms(Fraction(c.mass_mg) * Fraction(share) / 100)} kg N"
        steps.append(
            {
                "name": c.material.name,
                "formula": "mass × nitrogen",
                "inputs": f"{_kilograms(Fraction(c.mass_mg))} kg × {said} %",
                "result": result,
                "source": c.declaration.source,
                "confidence": c.declaration.confidence,
            }
        )
    nitrogen = analysis.percent.get(Nutrient.N, Decimal(0))
    steps.append(
        {
            "name": "Nitrogen of the blend",
            "formula": "sum ÷ mass of the recipe",
            "inputs": f"over {_kilograms(Fraction(total))} kg",
            "result": f"{percent_text(nitrogen)} %",
            "source": "",
            "confidence": "",
        }
    )
    return {"line": f"{percent_text(nitrogen)} % nitrogen = {_line(revision, total)}", "steps": steps}


def _line(revision: Revision, total: int) -> str:
    bearing = [
        f"{_kilograms(Fraction(c.mass_mg))} kg × {percent_text(share)} %"
        for c in revision.components.all()
        if (share := c.declaration.analysis().percent.get(Nutrient.N))
    ]
    return f"{' + '.join(bearing) or 'nothing'} in {_kilograms(Fraction(total))} kg"


def _kilograms(mg: Fraction) -> str:
    return f"{float(mg / 1_000_000):.3f}"
