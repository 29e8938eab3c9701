"""Acts on who holds what, and since when."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.db import transaction
from django.db.models import Q

from gardens.actions.people import household_name
from gardens.clock import today
from gardens.days import EARLIEST, LATEST, in_words
from gardens.folding import natural
from gardens.models import Household, Member, Person, Plot, Role, RoleName, Tenancy
from gardens.refusals import InTheWay, Refused


@transaction.atomic
def hold_plot(*, plot: Plot, by: Person | None, persons: Sequence[Person], start: dt.date) -> Tenancy:
    """These persons, as one household, hold the plot from `start` on. Refused while somebody else does."""
    _lock(plot)
    _fit(start)
    running = Tenancy.objects.filter(plot=plot).filter(Q(until_day=None) | Q(until_day__gt=start))
    if other := running.select_related("household").order_by("start").first():
        raise InTheWay("held", _held(plot, other), "start")
    household = household_of(plot, persons)
    return Tenancy.objects.create(programme=plot.programme, plot=plot, household=household, start=start)


def _held(plot: Plot, other: Tenancy) -> str:
    until = f" until {in_words(other.until_day)}" if other.until_day else ""
    return f"Plot {plot.label} is held by {other.household.name} from {in_words(other.start)}{until}."


@transaction.atomic
def end_tenancy(*, tenancy: Tenancy, by: Person | None, day: dt.date) -> Tenancy:
    """`day` is the first day without them. The soil keeps its history."""
    _fit(day)
    if day <= tenancy.start:
        raise Refused("day", f"They hold it from {in_words(tenancy.start)}; the end comes after that.", "day")
    ended = (
        Tenancy.objects.filter(pk=tenancy.pk)
        .filter(Q(until_day=None) | Q(until_day__gt=day))
        .update(until_day=day)
    )
    if ended != 1:
        raise InTheWay("ended", "This time on the plot has ended already.", "day")
    tenancy.refresh_from_db()
    return tenancy


@transaction.atomic
def pass_on(*, plot: Plot, by: Person | None, persons: Sequence[Person], day: dt.date) -> Tenancy:
    """The plot changes hands on `day`: who holds it ends, the next begin. Works in mid-season."""
    _lock(plot)
    now = Tenancy.objects.filter(plot=plot).on(day).select_related("household").first()
    if now is not None:
        if {m.person_id for m in now.household.members.filter(until_day=None)} == {p.pk for p in persons}:
            raise InTheWay("same_household", "They hold it already.", "persons")
        end_tenancy(tenancy=now, by=by, day=day)
    return hold_plot(plot=plot, by=by, persons=persons, start=day)


@transaction.atomic
def join_household(
    *, household: Household, by: Person | None, person: Person, all_plots: bool = False
) -> Member:
    """One more who shares the plot and may collect for it.

    A household is one set of persons: whoever joins shares every plot that it holds or will hold. Where that is
    more than one, ``all_plots`` says that this is meant; else it is refused.
    """
    labels = [plot.label for plot in plots_of(household)]
    if len(labels) > 1 and not all_plots:
        raise Refused(
            "all_plots",
            f"{household.name} holds plots {listed(labels)}. Say that {person.name} shares them all; to share "
            "one of them only, let that plot pass to all who share it.",
            "all_plots",
        )
    member, made = Member.objects.get_or_create(
        programme=household.programme, household=household, person=person
    )
    if not made:
        member.until_day = None
        member.save(update_fields=["until_day"])
    _make_holder([person])
    _rename(household)
    return member


def plots_of(household: Household) -> list[Plot]:
    """What the household holds, now or from a day to come."""
    day = today(household.programme)
    held = Tenancy.objects.filter(household=household).filter(Q(until_day=None) | Q(until_day__gt=day))
    plots = Plot.objects.filter(pk__in=held.values("plot")).select_related("garden")
    return sorted(plots, key=lambda plot: (plot.garden.name, natural(plot.label)))


def listed(labels: Sequence[str]) -> str:
    """ "17", "17 and 18", "17, 18 and 20"."""
    *most, last = labels
    return f"{', '.join(most)} and {last}" if most else last


@transaction.atomic
def leave_household(*, member: Member, by: Person | None, day: dt.date) -> Member:
    """They no longer share the plot. The last one does not leave: the time on the plot ends instead."""
    others = Member.objects.filter(household=member.household_id, until_day=None).exclude(pk=member.pk)
    if not others.exists():
        raise InTheWay(
            "last_member", "They are the only one. End their time on the plot, or pass it on.", "day"
        )
    if Member.objects.filter(pk=member.pk, until_day=None).update(until_day=day) != 1:
        raise InTheWay("ended", "They have left already.", "day")
    _rename(member.household)
    member.refresh_from_db()
    return member


def household_of(plot: Plot, persons: Sequence[Person]) -> Household:
    """The household of exactly these persons, made if there is none yet."""
    unique = list({person.pk: person for person in persons}.values())
    if not unique:
        raise Refused("persons", "Say who holds the plot.", "persons")
    if any(person.programme_id != plot.programme_id for person in unique):
        raise Refused("other_programme", "That belongs to another programme.", "persons")
    if any(person.erased_at for person in unique):
        raise InTheWay("erased", "That person was erased.", "persons")
    wanted = {person.pk for person in unique}
    likely = Household.objects.filter(programme=plot.programme, members__person=unique[0]).distinct()
    for household in likely.prefetch_related("members"):
        if {m.person_id for m in household.members.all() if m.until_day is None} == wanted:
            return household
    household = Household.objects.create(programme=plot.programme, name=household_name(unique))
    for person in unique:
        Member.objects.create(programme=plot.programme, household=household, person=person)
    _make_holder(unique)
    return household


def _make_holder(persons: Sequence[Person]) -> None:
    """Who holds a plot is a holder: the role lets them see their own."""
    for person in persons:
        Role.objects.get_or_create(programme=person.programme, person=person, name=RoleName.HOLDER)


def _rename(household: Household) -> None:
    members = household.members.filter(until_day=None).select_related("person").order_by("id")
    household.name = household_name([m.person for m in members])
    household.save(update_fields=["name"])


def _lock(plot: Plot) -> None:
    Plot.objects.select_for_update().get(pk=plot.pk)


def _fit(day: dt.date) -> None:
    if not EARLIEST <= day <= LATEST:
        raise Refused("day", f"{in_words(day)} is too far away. Look at the year.", "day")
