"""Sharing a mass among many by largest remainder (Hamilton): exact integers, ties by order and told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from gardens.faults import Fault


class SharingError(Fault):
    """A question that has no shares for an answer. `message` is a sentence for a person."""


@dataclass(frozen=True)
class Shares:
    """`amounts` in the order asked, each a multiple of the division; with `left`, they sum to the total.

    `left` is what is smaller than one division. `ties` are the places (counted from 0) whose remainders were
    equal where the last divisions ran out, so that only their order decided; empty when nothing was decided
    by order.
    """

    amounts: tuple[int, ...]
    left: int
    ties: tuple[int, ...]


def largest_remainder(weights: Sequence[int | Decimal | Fraction], total: int, division: int = 1) -> Shares:
    """Share `total` in proportion to `weights`, in steps of `division`; all in the same integer unit.

    Everybody gets the whole divisions of their quota; those still left go one each to the largest remainders,
    the first in order where remainders are equal.
    """
    exact = _checked(weights, total, division)
    steps, left = divmod(total, division)
    whole = sum(exact, Fraction(0))
    if not whole:
        raise SharingError("all_zero", "Nobody has a share: every weight is zero.", "weights")
    quotas = [weight * steps / whole for weight in exact]
    floors = [quota.numerator // quota.denominator for quota in quotas]
    remainders = [quota - floor for quota, floor in zip(quotas, floors, strict=True)]
    open_steps = steps - sum(floors)
    ranked = sorted(range(len(exact)), key=lambda place: (-remainders[place], place))
    for place in ranked[:open_steps]:
        floors[place] += 1
    return Shares(tuple(floor * division for floor in floors), left, _ties(ranked, remainders, open_steps))


def _ties(ranked: Sequence[int], remainders: Sequence[Fraction], served: int) -> tuple[int, ...]:
    if not 0 < served < len(ranked) or remainders[ranked[served - 1]] != remainders[ranked[served]]:
        return ()
    edge = remainders[ranked[served]]
    return tuple(place for place in sorted(ranked) if remainders[place] == edge)


def _checked(weights: Sequence[int | Decimal | Fraction], total: int, division: int) -> list[Fraction]:
    if not weights:
        raise SharingError("nobody", "There is nobody to share among.", "weights")
    if not isinstance(total, int) or total < 0:
        raise SharingError("total", "What is shared must be a whole number, zero or more.", "total")
    if not isinstance(division, int) or division < 1:
        raise SharingError("division", "A division must be a whole number above zero.", "division")
    for weight in weights:
        if not isinstance(weight, (int, Decimal, Fraction)) or (
            isinstance(weight, Decimal) and not weight.is_finite()
        ):
            raise SharingError("weight", "Each weight must be an exact number.", "weights")
        if weight < 0:
            raise SharingError("negative", "A weight cannot be less than zero.", "weights")
    return [Fraction(weight) for weight in weights]
