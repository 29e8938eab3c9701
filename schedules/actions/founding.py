"""Beginning a programme: the programme with its organiser, and the ledger's books."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from blends.ledger import open_books
from gardens.actions.people import sign_up, start_programme
from gardens.models import Programme, User


@transaction.atomic
def found(*, user: User, name: str, zone: str, currency: str, units: str, **more: Any) -> Programme:
    """A programme with the user as its organiser, and open books. Takes what `start_programme` takes."""
    programme = start_programme(user=user, name=name, zone=zone, currency=currency, units=units, **more)
    open_books(programme)
    return programme


@transaction.atomic
def found_with_account(
    *, email: str, password: str, name: str, zone: str, currency: str, units: str, **more: Any
) -> tuple[User, Programme]:
    """The same for somebody without an account: all of it or nothing."""
    user = sign_up(email=email, password=password)
    return user, found(user=user, name=name, zone=zone, currency=currency, units=units, **more)
