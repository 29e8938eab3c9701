"""Passwords are not tried without end, at the sign-in page and behind an invitation."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from gardens import tries
from gardens.actions.people import add_person, invite
from gardens.models import RoleName

pytestmark = pytest.mark.django_db
PASSWORD = "a long enough sentence"


@pytest.fixture(autouse=True)
def fresh() -> Iterator[None]:
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def email(cast: Any) -> str:
    cast.holder.user.set_password(PASSWORD)
    cast.holder.user.save()
    return str(cast.holder.user.email)


def sign_in(email: str, password: str = "wrong", place: str = "10.0.0.1") -> Any:
    return Client(REMOTE_ADDR=place).post(reverse("login"), {"username": email, "password": password})


def test_after_ten_wrong_passwords_even_the_right_one_waits(email: str) -> None:
    assert {sign_in(email).status_code for _ in range(tries.FOR_ONE_ADDRESS)} == {200}
    answer = sign_in(email.upper(), PASSWORD)
    assert answer.status_code == 429 and "Wait a minute" in answer.content.decode()


def test_elsewhere_and_for_others_nothing_is_shut(email: str) -> None:
    for _ in range(tries.FOR_ONE_ADDRESS):
        sign_in(email)
    assert sign_in("else@here.example").status_code == 200
    assert sign_in(email, PASSWORD, place="10.0.0.2").status_code == 302


def test_right_passwords_are_not_counted(email: str) -> None:
    assert {sign_in(email, PASSWORD).status_code for _ in range(2 * tries.FOR_ONE_ADDRESS)} == {302}


def test_one_place_does_not_try_many_addresses(monkeypatch: Any, email: str) -> None:
    monkeypatch.setattr(tries, "FOR_ONE_PLACE", 3)
    for n in range(3):
        sign_in(f"n{n}@here.example")
    assert sign_in(email, PASSWORD).status_code == 429


def test_an_invitation_to_a_known_address_tries_its_password_no_more_than_sign_in(
    cast: Any, email: str
) -> None:
    person = add_person(programme=cast.other, by=cast.stranger, name="Henna")
    _, secret = invite(
        programme=cast.other, by=cast.stranger, person=person, email=email, role=RoleName.HOLDER
    )
    link = reverse("invitation", args=[secret])
    for _ in range(tries.FOR_ONE_ADDRESS):
        assert Client().post(link, {"password": "wrong, all of it"}).status_code == 200
    answer = Client().post(link, {"password": PASSWORD})
    assert answer.status_code == 429 and "Wait a minute" in answer.content.decode()
    person.refresh_from_db()
    assert person.user is None
    assert Client(REMOTE_ADDR="10.0.0.3").post(link, {"password": PASSWORD}).status_code == 302
