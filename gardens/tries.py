"""How often a password may be tried: wrong tries are counted in the cache, for one minute from the first.

Django's default cache lives in each process, so several processes allow as many times more, and a restart forgets;
it stops guessing by the thousand, and needs no table and no service. A shared cache makes it one count.
"""

from __future__ import annotations

from django.core.cache import cache
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _
from rest_framework.throttling import BaseThrottle

FOR_ONE_ADDRESS = 10  # from one place
FOR_ONE_PLACE = 60  # whatever the addresses
SECONDS = 60
TOO_MANY = _("That was tried too often. Wait a minute, then type it again with care.")


def are_spent(request: HttpRequest, address: str) -> bool:
    """Count one try, before its password is looked at; True where it is one too many."""
    by_address, by_place = _keys(request, address)
    return (_count(by_address) > FOR_ONE_ADDRESS) | (_count(by_place) > FOR_ONE_PLACE)


def was_right(request: HttpRequest, address: str) -> None:
    """The try that was just counted was no guess."""
    for key in _keys(request, address):
        if cache.get(key):
            cache.decr(key)


def _keys(request: HttpRequest, address: str) -> tuple[str, str]:
    place = BaseThrottle().get_ident(request)  # type: ignore[arg-type]  # reads request.META and NUM_PROXIES
    said = address.strip().lower()[:254].encode("utf-8", "replace").hex()
    return f"tries:{place}:{said}".replace(" ", ""), f"tries:{place}".replace(" ", "")


def _count(key: str) -> int:
    cache.add(key, 0, SECONDS)
    try:
        return cache.incr(key)
    except ValueError:  # its minute was over at that instant
        return 1
