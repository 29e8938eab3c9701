"""Log lines as JSON, one a line, with the request's id and nothing personal."""

from __future__ import annotations

import json
import logging
import traceback
from datetime import UTC, datetime

_KEPT = ("method", "route", "status", "ms", "job", "kind", "state", "programme", "count")


class JsonLines(logging.Formatter):
    """Time, level, logger, message, request id, and the few extras that are known to be harmless."""

    def format(self, record: logging.LogRecord) -> str:
        from gardens.middleware import request_id

        row: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "from": record.name,
            "what": record.getMessage(),
        }
        if request_id.get():
            row["request"] = request_id.get()
        row.update({name: record.__dict__[name] for name in _KEPT if name in record.__dict__})
        if record.exc_info:
            row["trace"] = _where(record.exc_info[1])
        return json.dumps(row, ensure_ascii=False, default=str)


def _where(problem: BaseException | None) -> str:
    """Kinds and lines of code, the cause first; never the message, which may hold what somebody typed."""
    told: list[str] = []
    while problem is not None:
        frames = "".join(traceback.format_tb(problem.__traceback__))
        told.append(f"{frames}{type(problem).__module__}.{type(problem).__qualname__}")
        problem = problem.__cause__ or (None if problem.__suppress_context__ else problem.__context__)
    return "\n".join(reversed(told))
