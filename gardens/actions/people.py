"""Acts on programmes, persons, roles and invitations. Who may is the caller's business (`gardens.access`)."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
import zoneinfo
from typing import Any

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.core.validators import validate_email
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from gardens.clock import today
from gardens.currencies import CODES
from gardens.models import (
    FeederClass,
    Giving,
    Invitation,
    Member,
    Person,
    Programme,
    Role,
    RoleName,
    Tenancy,
    Units,
    User,
)
from gardens.refusals import InTheWay, Refused
from gardens.words import one_line

N_CAP_MOST_UG = 22_400_000
"""µg N per m2 in 48 weeks, the most that a reason can lift the soil's cap to (2-science, step 7)."""
N_CAP_HOUSE_UG = 14_647_294
"""3 lb/1000 ft2, the soil's cap where nothing is lifted."""
ERASED = "erased person"
CHANGEABLE = {
    "name", "zone", "currency", "units", "week_start", "planted_share", "default_class", "tub_mass_mg",
    "desk_division_mg", "emergency", "poison_line", "giving", "authority_asked_by", "authority_asked_on",
    "authority_answer", "n_cap_ug_m2", "n_cap_reason",
}  # fmt: skip


# Accounts


@transaction.atomic
def sign_up(*, email: str, password: str) -> User:
    """A new account. An address that is taken is refused without a word about whose it is."""
    email = _email(email)
    if User.objects.filter(email=email).exists():
        raise Refused(
            "email_taken", "There is an account with this address already. Sign in with it.", "email"
        )
    _fit_password(password, User(email=email))
    return User.objects.create_user(email, password)


# Programmes


@transaction.atomic
def start_programme(
    *, user: User, name: str, zone: str, currency: str, units: str, person_name: str = "", **more: Any
) -> Programme:
    """A programme with the user as its organiser. The ledger's books are opened a floor above (`found`)."""
    values = {"name": name, "zone": zone, "currency": currency, "units": units, **more}
    programme = Programme.objects.create(**_programme_values(values))
    shown = person_name.strip() or user.email.partition("@")[0]
    person = Person.objects.create(
        programme=programme, user=user, name=one_line(shown, 160, "person_name"), contact=user.email
    )
    Role.objects.create(programme=programme, person=person, name=RoleName.ORGANISER)
    return programme


@transaction.atomic
def change_programme(*, programme: Programme, by: Person, **changes: Any) -> Programme:
    """Change any of CHANGEABLE. A lifted nitrogen cap needs its reason."""
    now = Programme.objects.select_for_update().get(pk=programme.pk)
    values = _programme_values(changes)
    cap = values.get("n_cap_ug_m2", now.n_cap_ug_m2)
    if cap is None:
        values["n_cap_reason"] = ""
    else:
        _fit_cap(cap, values.get("n_cap_reason", now.n_cap_reason))
    for field, value in values.items():
        setattr(now, field, value)
    now.save(update_fields=sorted(values))
    return now


def _fit_cap(cap: int, reason: str) -> None:
    if cap > N_CAP_MOST_UG:
        raise Refused(
            "n_cap", "No reason lifts nitrogen above 22.4 g/m² in 48 weeks. As in “20 g/m²”.", "n_cap_ug_m2"
        )
    if cap <= N_CAP_HOUSE_UG:
        raise Refused(
            "n_cap", "The limit is 14.65 g/m² already; leave this empty, or write more.", "n_cap_ug_m2"
        )
    if not reason:
        raise Refused("n_cap_reason", "Say why more nitrogen is right here.", "n_cap_reason")


def _programme_values(values: dict[str, Any]) -> dict[str, Any]:
    """The values, each checked; a refusal names its field."""
    checked: dict[str, Any] = {}
    for field, value in values.items():
        if field not in CHANGEABLE:
            raise Refused("unknown_field", f"A programme has no “{field}”.", field)
        checked[field] = _programme_value(field, value)
    return checked


def _programme_value(field: str, value: Any) -> Any:
    match field:
        case "name":
            return one_line(value, 120, field)
        case "zone":
            if value not in zoneinfo.available_timezones():
                raise Refused("zone", "That time zone is not known. As in “Europe/Lisbon”.", field)
        case "currency":
            value = str(value).strip().upper()
            if value not in CODES:
                raise Refused("currency", "A currency is three letters, as in “EUR” or “USD”.", field)
        case "units" | "default_class" | "giving":
            known = {"units": Units, "default_class": FeederClass, "giving": Giving}[field]
            if value not in known.values:
                raise Refused(field, "Choose one of the answers.", field)
        case "planted_share":
            if not 1 <= value <= 100:
                raise Refused(field, "A share is from 1 to 100 percent.", field)
        case "week_start":
            if not 1 <= value <= 7:
                raise Refused(field, "Choose one of the seven days.", field)
        case "tub_mass_mg":
            if not 0 <= value <= 5_000_000:
                raise Refused(field, "An empty tub weighs up to 5 kg here. As in “58 g”.", field)
        case "desk_division_mg":
            if not 1 <= value <= 100_000:
                raise Refused(field, "The division of a desk scale is up to 100 g. As in “1 g”.", field)
        case "n_cap_reason":
            return str(value).strip()[:400]
        case "emergency" | "poison_line" | "authority_asked_by":
            return one_line(value, 120, field, may_be_empty=True)
    return value


# Persons and roles


@transaction.atomic
def add_person(
    *, programme: Programme, by: Person | None, name: str, contact: str = "", another: bool = True
) -> Person:
    """A person of the programme. One name with the same contact is one person; one name without is asked:
    `another` says that it is somebody else."""
    name, contact = one_line(name, 160, "name"), one_line(contact, 254, "contact", may_be_empty=True)
    here = Person.objects.filter(programme=programme, erased_at=None)
    same = [p for p in here if p.name.casefold() == name.casefold()]
    if contact and any(p.contact.casefold() == contact.casefold() for p in same):
        raise InTheWay("same_person", f"{name} with this contact is here already.", "name")
    if same and not another:
        raise InTheWay(
            "same_name", f"There is a {name} here already. If this is somebody else, say so below.", "another"
        )
    return Person.objects.create(programme=programme, name=name, contact=contact)


@transaction.atomic
def change_person(*, person: Person, by: Person, name: str, contact: str = "") -> Person:
    person.name = one_line(name, 160, "name")
    person.contact = one_line(contact, 254, "contact", may_be_empty=True)
    person.save(update_fields=["name", "contact"])
    return person


@transaction.atomic
def give_role(*, person: Person, by: Person, role: str) -> Role:
    if role not in RoleName.values:
        raise Refused("role", "Choose one of the roles.", "role")
    if person.erased_at:
        raise InTheWay("erased", "This person was erased.", "roles")
    return Role.objects.get_or_create(programme=person.programme, person=person, name=role)[0]


@transaction.atomic
def take_role(*, person: Person, by: Person, role: str) -> None:
    """Take a role away; the last organiser who can sign in keeps theirs."""
    _lock(person.programme)
    if role == RoleName.ORGANISER:
        _not_the_last_organiser(person)
    Role.objects.filter(person=person, name=role).delete()


@transaction.atomic
def set_roles(*, person: Person, by: Person, roles: set[str]) -> Person:
    """Exactly these roles from now on, all or none of the change."""
    has = set(person.roles.values_list("name", flat=True))
    for role in sorted(roles - has):
        give_role(person=person, by=by, role=role)
    for role in sorted(has - roles):
        take_role(person=person, by=by, role=role)
    return person


def _not_the_last_organiser(person: Person) -> None:
    others = Role.objects.filter(
        programme=person.programme,
        name=RoleName.ORGANISER,
        person__user__is_active=True,
        person__erased_at=None,
    ).exclude(person=person)
    if person.roles.filter(name=RoleName.ORGANISER).exists() and not others.exists():
        raise InTheWay(
            "last_organiser",
            f"{person.name} is the only organiser who can sign in. Name another one first.",
            "role",
        )


@transaction.atomic
def erase_person(*, person: Person, by: Person, now: dt.datetime | None = None) -> Person:
    """Erase a person in place: name, contact, note and account go, what they weighed and collected stays."""
    _lock(person.programme)
    _not_the_last_organiser(person)
    day = today(person.programme, now)
    alone = (
        Tenancy.objects.filter(household__members__person=person, household__members__until_day=None)
        .exclude(household__members__in=_others(person))
        .on(day)
        .select_related("plot")
        .first()
    )
    if alone:
        raise InTheWay(
            "holds_plot",
            f"{person.name} alone holds plot {alone.plot.label}. End that or pass it on first.",
            "erase",
        )
    _erase_account(person)
    for membership in person.memberships.select_related("household"):
        household = membership.household
        left = household.members.filter(until_day=None).exclude(person=person).select_related("person")
        household.name = household_name([m.person for m in left])
        household.save(update_fields=["name"])
    person.memberships.filter(until_day=None).update(until_day=day)
    person.roles.all().delete()
    person.invitations.update(email="", expires_at=now or timezone.now())
    person.name, person.contact, person.note, person.user = ERASED, "", "", None
    person.erased_at = now or timezone.now()
    person.save(update_fields=["name", "contact", "note", "user", "erased_at"])
    return person


def _others(person: Person) -> Any:
    return Member.objects.filter(programme=person.programme, until_day=None).exclude(person=person)


def _erase_account(person: Person) -> None:
    """The account goes with the last programme that knew it."""
    user = person.user
    if user is None or user.persons.exclude(pk=person.pk).exists():
        return
    user.email, user.is_active = f"erased-{user.pk}@erased.invalid", False
    user.set_unusable_password()
    user.save(update_fields=["email", "is_active", "password"])


def household_name(persons: list[Person]) -> str:
    """ "Anna Berg", "Anna Berg and Ali Can", "Anna Berg and 3 others"."""
    names = [person.name for person in persons]
    if not names:
        return ERASED
    if len(names) == 1:
        return names[0][:160]
    joined = f"{names[0]} and {names[1]}"
    if len(names) == 2 and len(joined) <= 160:
        return joined
    return f"{names[0][:140]} and {len(names) - 1} other{'s' if len(names) > 2 else ''}"


# Invitations


@transaction.atomic
def invite(
    *,
    programme: Programme,
    by: Person,
    person: Person,
    email: str,
    role: str,
    base: str = "",
    now: dt.datetime | None = None,
) -> tuple[Invitation, str]:
    """A link that works once, for 72 hours; older links of this person stop working. Returns its secret too.

    With `base` ("https://host") the link is sent by e-mail on commit. Only a digest is stored.
    """
    now = now or timezone.now()
    email = _email(email)
    if role not in RoleName.values:
        raise Refused("role", "Choose one of the roles.", "role")
    if person.erased_at or person.user_id:
        raise InTheWay("signs_in", f"{person.name} can sign in already.", "email")
    if Person.objects.filter(programme=programme, user__email=email).exists():
        raise InTheWay("email_known", "Somebody of this programme signs in with that address.", "email")
    person.invitations.filter(used_at=None, expires_at__gt=now).update(expires_at=now)
    secret = secrets.token_urlsafe(24)
    invitation = Invitation.objects.create(
        programme=programme,
        person=person,
        role=role,
        email=email,
        digest=_digest(secret),
        expires_at=now + dt.timedelta(hours=settings.INVITATION_HOURS),
        invited_by=by,
    )
    if base:
        link = base + reverse("invitation", args=[secret])
        transaction.on_commit(lambda: _send(invitation, link), robust=True)
    return invitation, secret


def invitation_of(secret: str, now: dt.datetime | None = None) -> Invitation | None:
    """The invitation that this secret opens, if it is unused and in time."""
    return (
        Invitation.objects.filter(digest=_digest(secret), used_at=None, expires_at__gt=now or timezone.now())
        .select_related("programme", "person", "invited_by")
        .first()
    )


@transaction.atomic
def accept_invitation(*, secret: str, password: str, now: dt.datetime | None = None) -> User:
    """Use the link. A new address gets an account with this password; a known one must give its own password,
    so that nobody takes over an account by inviting its address."""
    now = now or timezone.now()
    used = Invitation.objects.filter(digest=_digest(secret), used_at=None, expires_at__gt=now).update(
        used_at=now
    )
    if used != 1:
        raise InTheWay("invitation_over", "This invitation has been used, or its time is over.")
    invitation = Invitation.objects.select_related("person", "programme").get(digest=_digest(secret))
    user = _user_for(invitation.email, password)
    if Person.objects.filter(programme=invitation.programme, user=user).exists():
        raise InTheWay("email_known", "Somebody of this programme signs in with that address.", "password")
    if Person.objects.filter(pk=invitation.person_id, user=None, erased_at=None).update(user=user) != 1:
        raise InTheWay("signs_in", "You can sign in already.")
    Role.objects.get_or_create(
        programme=invitation.programme, person_id=invitation.person_id, name=invitation.role
    )
    return user


def _user_for(email: str, password: str) -> User:
    user = User.objects.filter(email=email).first()
    if user is None:
        _fit_password(password, User(email=email))
        return User.objects.create_user(email, password)
    if not user.is_active or not user.check_password(password):
        raise Refused(
            "password", "This address has an account already: its own password is wanted here.", "password"
        )
    return user


def _send(invitation: Invitation, link: str) -> None:
    programme = invitation.programme
    send_mail(
        f"{programme.name} asks you in",
        f"{invitation.invited_by.name} asks you into {programme.name}, "
        f"as {invitation.get_role_display()}.\n\n"
        f"Choose a password here:\n\n{link}\n\n"
        f"The link works once, for {settings.INVITATION_HOURS} hours. If you do not know what this is about, "
        "do nothing.\n",
        None,
        [invitation.email],
    )


# Words


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _lock(programme: Programme) -> None:
    Programme.objects.select_for_update().get(pk=programme.pk)


def _email(text: str) -> str:
    text = text.strip().lower()
    try:
        validate_email(text)
    except ValidationError:
        raise Refused("email", "That is no e-mail address. As in “anna@example.org”.", "email") from None
    if len(text) > 254:
        raise Refused("email", "That is too long for an e-mail address.", "email")
    return text


def _fit_password(password: str, user: User) -> None:
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise Refused("password", " ".join(error.messages), "password") from None
