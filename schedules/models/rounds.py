"""Rounds, what was frozen for them, and what each plot is due from them."""

from __future__ import annotations

import datetime as dt

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from blends.models import Batch, MixingDay, Revision
from gardens.constraints import append_only, wall
from gardens.fields import AreaField, MassField
from gardens.models import Bed, Garden, Household, Person, Planting, Plot, Walled


class RoundState(models.TextChoices):
    OPEN = "open", _("open")
    FROZEN = "frozen", _("frozen")
    CLOSED = "closed", _("closed")


class Round(Walled):
    """The span of weeks that one collection covers, in some gardens, from one mixing day."""

    number = models.PositiveIntegerField()
    first_day = models.DateField(_("first day"))
    weeks = models.PositiveSmallIntegerField(_("weeks"), default=4)
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    mixing_day = models.OneToOneField(
        MixingDay, on_delete=models.PROTECT, null=True, blank=True, related_name="round"
    )
    batch = models.OneToOneField(Batch, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    state = models.CharField(max_length=8, choices=RoundState.choices, default=RoundState.OPEN)
    freeze_at = models.DateTimeField(null=True, blank=True)
    reserve_percent = models.PositiveSmallIntegerField(default=5)
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-first_day", "-number"]
        constraints = [
            *wall("revision", "mixing_day", "batch", "made_by"),
            models.UniqueConstraint(fields=["programme", "number"], name="%(app_label)s_%(class)s_number"),
            models.CheckConstraint(
                condition=Q(weeks__gte=1, weeks__lte=12), name="%(app_label)s_%(class)s_weeks"
            ),
        ]

    def __str__(self) -> str:
        return f"round {self.number}"

    @property
    def until_day(self) -> dt.date:
        """The first day after the round."""
        return self.first_day + dt.timedelta(weeks=self.weeks)

    @property
    def last_day(self) -> dt.date:
        return self.until_day - dt.timedelta(days=1)


class RoundGarden(Walled):
    """A garden that a round feeds."""

    round = models.ForeignKey(Round, on_delete=models.PROTECT, related_name="round_gardens")
    garden = models.ForeignKey(Garden, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            *wall("round", "garden"),
            models.UniqueConstraint(fields=["round", "garden"], name="%(app_label)s_%(class)s_once"),
        ]


class Snapshot(Walled):
    """The demand of a round as it was frozen; the last one before the first weigh-out counts."""

    round = models.ForeignKey(Round, on_delete=models.PROTECT, related_name="snapshots")
    number = models.PositiveSmallIntegerField()
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["round_id", "number"]
        constraints = [
            *wall("round", "revision", "by"),
            append_only(),
            models.UniqueConstraint(fields=["round", "number"], name="%(app_label)s_%(class)s_number"),
        ]


class FrozenLine(Walled):
    """One planting's (or default planting's) share of a frozen demand.

    ``weeks`` is [{"day": "YYYY-MM-DD", "n_ug": int, "b_ug": int | None, "mg": int, "household": int | None}, …] for
    the feeds of the round: nitrogen in whole micrograms, rounded once, from which every mass is derived; boron,
    None where nobody declared it; who held the plot on that day. ``numbers`` keeps what fixes the unit from now on
    (unit after the caps, number of feeds, interval, cap, what the soil leaves), as exact text.
    """

    snapshot = models.ForeignKey(Snapshot, on_delete=models.PROTECT, related_name="lines")
    plot = models.ForeignKey(Plot, on_delete=models.PROTECT, related_name="+")
    bed = models.ForeignKey(Bed, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    planting = models.ForeignKey(Planting, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    assumed = models.BooleanField(default=False)
    area_mm2 = AreaField()
    mass_mg = MassField()
    weeks = models.JSONField(default=list)
    numbers = models.JSONField(default=dict)
    line = models.CharField(max_length=300, blank=True)  # the working in one line, as it was
    working = models.JSONField(default=list)

    class Meta:
        ordering = ["snapshot_id", "plot_id", "bed_id", "id"]
        constraints = [*wall("snapshot", "plot", "bed", "planting"), append_only()]


class Cause(models.TextChoices):
    FROZEN = "frozen", _("frozen")
    TOOK_OVER = "took_over", _("took over")
    AGAIN = "again", _("issued again")
    WALK_IN = "walk_in", _("walk-in")


class Portion(Walled):
    """What one plot is due from a round, under one household. What was collected stands in the ledger alone."""

    round = models.ForeignKey(Round, on_delete=models.PROTECT, related_name="portions")
    plot = models.ForeignKey(Plot, on_delete=models.PROTECT, related_name="+")
    household = models.ForeignKey(Household, on_delete=models.PROTECT, related_name="+")
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    cause = models.CharField(max_length=10, choices=Cause.choices, default=Cause.FROZEN)
    demand_mg = MassField()
    due_mg = MassField()  # demand rounded up to the desk scale's division
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["plot__garden__name", "plot__label", "id"]
        constraints = [
            *wall("round", "plot", "household", "revision"),
            models.UniqueConstraint(
                fields=["round", "plot", "household", "revision", "cause"],
                name="%(app_label)s_%(class)s_once",
            ),
            models.CheckConstraint(
                condition=Q(demand_mg__gte=0, due_mg__gte=0), name="%(app_label)s_%(class)s_masses"
            ),
        ]

    def __str__(self) -> str:
        return f"portion of plot {self.plot.label}, {self.round}"
