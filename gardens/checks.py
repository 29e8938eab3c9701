"""System checks: the embedded database is set so that it keeps what it acknowledged."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, register
from django.db import connection

_WANTED = {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "recursive_triggers": 1}


@register(Tags.database)
def sqlite_is_safe(app_configs: Any, databases: Any = None, **kwargs: Any) -> list[CheckMessage]:
    if connection.vendor != "sqlite" or not databases:
        return []
    problems: list[CheckMessage] = []
    with connection.cursor() as cursor:
        for name, wanted in _WANTED.items():
            cursor.execute(f"PRAGMA {name}")
            (value,) = cursor.fetchone()
            if value != wanted and not (name == "journal_mode" and value == "memory"):
                problems.append(
                    Error(f"SQLite runs with {name}={value}; {wanted} is needed.", id="gardens.E001")
                )
    return problems


@register(Tags.security, deploy=True)
def secret_lasts(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    if settings.SECRET_KEY_IS_LASTING:
        return []
    return [Error("No lasting secret: set SECRET_KEY or SECRET_KEY_FILE.", id="gardens.E002")]
