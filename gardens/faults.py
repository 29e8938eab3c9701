"""What a pure computation cannot take."""

from __future__ import annotations


class Fault(ValueError):
    """An input without an answer: `code` for programs, `message` a sentence for a person, `field` what it is about."""

    def __init__(self, code: str, message: str, field: str = "") -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.field = field
