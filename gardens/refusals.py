"""A refusal inside a transaction: raised, so that nothing before it is kept; mapped once to page, form and problem."""

from __future__ import annotations


class Refused(Exception):
    """An act that the rules do not allow. ``message`` is a sentence for the person; ``field`` names the input, if one.

    ``status`` is 409 where the state of things is in the way, 422 where the input is.
    """

    def __init__(self, code: str, message: str, field: str = "", *, status: int = 422) -> None:
        super().__init__(message)
        self.code, self.message, self.field, self.status = code, message, field, status


class InTheWay(Refused):
    """The state of things is in the way: somebody was first, a pail is held, a round is frozen."""

    def __init__(self, code: str, message: str, field: str = "") -> None:
        super().__init__(code, message, field, status=409)
