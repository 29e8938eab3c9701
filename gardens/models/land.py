"""Where: gardens, plots, beds, what grows on them, and whose they are at what time."""

from __future__ import annotations

import datetime as dt

from django.db import models
from django.utils.translation import gettext_lazy as _

from gardens.constraints import wall
from gardens.fields import AreaField, LengthField
from gardens.models.people import Person, Walled


class Garden(Walled):
    """A site, with the dates of its growing season."""

    name = models.CharField(_("name"), max_length=120)
    last_frost = models.DateField(_("last frost of spring"))
    first_frost = models.DateField(_("first frost of autumn"))
    first_feed = models.DateField(_("first day of the first feeding week"))
    last_feed = models.DateField(_("first day of the last feeding week"))

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            *wall(),
            models.UniqueConstraint(fields=["programme", "name"], name="%(app_label)s_%(class)s_name"),
            models.CheckConstraint(
                condition=models.Q(
                    last_feed__gte=models.F("first_feed"), first_frost__gt=models.F("last_frost")
                ),
                name="%(app_label)s_%(class)s_season",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Feeding(models.TextChoices):
    BLEND = "blend", _("the shared blend")
    NONE = "none", _("none")
    NOTHING = "nothing", _("nothing grows here")


class Fed(Walled):
    """Whether this piece of ground gets the blend; *none* says why."""

    feeding = models.CharField(max_length=8, choices=Feeding.choices, default=Feeding.BLEND)
    feeding_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        abstract = True


def _none_has_a_reason() -> models.CheckConstraint:
    return models.CheckConstraint(
        condition=~models.Q(feeding="none") | ~models.Q(feeding_reason=""),
        name="%(app_label)s_%(class)s_none_reason",
        violation_error_message=_("Say why nothing of the blend goes here."),
    )


class Plot(Fed):
    """A numbered piece of a garden."""

    garden = models.ForeignKey(Garden, on_delete=models.PROTECT, related_name="plots")
    label = models.CharField(_("number"), max_length=40)
    size_text = models.CharField(max_length=80, blank=True)
    area_mm2 = AreaField(null=True, blank=True)
    until_day = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["garden__name", "label", "id"]
        constraints = [
            *wall("garden"),
            models.UniqueConstraint(fields=["garden", "label"], name="%(app_label)s_%(class)s_label"),
            models.CheckConstraint(
                condition=models.Q(area_mm2__isnull=True) | models.Q(area_mm2__gt=0),
                name="%(app_label)s_%(class)s_area",
            ),
            _none_has_a_reason(),
        ]

    def __str__(self) -> str:
        return f"{self.label}, {self.garden.name}"


class Shape(models.TextChoices):
    RECTANGLE = "rectangle", _("rectangle")
    CIRCLE = "circle", _("circle")
    ROW = "row", _("row")
    POT = "pot", _("pot")
    AREA = "area", _("other shape, by its area")


class Bed(Fed):
    """A growing surface in a plot, or several equal pots."""

    plot = models.ForeignKey(Plot, on_delete=models.PROTECT, related_name="beds")
    name = models.CharField(_("name"), max_length=80)
    size_text = models.CharField(_("size as written"), max_length=80)
    shape = models.CharField(max_length=10, choices=Shape.choices)
    count = models.PositiveSmallIntegerField(default=1)
    a_mm = LengthField(null=True, blank=True)
    b_mm = LengthField(null=True, blank=True)
    area_mm2 = AreaField()  # of all `count` together
    drains = models.BooleanField(_("water drains out below"), default=True)
    until_day = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["plot_id", "name", "id"]
        constraints = [
            *wall("plot"),
            models.UniqueConstraint(fields=["plot", "name"], name="%(app_label)s_%(class)s_name"),
            models.CheckConstraint(
                condition=models.Q(area_mm2__gt=0, count__gt=0), name="%(app_label)s_%(class)s_area"
            ),
            _none_has_a_reason(),
        ]

    def __str__(self) -> str:
        return f"{self.name}, plot {self.plot.label}"

    @property
    def is_pot(self) -> bool:
        return self.shape == Shape.POT


class Planting(Walled):
    """A crop on a bed, or on part of it, from a day on. ``crop_code`` is empty for a crop the catalogue lacks."""

    bed = models.ForeignKey(Bed, on_delete=models.PROTECT, related_name="plantings")
    crop_code = models.CharField(max_length=40, blank=True)
    crop_version = models.CharField(max_length=20, blank=True)
    crop_name = models.CharField(_("crop"), max_length=80)
    sown = models.BooleanField(_("sown in place"), default=False)
    day = models.DateField(_("sown or transplanted on"))
    ends_on = models.DateField(_("expected end"), null=True, blank=True)
    share = models.PositiveSmallIntegerField(_("share of the bed, percent"), default=100)
    feed_on_request = models.BooleanField(_("peas and beans: one feed asked for"), default=False)
    registered_at = models.DateTimeField(auto_now_add=True)
    until_day = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["bed_id", "day", "id"]
        constraints = [
            *wall("bed"),
            models.CheckConstraint(
                condition=models.Q(share__gte=1, share__lte=100), name="%(app_label)s_%(class)s_share"
            ),
            models.CheckConstraint(
                condition=models.Q(ends_on__isnull=True) | models.Q(ends_on__gt=models.F("day")),
                name="%(app_label)s_%(class)s_days",
                violation_error_message=_("The end comes before the planting day."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.crop_name} on {self.bed}"


class Household(Walled):
    """Those who share a plot; any of them collects for it."""

    name = models.CharField(max_length=160)

    class Meta:
        ordering = ["name", "id"]
        constraints = wall()

    def __str__(self) -> str:
        return self.name


class Member(Walled):
    """A person in a household."""

    household = models.ForeignKey(Household, on_delete=models.PROTECT, related_name="members")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="memberships")
    until_day = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            *wall("household", "person"),
            models.UniqueConstraint(fields=["household", "person"], name="%(app_label)s_%(class)s_once"),
        ]


class TenancyQuerySet(models.QuerySet["Tenancy"]):
    def on(self, day: dt.date) -> TenancyQuerySet:
        return self.filter(start__lte=day).filter(
            models.Q(until_day__isnull=True) | models.Q(until_day__gt=day)
        )

    def touching(self, first: dt.date, last: dt.date) -> TenancyQuerySet:
        """Those with a day in first … last, both included."""
        return self.filter(start__lte=last).filter(
            models.Q(until_day__isnull=True) | models.Q(until_day__gt=first)
        )


class Tenancy(Walled):
    """The time a household holds a plot: from ``start``, up to but without ``until_day``."""

    plot = models.ForeignKey(Plot, on_delete=models.PROTECT, related_name="tenancies")
    household = models.ForeignKey(Household, on_delete=models.PROTECT, related_name="tenancies")
    start = models.DateField(_("from"))
    until_day = models.DateField(_("until"), null=True, blank=True)

    objects = TenancyQuerySet.as_manager()

    class Meta:
        ordering = ["plot_id", "start", "id"]
        constraints = [
            *wall("plot", "household"),
            models.CheckConstraint(
                condition=models.Q(until_day__isnull=True) | models.Q(until_day__gt=models.F("start")),
                name="%(app_label)s_%(class)s_days",
                violation_error_message=_("The end comes before the start."),
            ),
            models.UniqueConstraint(
                fields=["plot", "household", "start"], name="%(app_label)s_%(class)s_once"
            ),
        ]
