"""The mixing day: crew, scales, batches, pails, weigh-outs, and what was decided about each pail."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from blends.models.ledger import Place, Ticket
from blends.models.materials import Lot
from blends.models.recipes import Component, Revision
from gardens.constraints import append_only, wall
from gardens.fields import MassField
from gardens.models import Garden, Person, Walled


class DayState(models.TextChoices):
    OPEN = "open", _("open")
    CLOSED = "closed", _("closed")


class MixingDay(Walled):
    """The event: a place, a day, its crew, batches and desk. Counted and finished, it is closed."""

    garden = models.ForeignKey(Garden, on_delete=models.PROTECT, related_name="+")
    day = models.DateField(_("day"))
    starts_at = models.TimeField(_("from"), null=True, blank=True)
    state = models.CharField(max_length=8, choices=DayState.choices, default=DayState.OPEN)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-day", "-id"]
        constraints = [
            *wall("garden", "closed_by"),
            models.UniqueConstraint(
                fields=["programme", "garden", "day"], name="%(app_label)s_%(class)s_one_per_garden"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.day:%d.%m.%Y}"

    @property
    def is_open(self) -> bool:
        return self.state == DayState.OPEN


class Crew(Walled):
    """A steward of the day."""

    day = models.ForeignKey(MixingDay, on_delete=models.PROTECT, related_name="crew")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            *wall("day", "person"),
            models.UniqueConstraint(fields=["day", "person"], name="%(app_label)s_%(class)s_once"),
        ]


class SafetyTick(Walled):
    """One point of the safety list, seen to by somebody, before the first weigh-out."""

    day = models.ForeignKey(MixingDay, on_delete=models.PROTECT, related_name="ticks")
    point = models.CharField(max_length=40)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            *wall("day", "by"),
            models.UniqueConstraint(fields=["day", "point"], name="%(app_label)s_%(class)s_once"),
        ]


class Scale(Walled):
    """A named scale: smallest step, smallest and largest load."""

    name = models.CharField(_("name"), max_length=60)
    division_mg = MassField(_("division"))
    min_mg = MassField(_("minimum load"), default=0)
    max_mg = MassField(_("maximum load"))
    retired = models.BooleanField(default=False)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            *wall(),
            models.UniqueConstraint(fields=["programme", "name"], name="%(app_label)s_%(class)s_name"),
            models.CheckConstraint(
                condition=models.Q(division_mg__gt=0, min_mg__gte=0, max_mg__gt=models.F("min_mg")),
                name="%(app_label)s_%(class)s_loads",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Batch(Walled):
    """One revision mixed in a stated mass, in equal pails."""

    day = models.ForeignKey(MixingDay, on_delete=models.PROTECT, related_name="batches")
    number = models.PositiveIntegerField()
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    mass_mg = MassField()
    ten_scoops_mg = MassField(null=True, blank=True)  # what ten struck scoops weigh
    scoop_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-number"]
        verbose_name_plural = "batches"
        constraints = [
            *wall("day", "revision", "scoop_by"),
            models.UniqueConstraint(fields=["programme", "number"], name="%(app_label)s_%(class)s_number"),
            models.CheckConstraint(condition=models.Q(mass_mg__gt=0), name="%(app_label)s_%(class)s_mass"),
        ]

    def __str__(self) -> str:
        return f"batch {self.number}"


class Pail(Walled):
    """One of the equal containers a batch is mixed in; its mass and gate stand on its place."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="pails")
    number = models.PositiveSmallIntegerField()
    target_mg = MassField()

    class Meta:
        ordering = ["batch_id", "number"]
        constraints = [
            *wall("batch"),
            models.UniqueConstraint(fields=["batch", "number"], name="%(app_label)s_%(class)s_number"),
        ]

    def __str__(self) -> str:
        return f"pail {self.number} of batch {self.batch.number}"


class PailTarget(Walled):
    """What of one component is wanted in one pail, rounded to the division of its scale."""

    pail = models.ForeignKey(Pail, on_delete=models.PROTECT, related_name="targets")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="+")
    scale = models.ForeignKey(Scale, on_delete=models.PROTECT, related_name="+")
    position = models.PositiveSmallIntegerField()  # the order of weighing
    target_mg = MassField()

    class Meta:
        ordering = ["pail_id", "position"]
        constraints = [
            *wall("pail", "component", "scale"),
            models.UniqueConstraint(fields=["pail", "component"], name="%(app_label)s_%(class)s_once"),
        ]


class WeighOut(Walled):
    """One component weighed into one pail, as read. The booked mass is the ticket's; a reversed ticket undoes it."""

    ticket = models.OneToOneField(Ticket, on_delete=models.PROTECT, related_name="weigh_out")
    pail = models.ForeignKey(Pail, on_delete=models.PROTECT, related_name="weigh_outs")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="+")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+")
    scale = models.ForeignKey(Scale, on_delete=models.PROTECT, related_name="+")
    target_mg = MassField()
    gross_mg = MassField()
    tare_mg = MassField(default=0)
    witness = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    alone = models.BooleanField(default=False)
    question = models.CharField(max_length=40, blank=True)  # the code of what was asked about the reading
    question_reason = models.CharField(max_length=400, blank=True)  # why it was kept nevertheless

    class Meta:
        ordering = ["id"]
        constraints = [
            *wall("ticket", "pail", "component", "lot", "scale", "witness"),
            append_only(),
            models.CheckConstraint(
                condition=models.Q(gross_mg__gt=models.F("tare_mg"), tare_mg__gte=0),
                name="%(app_label)s_%(class)s_net",
            ),
        ]

    @property
    def net_mg(self) -> int:
        return self.gross_mg - self.tare_mg


class Look(Walled):
    """A second person has looked at bag, scale and reading of a weigh-out that was made alone."""

    weigh_out = models.OneToOneField(WeighOut, on_delete=models.PROTECT, related_name="look")
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [*wall("weigh_out", "by"), append_only()]


class Verdict(models.TextChoices):
    RELEASED = "released", _("released")
    HELD = "held", _("held")


class PailDecision(Walled):
    """A pail was released or held: by whom, why, and what it held then (element basis, percent as text)."""

    pail = models.ForeignKey(Pail, on_delete=models.PROTECT, related_name="decisions")
    verdict = models.CharField(max_length=8, choices=Verdict.choices)
    reason = models.CharField(max_length=400, blank=True)
    accepted = models.BooleanField(default=False)  # outside the 5 and 10 percent, accepted by the organiser
    analysis = models.JSONField(default=dict)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [*wall("pail", "by"), append_only()]


class Count(Walled):
    """A place was counted: what was there, what the book said, and the band weighing explains."""

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="counts")
    day = models.ForeignKey(MixingDay, on_delete=models.PROTECT, null=True, blank=True, related_name="counts")
    counted_mg = MassField()
    book_mg = MassField()
    band_mg = MassField()
    weighings = models.PositiveIntegerField()
    reason = models.CharField(max_length=400, blank=True)
    ticket = models.OneToOneField(
        Ticket, on_delete=models.PROTECT, null=True, blank=True, related_name="count"
    )
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [*wall("place", "day", "ticket", "by"), append_only()]

    @property
    def difference_mg(self) -> int:
        """Counted less book."""
        return self.counted_mg - self.book_mg

    @property
    def within(self) -> bool:
        return abs(self.difference_mg) <= self.band_mg
