"""JSON as it comes in: of a bounded size, and with exact numbers."""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import IO, Any

from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import BaseParser

MOST_BYTES = 5_000_000


class TooLarge(APIException):
    status_code = 413
    default_detail = f"That is more than {MOST_BYTES // 1_000_000} MB."
    default_code = "too_large"


class ExactJSON(BaseParser):
    """A number with a point becomes a Decimal: nothing passes through a float. NaN is refused."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        data = stream.read(MOST_BYTES + 1)
        if len(data) > MOST_BYTES:
            raise TooLarge
        try:
            return json.loads(data.decode("utf-8"), parse_float=Decimal, parse_constant=_refuse)
        except (ValueError, RecursionError):
            raise ParseError("This is not JSON.") from None


def _refuse(word: str) -> None:
    raise ValueError(word)
