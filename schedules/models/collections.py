"""Who took how much home, and what was fed."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from blends.models import Pail, Ticket
from gardens.constraints import append_only, wall
from gardens.fields import MassField
from gardens.models import Bed, Person, Planting, Plot, Walled
from schedules.models.rounds import Portion


class CollectionQuerySet(models.QuerySet["Collection"]):
    def standing(self) -> CollectionQuerySet:
        """Those not taken back by a reversal."""
        return self.filter(ticket__reversed_by__isnull=True)


class Collection(Walled):
    """Mass handed over, to whom, by whom, when: the reading as typed. The booked mass is the ticket's."""

    ticket = models.OneToOneField(Ticket, on_delete=models.PROTECT, related_name="collection")
    portion = models.ForeignKey(Portion, on_delete=models.PROTECT, related_name="collections")
    pail = models.ForeignKey(Pail, on_delete=models.PROTECT, related_name="+")
    collected_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    reading_mg = MassField()  # on the scale
    tare_mg = MassField(default=0)  # tub, and what was in it, when the reading was with the tub
    home_mg = MassField(default=0)  # still at home, as answered
    question = models.CharField(max_length=20, blank=True)
    question_reason = models.CharField(max_length=300, blank=True)

    objects = CollectionQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            *wall("ticket", "portion", "pail", "collected_by"),
            append_only(),
            models.CheckConstraint(
                condition=Q(reading_mg__gt=models.F("tare_mg"), tare_mg__gte=0, home_mg__gte=0),
                name="%(app_label)s_%(class)s_net",
            ),
        ]

    @property
    def net_mg(self) -> int:
        """What the scale says was handed over: the ticket's line into the tub, to the milligram."""
        return int(self.reading_mg - self.tare_mg)


class LogKind(models.TextChoices):
    FED = "fed", _("fed")
    SKIPPED = "skipped", _("skipped")
    EXTRA = "extra", _("extra")


class FeedLog(Walled):
    """What a holder says happened on a bed. Saying nothing counts as fed; undoing keeps the entry, undone."""

    plot = models.ForeignKey(Plot, on_delete=models.PROTECT, related_name="+")
    bed = models.ForeignKey(Bed, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    planting = models.ForeignKey(
        Planting, on_delete=models.PROTECT, null=True, blank=True, related_name="logs"
    )
    kind = models.CharField(max_length=8, choices=LogKind.choices)
    day = models.DateField()  # the feed's day
    mass_mg = MassField(default=0)  # of an extra
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            *wall("plot", "bed", "planting", "by", "undone_by"),
            models.CheckConstraint(
                condition=Q(kind="extra", mass_mg__gt=0) | (~Q(kind="extra") & Q(mass_mg=0)),
                name="%(app_label)s_%(class)s_mass",
            ),
        ]


class OwnRate(Walled):
    """The organiser's own rate for one planting: replaces steps 1 to 5, is cut by 6 and 7."""

    planting = models.OneToOneField(Planting, on_delete=models.PROTECT, related_name="own_rate")
    written = models.CharField(max_length=120)  # as typed
    of = models.CharField(max_length=10, choices=[("blend", _("blend")), ("nitrogen", _("nitrogen"))])
    per = models.CharField(
        max_length=8,
        choices=[("area", _("area")), ("row", _("row")), ("plant", _("plant")), ("litre", _("litre of mix"))],
    )
    ug_m2 = models.BigIntegerField()  # per feed, normalised to the planting's area, µg/m2
    first_day = models.DateField()
    feeds = models.PositiveSmallIntegerField(default=1)
    every_weeks = models.PositiveSmallIntegerField(default=1)
    reason = models.CharField(max_length=400)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            *wall("planting", "by"),
            models.CheckConstraint(
                condition=Q(ug_m2__gt=0, feeds__gte=1, every_weeks__gte=1),
                name="%(app_label)s_%(class)s_amounts",
            ),
        ]


class CapLift(Walled):
    """One named cap, lifted for one planting or one garden, by name and with a reason."""

    cap = models.CharField(
        max_length=16,
        choices=[
            ("feed_n", _("nitrogen per feed")),
            ("feed_mass", _("blend per feed")),
            ("soil_n", _("nitrogen per soil")),
            ("soil_b", _("boron per soil")),
        ],
    )
    planting = models.ForeignKey(
        Planting, on_delete=models.PROTECT, null=True, blank=True, related_name="lifts"
    )
    garden = models.ForeignKey(
        "gardens.Garden", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    to_ug_m2 = models.BigIntegerField()  # the new cap, µg/m2
    reason = models.CharField(max_length=400)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            *wall("planting", "garden", "by"),
            models.CheckConstraint(
                condition=Q(planting__isnull=False, garden__isnull=True)
                | Q(planting__isnull=True, garden__isnull=False),
                name="%(app_label)s_%(class)s_of",
            ),
            models.CheckConstraint(
                condition=(Q(to_ug_m2__gt=0) & ~Q(reason=""))
                & (~Q(cap="soil_n") | Q(to_ug_m2__lte=22_400_000))
                & (~Q(cap="soil_b") | Q(to_ug_m2__lte=340_000)),
                name="%(app_label)s_%(class)s_limits",
            ),
        ]
