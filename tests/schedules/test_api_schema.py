"""The schema is whole, its examples run, and nothing that fits or misfits it makes a server error."""

from __future__ import annotations

import io
import json
import os
import re
import uuid
from collections import Counter
from typing import Any

import hypothesis
import pytest
import schemathesis
from django.conf import settings
from django.core.management import call_command
from django.db import transaction

from tests.house.routes_api import make_world
from tests.schedules.api_script import operations, schema

CALCULATORS = sorted(path.stem for path in (settings.BASE_DIR / "fixtures" / "calculations").glob("*.json"))


def test_the_schema_builds_without_a_warning() -> None:
    out, err = io.StringIO(), io.StringIO()
    call_command("spectacular", "--validate", "--fail-on-warn", stdout=out, stderr=err)
    assert "openapi: 3.1" in out.getvalue() and not err.getvalue()


def test_every_operation_says_what_it_is_and_what_goes_wrong() -> None:
    tags = {tag["name"] for tag in schema()["tags"]}
    for name, (method, path, told) in operations().items():
        assert told["summary"] and set(told["tags"]) <= tags, name
        wrong = {code for code in told["responses"] if code >= "4"}
        assert wrong >= (
            {"401", "403"} if "token" not in path else {"401"} if method == "delete" else {"400"}
        ), name
        for code in wrong:
            assert list(told["responses"][code]["content"]) == ["application/problem+json"], name


def test_acts_that_make_tickets_take_a_key() -> None:
    keyed = {name for name, (_, _, told) in operations().items() if _takes_a_key(told)}
    assert keyed >= {
        "lot_receive", "loss_state", "count_make", "weigh_out", "weigh_out_correct", "collect", "collection_correct",
        "collection_reverse", "take_back", "hand_over", "ticket_reverse", "lot_move", "lot_send_back",
    }  # fmt: skip
    for name in keyed:
        assert {"200", "201"} <= set(operations()[name][2]["responses"])


def _takes_a_key(told: dict[str, Any]) -> bool:
    return any(p["name"] == "Idempotency-Key" and p["required"] for p in told.get("parameters", ()))


def test_quantities_are_told_once() -> None:
    assert schema()["components"]["schemas"]["Quantity"]["required"] == ["unit", "value"]


@pytest.mark.django_db
@pytest.mark.parametrize("name", CALCULATORS)
def test_every_example_in_the_schema_runs(cast: Any, as_: Any, name: str) -> None:
    """What the schema shows as asked is posted; what it shows as answered must come, to the last digit."""
    _, path, told = operations()[f"calculate_{name}"]
    asked = told["requestBody"]["content"]["application/json"]["examples"]
    shown = told["responses"]["200"]["content"]["application/json"]["examples"]
    assert len(asked) == len(shown) >= 1
    for title, example in asked.items():
        answer = as_(cast.holder).post(path, example["value"], content_type="application/json")
        (want,) = [e["value"] for e in shown.values() if e["summary"] == example["summary"]]
        assert answer.status_code == 200 and answer.json() == want, title


def test_there_is_an_example_for_each_calculator() -> None:
    assert {f"calculate_{name}" for name in CALCULATORS} == {
        name for name in operations() if name.startswith("calculate_")
    }


# What nobody thought of -------------------------------------------------------------------------------------

BOUNDED = hypothesis.settings(
    max_examples=int(os.environ.get("API_EXAMPLES", "3")),  # 60 take eight minutes
    derandomize=True,
    deadline=None,
    database=None,
    phases=[hypothesis.Phase.generate],
    suppress_health_check=list(hypothesis.HealthCheck),
)
LISTS = {"persons": "person", "gardens": "garden", "scales": "scale", "crew": "person"}


def at_home(body: Any, world: dict[str, int]) -> Any:
    """What was generated, with ids that are there: so that it gets past the keys to the rules."""
    if isinstance(body, list):
        return [at_home(part, world) for part in body]
    if not isinstance(body, dict):
        return body
    kept = {key: at_home(part, world) for key, part in body.items()}
    kept |= {key: world[key] for key, part in kept.items() if key in world and isinstance(part, int)}
    return kept | {key: [world[LISTS[key]]] for key in kept if key in LISTS}


@pytest.mark.django_db
def test_whatever_is_sent_makes_no_server_error(cast: Any, as_: Any) -> None:
    """Bodies and queries made from the schema, at addresses that are there; each act is undone after its answer."""
    world = make_world(cast, cast.organiser, cast.garden, cast.plot)
    client, statuses = as_(cast.organiser), Counter[int]()

    def send(case: schemathesis.Case) -> None:
        address = case.path.format(**dict.fromkeys(re.findall("{(.+?)}", case.path), "water") | world)
        plain = isinstance(case.body, (dict, list, str, int, float, bool, type(None)))
        with transaction.atomic():
            answer = client.generic(
                case.method,
                address,
                json.dumps(at_home(case.body, world)) if plain else "",
                content_type="application/json",
                headers={"Idempotency-Key": str(uuid.uuid4())},
                query_params={key: str(value) for key, value in (case.query or {}).items()},
            )
            transaction.set_rollback(True)
        statuses[answer.status_code] += 1
        assert answer.status_code < 500, (case.method, address, answer.content)

    for result in schemathesis.openapi.from_dict(json.loads(json.dumps(schema()))).get_all_operations():
        operation = result.ok()
        if "token" not in operation.path:
            BOUNDED(hypothesis.given(operation.as_strategy())(send))()
    assert statuses[200] > 50 and statuses[201] > 5 and statuses[400] and statuses[422], statuses
