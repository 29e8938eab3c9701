"""Who may: look-ups that return the thing or refuse. A stranger gets 404, a member without the right 403.

| right    | organiser | steward | holder | auditor | what it is for                                      |
|----------|-----------|---------|--------|---------|-----------------------------------------------------|
| ENTER    | yes       | yes     | yes    | yes     | the programme's front page                          |
| READ     | yes       | yes     | no     | yes     | rounds, blends, the day, who is due how much        |
| REPORT   | yes       | no      | no     | yes     | totals, tickets, prices, persons and their contacts |
| MIX      | yes       | yes     | no     | no      | weigh, hold, serve at the desk, count               |
| ORGANISE | yes       | no      | no     | no      | everything that sets things up or decides           |

A holder sees and logs on the plots of their own household only (``plot_for`` with HOLD).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, TypeVar, cast
from zoneinfo import ZoneInfo

from django.core.exceptions import PermissionDenied
from django.db import models
from django.http import Http404, HttpRequest
from django.utils import timezone

from gardens.models import Person, Plot, Programme, Role, RoleName, User, Walled

M = TypeVar("M", bound=Walled)


class To(StrEnum):
    ENTER = "enter"
    READ = "read"
    REPORT = "report"
    MIX = "mix"
    ORGANISE = "organise"


ORGANISER, STEWARD, HOLDER, AUDITOR = RoleName.ORGANISER, RoleName.STEWARD, RoleName.HOLDER, RoleName.AUDITOR
ALLOWED: dict[To, frozenset[str]] = {
    To.ENTER: frozenset({ORGANISER, STEWARD, HOLDER, AUDITOR}),
    To.READ: frozenset({ORGANISER, STEWARD, AUDITOR}),
    To.REPORT: frozenset({ORGANISER, AUDITOR}),
    To.MIX: frozenset({ORGANISER, STEWARD}),
    To.ORGANISE: frozenset({ORGANISER}),
}


@dataclass(frozen=True)
class Seat:
    """Somebody signed in, as a person of one programme."""

    programme: Programme
    person: Person
    roles: frozenset[str]

    def may(self, to: To | str) -> bool:
        return bool(self.roles & ALLOWED[To(to)])

    @property
    def organises(self) -> bool:
        return self.may(To.ORGANISE)

    @property
    def mixes(self) -> bool:
        return self.may(To.MIX)

    @property
    def reads(self) -> bool:
        return self.may(To.READ)

    @property
    def reports(self) -> bool:
        return self.may(To.REPORT)


class SeatedRequest(HttpRequest):
    """A request of a signed-in user, inside a programme."""

    user: User
    seat: Seat


def seats_of(user: Any) -> list[Seat]:
    """All programmes a user belongs to."""
    if not user.is_authenticated:
        return []
    persons = (
        Person.objects.filter(user=user, erased_at=None).select_related("programme").prefetch_related("roles")
    )
    return [Seat(p.programme, p, frozenset(r.name for r in p.roles.all())) for p in persons]


def seat_for(user: Any, programme: int, *, to: To) -> Seat:
    """The user's seat in this programme, with the right ``to``. Http404 for strangers, PermissionDenied for members."""
    if not user.is_authenticated:
        raise Http404
    of_user = {"person__user": user, "person__erased_at": None}
    roles = list(Role.objects.filter(programme=programme, **of_user).select_related("person__programme"))
    if roles:
        seat = Seat(roles[0].person.programme, roles[0].person, frozenset(r.name for r in roles))
    else:  # a person without any role is a member who may nothing
        person = Person.objects.filter(user=user, programme=programme, erased_at=None).first()
        if person is None:
            raise Http404
        raise PermissionDenied
    if not seat.may(to):
        raise PermissionDenied
    return seat


def take_seat(request: HttpRequest, programme: int, *, to: To) -> Seat:
    """``seat_for``, remembered on the request; the page's instants are in the programme's zone."""
    seat = seat_for(request.user, programme, to=to)
    timezone.activate(ZoneInfo(seat.programme.zone))
    cast(SeatedRequest, request).seat = seat
    return seat


def find(seat: Seat, rows: models.QuerySet[M] | type[M], pk: int) -> M:
    """The row of this programme with this id, or 404: nothing crosses the wall."""
    queryset: models.QuerySet[M] = rows._default_manager.all() if isinstance(rows, type) else rows
    row = queryset.filter(programme=seat.programme, pk=pk).first()
    if row is None:
        raise Http404
    return row


def plot_for(request: HttpRequest, pk: int, *, to_change: bool = False) -> tuple[Seat, Plot]:
    """A plot: for its own holders, and for who reads all (or, to change, organises)."""
    plot = Plot.objects.select_related("garden", "programme").filter(pk=pk).first()
    if plot is None:
        raise Http404
    seat = take_seat(request, plot.programme_id, to=To.ENTER)
    if seat.may(To.ORGANISE if to_change else To.READ) or plot.pk in own_plots(seat):
        return seat, plot
    if seat.may(To.READ):
        raise PermissionDenied
    raise Http404


def own_plots(seat: Seat, day: Any = None) -> set[int]:
    """Ids of the plots that the person's households hold, on ``day`` or today in the programme's zone."""
    from gardens.clock import today

    on = day or today(seat.programme)
    # One filter: another one's open time on the plot must not stand in for their own, which has ended.
    return set(
        Plot.objects.filter(
            models.Q(tenancies__until_day__isnull=True) | models.Q(tenancies__until_day__gt=on),
            programme=seat.programme,
            tenancies__household__members__person=seat.person,
            tenancies__household__members__until_day=None,
            tenancies__start__lte=on,
        ).values_list("pk", flat=True)
    )
