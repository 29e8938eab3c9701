"""Acts that make a ticket: known by their key, answered once and again."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any, TypeVar

from rest_framework import serializers
from rest_framework.response import Response

from blends.models import Flag, Place, PlaceKind, Ticket
from gardens.api.quantities import Mass
from gardens.api.schema import REPLAYED
from gardens.api.views import ProgrammeView, key_of

R = TypeVar("R")


class TicketView(ProgrammeView):
    def act_once(self, act: Callable[[uuid.UUID], R], show: Callable[[R], Response]) -> Response:
        """Do the act under the request's key: 201, or 200 and ``Idempotency-Replayed`` where it was known."""
        key = key_of(self.request)
        known = Ticket.objects.filter(programme=self.seat.programme, key=key).exists()
        response = show(act(key))
        response.status_code = 200 if known else 201
        if known:
            response[REPLAYED] = "true"
        return response


class PlaceJSON(serializers.Serializer[Place]):
    """One thing in one spot, with its balance: an account."""

    id = serializers.IntegerField(source="pk")
    kind = serializers.ChoiceField(PlaceKind.choices)
    name = serializers.CharField(source="__str__")
    balance = Mass(source="balance_mg")
    gate = serializers.CharField(help_text="Of a pail: filling, held or released.")
    opened = serializers.BooleanField()


class TicketJSON(serializers.Serializer[Ticket]):
    """One act in the ledger: who, when, why."""

    id = serializers.IntegerField(source="pk")
    kind = serializers.CharField()
    key = serializers.UUIDField()
    by = serializers.IntegerField(source="by_id")
    happened_at = serializers.DateTimeField()
    recorded_at = serializers.DateTimeField()
    day = serializers.DateField()
    reason = serializers.CharField()
    told = serializers.BooleanField(help_text="Whether it had already happened.")
    reverses = serializers.IntegerField(source="reverses_id", allow_null=True)


class MovementJSON(serializers.Serializer[Any]):
    source = PlaceJSON()  # type: ignore[assignment]
    target = PlaceJSON()
    mass = Mass(source="mass_mg")


class FlagJSON(serializers.Serializer[Flag]):
    """Something to settle: it wants a word, never a zero."""

    id = serializers.IntegerField(source="pk")
    ticket = serializers.IntegerField(source="ticket_id")
    code = serializers.CharField()
    place = serializers.IntegerField(source="place_id")
    mass = Mass(source="mass_mg")
    note = serializers.CharField()
    settled_reason = serializers.CharField(help_text="Empty while it stands to settle.")
    settled_by = serializers.IntegerField(source="settled_by_id", allow_null=True)
    settled_at = serializers.DateTimeField(allow_null=True)


#: What naming places in words looks up.
WITH_NAMES = ("lot__material", "garden", "pail__batch", "plot__garden", "batch")
