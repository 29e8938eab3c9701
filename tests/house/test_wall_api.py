"""The wall and the rights, walked through the API: every address × method × person × foreign key."""

from __future__ import annotations

import json
import uuid
from typing import Any

import pytest
from django.apps import apps
from django.db import transaction
from django.test import Client
from django.urls import get_resolver, reverse

from gardens.access import ALLOWED
from tests.house.routes_api import OUTSIDE, TABLE, arguments, keys_in, make_world

pytestmark = pytest.mark.django_db

ACTS = [(name, method) for name, acts in TABLE.items() for method in acts]
WHO = ["organiser", "steward", "holder", "auditor", "stranger", "nobody"]
OURS = ("gardens", "blends", "schedules")


@pytest.fixture
def worlds(cast: Any) -> tuple[dict[str, int], dict[str, int]]:
    here = make_world(cast, cast.organiser, cast.garden, cast.plot)
    return here, make_world(cast, cast.stranger, cast.other_garden, cast.other_plot)


def picture() -> dict[str, Any]:
    """Every row of ours, as it stands."""
    models = [m for m in apps.get_models() if m._meta.app_label in OURS]
    return {m._meta.label: sorted(map(str, m._default_manager.values_list())) for m in models}


def send(client: Client, name: str, method: str, world: Any, body: Any) -> Any:
    return client.generic(
        method.upper(),
        reverse(name, kwargs=arguments(name, world)),
        json.dumps(body) if body is not None else "",
        content_type="application/json",
        headers={"Idempotency-Key": str(uuid.uuid4())},
    )


def expected(right: str, who: str) -> int:
    """401, 403, 404, or 0: not kept out."""
    if who == "nobody":
        return 401
    if who == "stranger":
        return 404
    if right == "own_plot":
        return 0  # organiser, steward and auditor read all; the holder reads their own
    if right == "own_plot_change":
        return 0 if who in ("organiser", "holder") else 403
    return 0 if who in ALLOWED[right] else 403  # type: ignore[index]


def test_every_address_of_the_api_is_in_the_table() -> None:
    names = {n for n in get_resolver().reverse_dict if isinstance(n, str) and n.startswith("api_")}
    assert names == {*TABLE, *OUTSIDE}


def test_every_method_of_the_schema_is_in_the_table() -> None:
    from tests.schedules.api_script import operations

    inside = [path for _, path, _ in operations().values() if "{programme}" in path]
    assert len(inside) == len(ACTS)


@pytest.mark.parametrize("who", WHO)
def test_who_may_do_what(cast: Any, as_: Any, worlds: Any, who: str) -> None:
    """Who is kept out is told so by a problem, and changes nothing."""
    here, _ = worlds
    client = as_(None if who == "nobody" else getattr(cast, who))
    before = picture()
    for name, method in ACTS:
        act = TABLE[name][method]
        want = expected(act.right, who)
        if not want:
            continue
        answer = send(client, name, method, here, act.body(here) if act.body else None)
        assert answer.status_code == want, (name, method, answer.content)
        assert answer["Content-Type"] == "application/problem+json"
    assert picture() == before


def test_the_organiser_gets_through(cast: Any, as_: Any, worlds: Any) -> None:
    """Each body of the table is one that can be taken, or is refused for its own sake, never for a key in it."""
    here, _ = worlds
    client = as_(cast.organiser)
    for name, method in ACTS:
        act = TABLE[name][method]
        with transaction.atomic():
            answer = send(client, name, method, here, act.body(here) if act.body else None)
            transaction.set_rollback(True)
        assert answer.status_code in (200, 201, 204, 409, 422), (name, method, answer.content)
        if answer.status_code >= 400:
            assert answer.json()["code"] not in ("not_here", "not_found", "invalid"), (name, answer.content)


def test_nothing_of_another_programme_can_be_named(cast: Any, as_: Any, worlds: Any) -> None:
    """In the address: 404. In the body: 422. Either way nothing has changed."""
    here, there = worlds
    client = as_(cast.organiser)
    before, tried = picture(), 0
    for name, method in ACTS:
        act = TABLE[name][method]
        for param in arguments(name, here).keys() & here.keys() - {"programme"}:
            answer = send(
                client, name, method, here | {param: there[param]}, act.body(here) if act.body else None
            )
            assert answer.status_code == 404, (name, method, param, answer.content)
            tried += 1
        for key in keys_in(act.body, here):
            answer = send(client, name, method, here, act.body(here | {key: there[key]}))  # type: ignore[misc]
            assert answer.status_code in (404, 422), (name, method, key, answer.content)
            assert answer.json()["code"] in ("not_here", "not_found"), answer.content
            tried += 1
    assert picture() == before
    assert tried > 80


def test_a_query_names_nothing_of_another_programme(cast: Any, as_: Any, worlds: Any) -> None:
    here, there = worlds
    for name, key in (("api_tickets", "place"), ("api_week", "garden")):
        address = reverse(name, kwargs={"programme": here["programme"]})
        answer = as_(cast.organiser).get(address, {key: there[key]})
        assert answer.status_code == 422, answer.content
