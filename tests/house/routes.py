"""The list of addresses that the wall test walks: who may open each of them, by which right."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Route:
    """One address. ``right`` is a value of ``gardens.access.To``, or "anyone", "signed_in", "own_plot".

    ``kwargs`` makes the address's arguments from the standing cast; ``extra`` builds what they need first.
    """

    name: str
    right: str
    kwargs: Callable[[Any], dict[str, Any]] = field(default=lambda cast: {"programme": cast.programme.pk})
    methods: tuple[str, ...] = ("get",)
    change: str = ""  # the right for POST where it differs from GET
