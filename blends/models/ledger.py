"""Places with one balance each; tickets, and the movements that are their lines. Only ``blends.ledger`` writes here."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models
from django.utils.translation import gettext_lazy as _

from gardens.constraints import append_only, wall
from gardens.fields import MassField
from gardens.models import Garden, Household, Person, Plot, Walled

if TYPE_CHECKING:
    from django_stubs_ext.db.models.manager import RelatedManager


class PlaceKind(models.TextChoices):
    LOT = "lot", _("in store")
    PAIL = "pail", _("in a pail")
    TUB = "tub", _("with holders")
    TAKEN_BACK = "taken_back", _("taken back")
    WASTE = "waste", _("waste")
    LOST = "lost", _("lost")
    SUPPLIER = "supplier", _("supplier")
    DIFFERENCE = "difference", _("difference")


#: One of each per programme.
SINGLES = (
    PlaceKind.TAKEN_BACK,
    PlaceKind.WASTE,
    PlaceKind.LOST,
    PlaceKind.SUPPLIER,
    PlaceKind.DIFFERENCE,
)
#: These alone may stand below zero.
SIGNED = (PlaceKind.SUPPLIER, PlaceKind.DIFFERENCE)


class Gate(models.TextChoices):
    NONE = "", _("no gate")
    FILLING = "filling", _("being filled")
    HELD = "held", _("held")
    RELEASED = "released", _("released")


class Place(Walled):
    """One thing in one spot, with one balance in milligrams: an account."""

    kind = models.CharField(max_length=12, choices=PlaceKind.choices)
    lot = models.ForeignKey(
        "blends.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="places"
    )
    garden = models.ForeignKey(Garden, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    spot = models.CharField(max_length=80, blank=True)
    pail = models.OneToOneField(
        "blends.Pail", on_delete=models.PROTECT, null=True, blank=True, related_name="place"
    )
    plot = models.ForeignKey(Plot, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    household = models.ForeignKey(
        Household, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    batch = models.ForeignKey(
        "blends.Batch", on_delete=models.PROTECT, null=True, blank=True, related_name="tubs"
    )
    balance_mg = MassField(default=0)
    gate = models.CharField(max_length=10, choices=Gate.choices, default=Gate.NONE, blank=True)
    opened = models.BooleanField(default=False)

    class Meta:
        constraints = [
            *wall("lot", "garden", "pail", "plot", "household", "batch"),
            models.CheckConstraint(
                condition=models.Q(balance_mg__gte=0) | models.Q(kind__in=SIGNED),
                name="%(app_label)s_%(class)s_not_below_zero",
            ),
            models.CheckConstraint(
                condition=(
                    models.Q(kind="lot", lot__isnull=False, garden__isnull=False)
                    | models.Q(kind="pail", pail__isnull=False)
                    | models.Q(kind="tub", plot__isnull=False, household__isnull=False, batch__isnull=False)
                    | models.Q(kind__in=SINGLES)
                ),
                name="%(app_label)s_%(class)s_what",
            ),
            models.UniqueConstraint(
                fields=["lot", "garden", "spot"],
                condition=models.Q(kind="lot"),
                name="%(app_label)s_%(class)s_one_lot_spot",
            ),
            models.UniqueConstraint(
                fields=["plot", "household", "batch"],
                condition=models.Q(kind="tub"),
                name="%(app_label)s_%(class)s_one_tub",
            ),
            models.UniqueConstraint(
                fields=["programme", "kind"],
                condition=models.Q(kind__in=SINGLES),
                name="%(app_label)s_%(class)s_single",
            ),
        ]

    def __str__(self) -> str:
        """In words; select_related lot__material, pail__batch, plot__garden, batch, garden where many are named."""
        if self.kind == PlaceKind.LOT and self.lot:
            where = ", ".join(filter(None, [self.spot, self.garden.name if self.garden else ""]))
            return f"{self.lot.material.name}, lot {self.lot.code} ({where})"
        if self.kind == PlaceKind.PAIL and self.pail:
            return str(self.pail)
        if self.kind == PlaceKind.TUB and self.plot and self.batch:
            return f"tub of plot {self.plot.label}, {self.plot.garden.name}, batch {self.batch.number}"
        return str(self.get_kind_display())


class TicketKind(models.TextChoices):
    RECEIVE = "receive", _("received")
    MOVE = "move", _("moved")
    WEIGH_OUT = "weigh_out", _("weighed out")
    LOSS = "loss", _("lost")
    WASTE = "waste", _("to waste")
    HAND_OUT = "hand_out", _("handed out")
    HAND_OVER = "hand_over", _("handed over, tub to tub")
    TAKE_BACK = "take_back", _("taken back")
    SEND_BACK = "send_back", _("returned to supplier")
    COUNT = "count", _("counted")
    REVERSAL = "reversal", _("reversed")


class Ticket(Walled):
    """One act: who, when, why. Known once by its key; refused whole, reversed whole."""

    kind = models.CharField(max_length=12, choices=TicketKind.choices)
    key = models.UUIDField()
    digest = models.CharField(max_length=64)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    device = models.CharField(max_length=80, blank=True)
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField(auto_now_add=True)
    day = models.DateField()  # in the programme's zone
    reason = models.CharField(max_length=400, blank=True)
    told = models.BooleanField(default=False)  # it had already happened
    reverses = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="reversed_by"
    )

    if TYPE_CHECKING:
        lines: RelatedManager[Movement]
        replayed: bool

    class Meta:
        ordering = ["-id"]
        constraints = [
            *wall("by", "reverses"),
            append_only(),
            models.UniqueConstraint(fields=["programme", "key"], name="%(app_label)s_%(class)s_key"),
        ]
        indexes = [models.Index(fields=["programme", "day"], name="blends_ticket_day")]

    def __str__(self) -> str:
        return f"{self.pk:04d}"


class Movement(Walled):
    """So much mass from one place to another."""

    ticket = models.ForeignKey(Ticket, on_delete=models.PROTECT, related_name="lines")
    source = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="outs")
    target = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="ins")
    mass_mg = MassField()

    class Meta:
        ordering = ["id"]
        constraints = [
            *wall("ticket", "source", "target"),
            append_only(),
            models.CheckConstraint(condition=models.Q(mass_mg__gt=0), name="%(app_label)s_%(class)s_mass"),
            models.CheckConstraint(
                condition=~models.Q(source=models.F("target")), name="%(app_label)s_%(class)s_two_places"
            ),
        ]


class FlagCode(models.TextChoices):
    LACKED = "lacked", _("the book held less than was taken")
    TWICE = "twice", _("more was handed out than the portion")
    HELD = "held", _("taken from a pail that was not released")
    OUTSIDE = "outside", _("a count outside what weighing explains")
    OVER = "over", _("more stood there than the book said")
    LATE = "late", _("told after the day was closed")
    OTHER = "other", _("from a pail of another blend")


class Flag(Walled):
    """Something to settle: what stands in *difference*, or needs a word. Settling gives a reason, never a zero."""

    ticket = models.ForeignKey(Ticket, on_delete=models.PROTECT, related_name="flags")
    code = models.CharField(max_length=10, choices=FlagCode.choices)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    mass_mg = MassField(default=0)
    note = models.CharField(max_length=300, blank=True)
    settled_reason = models.CharField(max_length=400, blank=True)
    settled_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            *wall("ticket", "place", "settled_by"),
            models.CheckConstraint(
                condition=models.Q(settled_at__isnull=True) | ~models.Q(settled_reason=""),
                name="%(app_label)s_%(class)s_settled",
            ),
        ]
