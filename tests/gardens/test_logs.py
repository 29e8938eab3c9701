"""A log line names where something broke, never what was typed."""

from __future__ import annotations

import json
import logging
import sys

from gardens.logs import JsonLines


def test_a_trace_says_where_and_what_kind_but_not_what_was_typed() -> None:
    typed = "@".join(["henna", "ostermere.example"])
    try:
        raise ValueError(f"Key (email)=({typed}) already exists")
    except ValueError:
        record = logging.LogRecord("jobs", logging.ERROR, __file__, 1, "failed", None, sys.exc_info())
    row = json.loads(JsonLines().format(record))
    assert "ValueError" in row["trace"] and "test_logs.py" in row["trace"]
    assert typed not in json.dumps(row)
