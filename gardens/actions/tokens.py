"""A token lets a program sign in as its user; one per user, until it is revoked."""

from __future__ import annotations

from rest_framework.authtoken.models import Token

from gardens.models import User


def make_token(*, user: User) -> Token:
    """The user's token; asking again gives the same."""
    token, _ = Token.objects.get_or_create(user=user)
    return token


def revoke_token(*, user: User) -> None:
    Token.objects.filter(user=user).delete()
