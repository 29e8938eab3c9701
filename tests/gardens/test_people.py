"""Programmes, persons, roles, invitations: what stands after each act, and what does not."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core import mail
from django.utils import timezone

from gardens.actions import people as acts
from gardens.models import Invitation, Person, Programme, Role, RoleName, Tenancy, User
from gardens.refusals import InTheWay, Refused
from schedules.actions.founding import found, found_with_account

GOOD = {"name": "Ostermere", "zone": "Europe/Lisbon", "currency": "eur", "units": "metric"}
PASSWORD = "lantern-wheat-9"


def test_a_programme_begins_with_its_organiser_and_open_books(db: None) -> None:
    from blends.models import Place

    user, programme = found_with_account(
        email="Orla@X.example", password=PASSWORD, person_name="Orla", **GOOD
    )
    assert user.email == "orla@x.example" and programme.currency == "EUR"
    assert Person.objects.get(user=user).roles.get().name == RoleName.ORGANISER
    assert Place.objects.filter(programme=programme).count() == 5


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("zone", "Mars/Base"),
        ("zone", "../etc/passwd"),
        ("currency", "XXX"),
        ("currency", "euro"),
        ("units", "cubits"),
        ("name", " "),
        ("name", "x" * 121),
        ("email", "no address"),
        ("password", "123"),
        ("password", "orla@x.example"),
    ],
)
def test_nonsense_is_refused_at_its_field_and_nothing_stays(db: None, field: str, value: str) -> None:
    values = {"email": "orla@x.example", "password": PASSWORD, **GOOD, field: value}
    with pytest.raises(Refused) as refusal:
        found_with_account(**values)
    assert refusal.value.field == field
    assert not Programme.objects.exists() and not User.objects.exists()


def test_an_address_that_is_taken_is_refused(cast: Any) -> None:
    with pytest.raises(Refused, match="Sign in with it"):
        acts.sign_up(email=cast.organiser.user.email.upper(), password=PASSWORD)


def test_one_user_may_organise_two_programmes(cast: Any) -> None:
    found(user=cast.organiser.user, **GOOD)
    assert Person.objects.filter(user=cast.organiser.user).count() == 2


# Settings


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"n_cap_ug_m2": 22_400_001, "n_cap_reason": "sand"}, "n_cap_ug_m2"),
        ({"n_cap_ug_m2": 20_000_000}, "n_cap_reason"),
        ({"n_cap_ug_m2": 14_000_000, "n_cap_reason": "sand"}, "n_cap_ug_m2"),
        ({"planted_share": 0}, "planted_share"),
        ({"planted_share": 101}, "planted_share"),
        ({"week_start": 8}, "week_start"),
        ({"desk_division_mg": 0}, "desk_division_mg"),
        ({"tub_mass_mg": -1}, "tub_mass_mg"),
        ({"default_class": "greedy"}, "default_class"),
        ({"giving": "stolen"}, "giving"),
        ({"id": 7}, "id"),
    ],
)
def test_settings_that_cannot_be_are_refused(cast: Any, changes: dict[str, Any], field: str) -> None:
    with pytest.raises(Refused) as refusal:
        acts.change_programme(programme=cast.programme, by=cast.organiser, name="New", **changes)
    assert refusal.value.field == field
    assert Programme.objects.get(pk=cast.programme.pk).name == "Ostermere Shared Gardens"


def test_the_nitrogen_cap_is_lifted_with_a_reason_and_falls_back_without(cast: Any) -> None:
    act = {"programme": cast.programme, "by": cast.organiser}
    assert acts.change_programme(**act, n_cap_ug_m2=22_400_000, n_cap_reason="sand").n_cap_ug_m2 == 22_400_000
    after = acts.change_programme(**act, n_cap_ug_m2=None)
    assert after.n_cap_ug_m2 is None and after.n_cap_reason == ""


# Persons


def test_one_name_with_the_same_contact_is_one_person(cast: Any) -> None:
    acts.add_person(programme=cast.programme, by=cast.organiser, name="Ada", contact="a@x.example")
    with pytest.raises(InTheWay, match="here already"):
        acts.add_person(programme=cast.programme, by=cast.organiser, name=" ada", contact="A@x.example")


def test_one_name_without_a_contact_is_asked(cast: Any) -> None:
    acts.add_person(programme=cast.programme, by=cast.organiser, name="Ada")
    with pytest.raises(InTheWay) as refusal:
        acts.add_person(programme=cast.programme, by=cast.organiser, name="Ada", another=False)
    assert refusal.value.field == "another" and Person.objects.filter(name="Ada").count() == 1


def test_the_last_organiser_keeps_their_role(cast: Any) -> None:
    with pytest.raises(InTheWay, match="only organiser"):
        acts.take_role(person=cast.organiser, by=cast.organiser, role=RoleName.ORGANISER)
    acts.give_role(person=cast.steward, by=cast.organiser, role=RoleName.ORGANISER)
    acts.take_role(person=cast.organiser, by=cast.steward, role=RoleName.ORGANISER)
    assert not cast.organiser.roles.exists()


def test_a_change_of_roles_is_whole_or_not_at_all(cast: Any) -> None:
    with pytest.raises(InTheWay):
        acts.set_roles(person=cast.organiser, by=cast.organiser, roles={RoleName.STEWARD})
    assert set(cast.organiser.roles.values_list("name", flat=True)) == {RoleName.ORGANISER}


def test_an_organiser_who_cannot_sign_in_does_not_count(cast: Any) -> None:
    other = acts.add_person(programme=cast.programme, by=cast.organiser, name="Nia")
    acts.give_role(person=other, by=cast.organiser, role=RoleName.ORGANISER)
    with pytest.raises(InTheWay):
        acts.take_role(person=cast.organiser, by=cast.organiser, role=RoleName.ORGANISER)


def test_a_person_is_erased_in_place(cast: Any) -> None:
    user = cast.steward.user
    acts.erase_person(person=cast.steward, by=cast.organiser)
    cast.steward.refresh_from_db()
    user.refresh_from_db()
    assert (cast.steward.name, cast.steward.contact, cast.steward.user_id) == (acts.ERASED, "", None)
    assert (
        not user.is_active
        and "stevo" not in user.email
        and not Role.objects.filter(person=cast.steward).exists()
    )


def test_who_alone_holds_a_plot_is_not_erased_yet(cast: Any) -> None:
    with pytest.raises(InTheWay, match="plot 17"):
        acts.erase_person(person=cast.holder, by=cast.organiser)
    assert Person.objects.get(pk=cast.holder.pk).name == "Henna"


def test_erasing_takes_the_name_out_of_the_household(cast: Any) -> None:
    Tenancy.objects.filter(household=cast.household).update(until_day=dt.date(2026, 4, 1))
    acts.erase_person(person=cast.holder, by=cast.organiser)
    cast.household.refresh_from_db()
    assert "Henna" not in cast.household.name


# Invitations


@pytest.fixture
def guest(cast: Any) -> Person:
    return acts.add_person(programme=cast.programme, by=cast.organiser, name="Gus", contact="gus@x.example")


def ask(cast: Any, guest: Person, **more: Any) -> tuple[Invitation, str]:
    values = {"email": "Gus@x.example", "role": "steward"} | more
    return acts.invite(programme=cast.programme, by=cast.organiser, person=guest, **values)


def test_an_invitation_makes_a_user_once(cast: Any, guest: Person) -> None:
    _, secret = ask(cast, guest)
    user = acts.accept_invitation(secret=secret, password=PASSWORD)
    guest.refresh_from_db()
    assert guest.user == user and user.email == "gus@x.example" and user.check_password(PASSWORD)
    assert guest.roles.get().name == RoleName.STEWARD
    with pytest.raises(InTheWay, match="has been used"):
        acts.accept_invitation(secret=secret, password="another-one-8")
    user.refresh_from_db()
    assert user.check_password(PASSWORD)


def test_only_a_digest_of_the_secret_is_kept(cast: Any, guest: Person) -> None:
    invitation, secret = ask(cast, guest)
    assert all(
        secret not in str(value) for value in Invitation.objects.filter(pk=invitation.pk).values()[0].values()
    )


def test_it_works_for_72_hours(cast: Any, guest: Person) -> None:
    now = timezone.now()
    _, secret = ask(cast, guest, now=now)
    late = now + dt.timedelta(hours=72)
    assert acts.invitation_of(secret, late - dt.timedelta(seconds=1)) and not acts.invitation_of(secret, late)
    with pytest.raises(InTheWay):
        acts.accept_invitation(secret=secret, password=PASSWORD, now=late)
    assert not User.objects.filter(email="gus@x.example").exists()


def test_a_new_link_ends_the_old_one(cast: Any, guest: Person) -> None:
    _, old = ask(cast, guest)
    _, new = ask(cast, guest)
    assert acts.invitation_of(old) is None and acts.invitation_of(new)


def test_a_weak_password_does_not_use_the_link_up(cast: Any, guest: Person) -> None:
    _, secret = ask(cast, guest)
    with pytest.raises(Refused) as refusal:
        acts.accept_invitation(secret=secret, password="12345678")
    assert refusal.value.field == "password" and acts.invitation_of(secret)


def test_inviting_a_known_address_takes_nobodys_account_over(cast: Any, guest: Person) -> None:
    victim = acts.sign_up(email="victim@x.example", password=PASSWORD)
    _, secret = ask(cast, guest, email="victim@x.example")
    with pytest.raises(Refused, match="own password"):
        acts.accept_invitation(secret=secret, password="the-attackers-1")
    victim.refresh_from_db()
    assert victim.check_password(PASSWORD) and acts.invitation_of(secret)
    assert acts.accept_invitation(secret=secret, password=PASSWORD) == victim


def test_an_address_of_the_programme_is_not_invited_again(cast: Any, guest: Person) -> None:
    with pytest.raises(InTheWay, match="signs in with that address"):
        ask(cast, guest, email=cast.steward.user.email)


def test_the_mail_goes_when_the_act_stands(
    cast: Any, guest: Person, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True) as callbacks:
        _, secret = ask(cast, guest, base="https://gardens.example")
        assert not mail.outbox
    assert len(callbacks) == 1
    (letter,) = mail.outbox
    assert letter.to == ["gus@x.example"] and f"https://gardens.example/invitation/{secret}/" in letter.body
