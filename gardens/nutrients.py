"""The fourteen mineral nutrients, and sodium, by chemical symbol.

Source: 14 soil-supplied essential elements, Rutgers NJAES FS626 (some books list thirteen, without nickel).
"""

from __future__ import annotations

from enum import StrEnum


class Nutrient(StrEnum):
    """One element, in the order a label lists it."""

    N = "N"
    P = "P"
    K = "K"
    CA = "Ca"
    MG = "Mg"
    S = "S"
    B = "B"
    CL = "Cl"
    CU = "Cu"
    FE = "Fe"
    MN = "Mn"
    MO = "Mo"
    NI = "Ni"
    ZN = "Zn"
    NA = "Na"

    @property
    def english(self) -> str:
        return _NAMES[self]


_NAMES = {
    Nutrient.N: "nitrogen",
    Nutrient.P: "phosphorus",
    Nutrient.K: "potassium",
    Nutrient.CA: "calcium",
    Nutrient.MG: "magnesium",
    Nutrient.S: "sulfur",
    Nutrient.B: "boron",
    Nutrient.CL: "chlorine",
    Nutrient.CU: "copper",
    Nutrient.FE: "iron",
    Nutrient.MN: "manganese",
    Nutrient.MO: "molybdenum",
    Nutrient.NI: "nickel",
    Nutrient.ZN: "zinc",
    Nutrient.NA: "sodium",
}

ESSENTIAL: tuple[Nutrient, ...] = tuple(n for n in Nutrient if n is not Nutrient.NA)
TRACE: frozenset[Nutrient] = frozenset(
    {Nutrient.B, Nutrient.CL, Nutrient.CU, Nutrient.FE, Nutrient.MN, Nutrient.MO, Nutrient.NI, Nutrient.ZN}
)
