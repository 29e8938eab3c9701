"""Who is in a programme, what they may, and what they hold."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db.models import Prefetch

from gardens.folding import natural
from gardens.models import Invitation, Member, Person, Plot, Programme, Tenancy


@dataclass(frozen=True)
class PersonLine:
    person: Person
    roles: tuple[str, ...]
    plots: tuple[Plot, ...]
    signs_in: bool
    invited: Invitation | None  # an unused link that still works


def people(
    *, programme: Programme, day: dt.date, now: dt.datetime, pk: int | None = None
) -> list[PersonLine]:
    """All persons (or one), by name; four queries."""
    running = Tenancy.objects.on(day).select_related("plot__garden")
    member = Member.objects.filter(until_day=None).prefetch_related(
        Prefetch("household__tenancies", running, to_attr="running")
    )
    links = Invitation.objects.filter(used_at=None, expires_at__gt=now).order_by("id")
    rows = (
        Person.objects.filter(programme=programme, erased_at=None)
        .select_related("user")
        .prefetch_related(
            "roles",
            Prefetch("memberships", member.select_related("household"), to_attr="shares"),
            Prefetch("invitations", links, to_attr="links"),
        )
    )
    if pk is not None:
        rows = rows.filter(pk=pk)
    return [_line(person) for person in rows.order_by("name", "id")]


def _line(person: Person) -> PersonLine:
    shares: list[Member] = getattr(person, "shares")  # noqa: B009  (filled by the prefetch above)
    links: list[Invitation] = getattr(person, "links")  # noqa: B009
    plots = {t.plot for share in shares for t in getattr(share.household, "running")}  # noqa: B009
    return PersonLine(
        person=person,
        roles=tuple(sorted(role.name for role in person.roles.all())),
        plots=tuple(sorted(plots, key=lambda p: (p.garden.name, natural(p.label)))),
        signs_in=bool(person.user and person.user.is_active),
        invited=links[-1] if links else None,
    )
