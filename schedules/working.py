"""The steps behind a dose; the same data as behind every other number (`gardens.working`)."""

from __future__ import annotations

from gardens.working import (
    HOUSE,
    SIGNIFICANT,
    Figure,
    FigureJSON,
    Step,
    StepJSON,
    Working,
    WorkingJSON,
    grams,
    printed,
    square_metres,
)

__all__ = [
    "HOUSE",
    "SIGNIFICANT",
    "Figure",
    "FigureJSON",
    "Step",
    "StepJSON",
    "Working",
    "WorkingJSON",
    "grams",
    "printed",
    "square_metres",
]
