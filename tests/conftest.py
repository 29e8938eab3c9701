"""What all tests stand on: append-only tables that a flush may empty, and the standing cast."""

from __future__ import annotations

import datetime as dt
import os
import zlib
from collections.abc import Callable, Iterator
from typing import Any

import hypothesis
import pytest

hypothesis.settings.register_profile(
    "house", derandomize=True, deadline=None, max_examples=100, database=None
)
hypothesis.settings.load_profile("house")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Each worker has a database of its own; what touches none is shared between the two, half each."""
    worker = os.environ.get("PYTEST_XDIST_WORKER", "")
    if worker not in ("gw0", "gw1"):
        return
    mine, others = [], []
    for item in items:
        half = f"gw{zlib.crc32(item.nodeid.encode()) % 2}"
        (mine if _needs_database(item) or half == worker else others).append(item)
    items[:] = mine
    config.hook.pytest_deselected(items=others)


def _needs_database(item: pytest.Item) -> bool:
    asked = {"db", "transactional_db", "django_db_setup", "live_server", "client", "admin_client"}
    return item.get_closest_marker("django_db") is not None or bool(
        asked & set(getattr(item, "fixturenames", ()))
    )


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None) -> Iterator[None]:
    """A flush between tests is the one thing that may empty append-only tables: lift their triggers, put them back."""
    from django.db import connection

    flush = connection.ops.__class__.execute_sql_flush

    def lifted(self: Any, sql_list: list[str]) -> Any:
        with connection.cursor() as cursor:
            if connection.vendor == "sqlite":
                cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
                triggers = cursor.fetchall()
                for name, _ in triggers:
                    cursor.execute(f'DROP TRIGGER "{name}"')
                cursor.execute("PRAGMA foreign_keys = OFF")
                try:
                    return flush(self, sql_list)
                finally:
                    cursor.execute("PRAGMA foreign_keys = ON")
                    for _, sql in triggers:
                        cursor.execute(sql)
            cursor.execute("SET session_replication_role = replica")
            try:
                return flush(self, sql_list)
            finally:
                cursor.execute("SET session_replication_role = DEFAULT")

    connection.ops.__class__.execute_sql_flush = lifted
    yield
    connection.ops.__class__.execute_sql_flush = flush


@pytest.fixture
def cast(db: None) -> Any:
    """The standing cast: a programme with an organiser, two stewards, a holder, an auditor; a stranger elsewhere."""
    from tests.cast import make_cast

    return make_cast()


@pytest.fixture
def as_(client: Any) -> Callable[[Any], Any]:
    """``as_(person)`` is a client signed in as that person's user; ``as_(None)`` is nobody."""
    from django.test import Client

    def sign_in(person: Any) -> Client:
        fresh = Client()
        if person is not None:
            fresh.force_login(person.user)
        return fresh

    return sign_in


@pytest.fixture
def now() -> dt.datetime:
    return dt.datetime(2026, 6, 1, 10, 0, tzinfo=dt.UTC)
