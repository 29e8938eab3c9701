"""What every view of the API stands on: a seat in the programme, rows behind its wall, pages of lists."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from typing import Any, Generic, TypeVar

from django.db import models
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.pagination import LimitOffsetPagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from gardens.access import Seat, To, find, seat_for
from gardens.api.schema import KEY
from gardens.models import Walled
from gardens.refusals import Refused

M = TypeVar("M", bound=Walled)


class Pages(LimitOffsetPagination):
    default_limit = 100
    max_limit = 500


class ProgrammeView(APIView):
    """A view inside a programme. Each method begins with ``self.sit(To.…)``: 404 for strangers, 403 for
    members without the right; whatever else it looks up, it looks up behind the programme's wall."""

    seat: Seat

    def sit(self, to: To) -> Seat:
        self.seat = seat_for(self.request.user, self.kwargs["programme"], to=to)
        return self.seat

    def find(self, rows: models.QuerySet[M] | type[M], pk: int) -> M:
        """The row that the address names, or 404."""
        return find(self.seat, rows, pk)

    def take(self, form: type[serializers.Serializer[Any]]) -> dict[str, Any]:
        """What was sent, read; 400 where it cannot be, 422 where it names what is not of this programme."""
        sent = form(data=self.request.data, context={"seat": self.seat})
        sent.is_valid(raise_exception=True)
        taken: dict[str, Any] = sent.validated_data
        return taken

    def asked(self, form: type[serializers.Serializer[Any]]) -> dict[str, Any]:
        """What the address asks for, behind its question mark."""
        sent = form(data=self.request.query_params, context={"seat": self.seat})
        sent.is_valid(raise_exception=True)
        taken: dict[str, Any] = sent.validated_data
        return taken

    def show(self, kind: type[serializers.Serializer[Any]], row: Any, status: int = 200) -> Response:
        return Response(kind(row, context={"seat": self.seat}).data, status=status)

    def page(
        self, kind: type[serializers.Serializer[Any]], rows: models.QuerySet[Any] | Sequence[Any]
    ) -> Response:
        """One page of rows; a queryset is cut in the database."""
        pages = Pages()
        shown = pages.paginate_queryset(rows, self.request, view=self)  # type: ignore[arg-type]
        return pages.get_paginated_response(kind(shown, many=True, context={"seat": self.seat}).data)


def key_of(request: Request) -> uuid.UUID:
    """The key under which this act is known; without one it is refused."""
    text = request.headers.get(KEY, "").strip()
    if not text:
        raise ValidationError(
            {KEY: [f"This makes a ticket: send a header {KEY} with a UUID of your own."]}, "key_wanted"
        )
    try:
        return uuid.UUID(text)
    except ValueError:
        raise ValidationError({KEY: ["That is no UUID."]}, "key") from None


class Ref(serializers.IntegerField, Generic[M]):
    """The id of a row of this programme; gives the row. What lies beyond the wall is nowhere."""

    def __init__(self, rows: type[M], *, ask: Iterable[str] = (), **kwargs: Any) -> None:
        self.rows, self.ask = rows, tuple(ask)
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> Any:
        pk = super().to_internal_value(data)
        row = _behind_the_wall(self, self.rows).select_related(*self.ask).filter(pk=pk).first()
        if row is None:
            raise Refused("not_here", f"There is no such {_named(self.rows)} here.", self.field_name or "")
        return row

    def to_representation(self, value: Any) -> int:
        return int(value.pk if isinstance(value, models.Model) else value)


class Refs(serializers.ListField, Generic[M]):
    """Ids of rows of this programme; gives the rows, in the order sent. One query."""

    child = serializers.IntegerField()

    def __init__(self, rows: type[M], **kwargs: Any) -> None:
        self.rows = rows
        super().__init__(**{"max_length": 500} | kwargs)

    def to_internal_value(self, data: Any) -> Any:
        ids = list(dict.fromkeys(super().to_internal_value(data)))
        found = {row.pk: row for row in _behind_the_wall(self, self.rows).filter(pk__in=ids)}
        if missing := [pk for pk in ids if pk not in found]:
            raise Refused(
                "not_here", f"There is no {_named(self.rows)} {missing[0]} here.", self.field_name or ""
            )
        return [found[pk] for pk in ids]


def _behind_the_wall(field: serializers.Field[Any, Any, Any, Any], rows: type[M]) -> models.QuerySet[M]:
    return rows._default_manager.filter(programme=field.context["seat"].programme)


def _named(rows: type[Walled]) -> str:
    return str(rows._meta.verbose_name)
