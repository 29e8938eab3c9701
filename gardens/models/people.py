"""Who: users sign in; persons belong to a programme, whether they ever sign in or not."""

from __future__ import annotations

from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from gardens.constraints import wall
from gardens.fields import MassField


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, password: str | None = None, **extra: Any) -> User:
        user = self.model(email=self.normalize_email(email).lower(), **extra)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, username: str | None) -> User:
        return self.get(email=(username or "").lower())


class User(AbstractBaseUser):
    """Somebody who can sign in, by e-mail. What they may do hangs on the person they are in a programme."""

    email = models.EmailField(_("e-mail"), max_length=254, unique=True)
    is_active = models.BooleanField(default=True)
    joined_at = models.DateTimeField(auto_now_add=True)

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    objects = UserManager()

    class Meta:
        constraints = [models.UniqueConstraint(Lower("email"), name="%(app_label)s_%(class)s_email")]

    def __str__(self) -> str:
        return self.email

    def clean(self) -> None:
        super().clean()
        self.email = self.email.lower()


class Units(models.TextChoices):
    METRIC = "metric", _("metric (g, kg, m)")
    US = "us", _("US customary (oz, lb, ft)")


class FeederClass(models.TextChoices):
    HEAVY = "heavy", _("heavy feeder")
    MEDIUM = "medium", _("medium feeder")
    LIGHT = "light", _("light feeder")


class Giving(models.TextChoices):
    """How the blend reaches the holders; it may make the programme a distributor in law."""

    POOLED = "pooled", _("members buy it together")
    GIVEN = "given", _("it is given away")
    SOLD = "sold", _("it is sold")


class Programme(models.Model):
    """The body that runs one or more gardens. Nothing crosses its wall."""

    name = models.CharField(_("name"), max_length=120)
    zone = models.CharField(_("time zone"), max_length=64, default="UTC")
    currency = models.CharField(_("currency"), max_length=3, default="EUR")
    units = models.CharField(_("units"), max_length=8, choices=Units.choices, default=Units.METRIC)
    week_start = models.PositiveSmallIntegerField(_("week starts on"), default=1)
    planted_share = models.PositiveSmallIntegerField(_("planted share of a plot, percent"), default=60)
    default_class = models.CharField(max_length=8, choices=FeederClass.choices, default=FeederClass.MEDIUM)
    tub_mass_mg = MassField(_("mass of one empty tub"), default=0)
    desk_division_mg = MassField(_("division of the desk scale"), default=1000)
    emergency = models.CharField(_("emergency number"), max_length=120, blank=True)
    poison_line = models.CharField(_("poison line"), max_length=120, blank=True)
    giving = models.CharField(max_length=8, choices=Giving.choices, default=Giving.POOLED)
    authority_asked_by = models.CharField(max_length=120, blank=True)
    authority_asked_on = models.DateField(null=True, blank=True)
    authority_answer = models.TextField(blank=True)
    n_cap_ug_m2 = models.BigIntegerField(
        null=True, blank=True
    )  # lifted soil cap of nitrogen, µg/m2 in 48 weeks
    n_cap_reason = models.CharField(max_length=400, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(planted_share__gte=1, planted_share__lte=100),
                name="gardens_programme_share",
            ),
            models.CheckConstraint(
                condition=models.Q(week_start__gte=1, week_start__lte=7), name="gardens_programme_week_start"
            ),
            models.CheckConstraint(
                condition=models.Q(desk_division_mg__gt=0, tub_mass_mg__gte=0),
                name="gardens_programme_masses",
            ),
            models.CheckConstraint(
                condition=models.Q(n_cap_ug_m2__isnull=True)
                | (models.Q(n_cap_ug_m2__lte=22_400_000) & ~models.Q(n_cap_reason="")),
                name="gardens_programme_n_cap",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Walled(models.Model):
    """A row behind the programme's wall."""

    programme = models.ForeignKey(Programme, on_delete=models.PROTECT, related_name="+")

    class Meta:
        abstract = True


class Person(Walled):
    """A person of one programme; ``user`` is empty for those who never sign in. Erased in place, never deleted."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="persons")
    name = models.CharField(_("name"), max_length=160)
    contact = models.CharField(_("e-mail or telephone"), max_length=254, blank=True)
    note = models.CharField(max_length=400, blank=True)
    erased_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            *wall(),
            models.UniqueConstraint(
                fields=["programme", "user"],
                condition=models.Q(user__isnull=False),
                name="%(app_label)s_%(class)s_one_per_user",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class RoleName(models.TextChoices):
    ORGANISER = "organiser", _("organiser")
    STEWARD = "steward", _("steward")
    HOLDER = "holder", _("holder")
    AUDITOR = "auditor", _("auditor")


class Role(Walled):
    """What a person is in the programme; a person may be several things."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="roles")
    name = models.CharField(max_length=10, choices=RoleName.choices)

    class Meta:
        constraints = [
            *wall("person"),
            models.UniqueConstraint(fields=["person", "name"], name="%(app_label)s_%(class)s_once"),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.name}"


class Invitation(Walled):
    """A link that makes one person a user, once, for a short while. Only a digest of its secret is kept."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="invitations")
    role = models.CharField(max_length=10, choices=RoleName.choices)
    email = models.EmailField(max_length=254)
    digest = models.CharField(max_length=64, unique=True)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    invited_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = wall("person", "invited_by")
