"""How much boron a heavy season of a blend would bring to the soil, and whether it may be mixed.

Boron is toxic to beans at a few kilograms a hectare. A heavy season is 3 lb N/1000 ft² (home-garden extension
figure).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from blends.chemistry import BlendAnalysis, nutrient_in, product_for
from gardens.nutrients import Nutrient

# 3 lb per 1000 ft², exactly: g N per m2 (14.647…).
HEAVY_SEASON_N = Fraction("453.59237") * 3 / (1000 * Fraction("0.09290304"))
# kg B per ha: above the first a revision needs a reason, above the second it cannot be mixed. House values: 1
# lb/acre is the upper end of "0.5 to 1 lb for most crops" (NOFA soil manual, table 27), 3 lb/acre the most
# any vegetable is advised (UDel).
REASON_ABOVE = Fraction("1.1")
NEVER_ABOVE = Fraction("3.4")


class BoronVerdict(StrEnum):
    FINE = "fine"
    NEEDS_REASON = "needs_reason"
    CANNOT_BE_MIXED = "cannot_be_mixed"
    NOT_DECLARED = "not_declared"
    NO_NITROGEN = "no_nitrogen"


@dataclass(frozen=True)
class BoronSeason:
    """`kg_per_ha` is None where it cannot be known; `at_least` when a component says nothing of boron."""

    verdict: BoronVerdict
    kg_per_ha: Fraction | None
    at_least: bool
    sentence: str


def heavy_season(analysis: BlendAnalysis) -> BoronSeason:
    """The boron, in kg/ha, of as much blend as brings `HEAVY_SEASON_N` of soluble nitrogen."""
    if Nutrient.B in analysis.silent:
        return BoronSeason(
            BoronVerdict.NOT_DECLARED,
            None,
            True,
            "No component declares boron: how much it brings is not known.",
        )
    percent = analysis.percent[Nutrient.B]
    if not percent:
        return BoronSeason(BoronVerdict.FINE, Fraction(0), False, "It carries no boron.")
    if not analysis.soluble_n:
        return BoronSeason(
            BoronVerdict.NO_NITROGEN,
            None,
            True,
            "It carries boron but no soluble nitrogen to dose it by: a season cannot be told.",
        )
    grams_per_m2 = nutrient_in(product_for(HEAVY_SEASON_N, analysis.soluble_n), percent)
    kg_per_ha = grams_per_m2 * 10
    at_least = Nutrient.B in analysis.at_least
    verdict = _verdict(kg_per_ha)
    return BoronSeason(verdict, kg_per_ha, at_least, _sentence(verdict, kg_per_ha, at_least))


def _verdict(kg_per_ha: Fraction) -> BoronVerdict:
    if kg_per_ha > NEVER_ABOVE:
        return BoronVerdict.CANNOT_BE_MIXED
    return BoronVerdict.NEEDS_REASON if kg_per_ha > REASON_ABOVE else BoronVerdict.FINE


def _sentence(verdict: BoronVerdict, kg_per_ha: Fraction, at_least: bool) -> str:
    amount = f"{'at least ' if at_least else ''}{float(kg_per_ha):.2f} kg of boron a hectare"
    told = f"A heavy season of it brings {amount}"
    if verdict is BoronVerdict.FINE:
        return f"{told}; up to {float(REASON_ABOVE)} is fine."
    if verdict is BoronVerdict.NEEDS_REASON:
        return f"{told}: above {float(REASON_ABOVE)} it needs a reason."
    return f"{told}: above {float(NEVER_ABOVE)} it cannot be mixed."
