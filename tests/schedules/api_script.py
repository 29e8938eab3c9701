"""A client that knows nothing but the address of the schema: it finds each operation there by its id."""

from __future__ import annotations

import json
import uuid
from functools import cache
from typing import Any

from django.test import Client

SCHEMA = "/api/v1/schema/"


@cache
def schema() -> dict[str, Any]:
    """As it is served, fetched once."""
    told: dict[str, Any] = json.loads(Client().get(SCHEMA).content)
    return told


def operations() -> dict[str, tuple[str, str, dict[str, Any]]]:
    """(method, path, what is told of it) of each operation, by its id."""
    return {
        told["operationId"]: (method, path, told)
        for path, methods in schema()["paths"].items()
        for method, told in methods.items()
        if isinstance(told, dict) and "operationId" in told
    }


class Answer(dict[str, Any]):
    """The body, and what came with it."""

    status: int
    headers: dict[str, str]


class Script:
    """``script("garden_add", body, programme=1)``; fails where the answer is not one that the schema promises."""

    def __init__(self, client: Client | None = None) -> None:
        self.client = client or Client()
        self.token = ""
        self.operations = operations()

    def __call__(
        self,
        operation: str,
        body: Any = None,
        *,
        key: uuid.UUID | str | None = None,
        expect: int = 0,
        **where: Any,
    ) -> Any:
        method, path, told = self.operations[operation]
        query = {k: v for k, v in where.items() if f"{{{k}}}" not in path}
        headers = {"Authorization": f"Token {self.token}"} if self.token else {}
        needs_key = any(p["name"] == "Idempotency-Key" for p in told.get("parameters", ()))
        if needs_key and key != "":
            headers["Idempotency-Key"] = str(key or uuid.uuid4())
        response = self.client.generic(
            method.upper(),
            path.format(**{k: v for k, v in where.items() if k not in query}),
            json.dumps(body) if body is not None else "",
            content_type="application/json",
            headers=headers,
            query_params=query,
        )
        assert str(response.status_code) in told["responses"], (
            operation,
            response.status_code,
            response.content,
        )
        if expect:
            assert response.status_code == expect, (operation, response.status_code, response.content)
        else:
            assert response.status_code < 400, (operation, response.status_code, response.content)
        found = response.json() if response.content else {}
        if isinstance(found, list):
            return found
        answer = Answer(found)
        answer.status, answer.headers = response.status_code, dict(response.headers)
        return answer

    def rows(self, operation: str, **where: Any) -> list[Any]:
        """Every row of a list, page by page."""
        found: list[Any] = []
        while True:
            page = self(operation, limit=50, offset=len(found), **where)
            found += page["results"]
            if not page["next"]:
                return found


def grams(quantity: dict[str, str]) -> str:
    assert quantity["unit"] == "g"
    return quantity["value"]
