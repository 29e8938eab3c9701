"""What every page inside a programme knows: the programme, who is looking, and the contents page."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest


def place(request: HttpRequest) -> dict[str, Any]:
    seat = getattr(request, "seat", None)
    if seat is None:
        return {}
    return {"seat": seat, "programme": seat.programme}
