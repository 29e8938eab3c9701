"""What the pages of this floor share."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from gardens.access import Seat, To, take_seat


def seat_of(request: HttpRequest, programme: int, *, change: To, read: To = To.READ) -> Seat:
    """The seat: by ``change`` for a POST, by ``read`` else."""
    return take_seat(request, programme, to=change if request.method == "POST" else read)


def link(name: str, **kwargs: Any) -> str:
    """The address of a page of any floor; empty where there is none."""
    try:
        return reverse(name, kwargs=kwargs)
    except NoReverseMatch:
        return ""
