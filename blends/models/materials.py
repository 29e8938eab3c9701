"""What is bought: materials, what their bags declare, deliveries."""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.utils.translation import gettext_lazy as _

from blends import chemistry
from gardens.constraints import append_only, wall
from gardens.fields import MassField, MoneyField
from gardens.models import Garden, Person, Walled


class Kind(models.TextChoices):
    COMPOUND = "compound", _("compound fertiliser")
    STRAIGHT = "straight", _("straight fertiliser")
    MAGNESIUM = "magnesium", _("magnesium salt")
    CALCIUM = "calcium", _("calcium salt")
    TRACE_SALT = "trace_salt", _("trace-element salt")
    TRACE_CONCENTRATE = "trace_concentrate", _("trace-element concentrate")
    INERT = "inert", _("drying agent")


class Material(Walled):
    """Something bought, as this programme knows it; adopted from the catalogue, or typed from a bag."""

    name = models.CharField(_("name"), max_length=120)
    kind = models.CharField(max_length=20, choices=Kind.choices)
    catalogue_code = models.CharField(max_length=60, blank=True)
    catalogue_version = models.CharField(max_length=20, blank=True)
    bulk_density = models.DecimalField(  # g/mL
        max_digits=6, decimal_places=3, null=True, blank=True
    )
    cautions = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            *wall(),
            models.UniqueConstraint(fields=["programme", "name"], name="%(app_label)s_%(class)s_name"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_trace(self) -> bool:
        """Weighed only before a witness."""
        return self.kind in (Kind.TRACE_SALT, Kind.TRACE_CONCENTRATE)

    @property
    def is_inert(self) -> bool:
        return self.kind == Kind.INERT

    def current(self) -> Declaration:
        """The newest declaration."""
        return self.declarations.order_by("-id")[0]


class Basis(models.TextChoices):
    LABEL = "label", _("as the bag declares")
    FORMULA = "formula", _("by formula and purity")


class Slow(models.TextChoices):
    NO = "no", _("no")
    YES = "yes", _("yes")
    UNKNOWN = "unknown", _("not known")


class Declaration(Walled):
    """What a bag declares, or a formula says. ``values`` maps label names to percent as text; missing = not declared."""

    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="declarations")
    basis = models.CharField(max_length=8, choices=Basis.choices)
    values = models.JSONField(default=dict, blank=True)
    formula = models.CharField(max_length=80, blank=True)
    purity = models.DecimalField(max_digits=7, decimal_places=4, default=Decimal(100))
    slow = models.CharField(max_length=8, choices=Slow.choices, default=Slow.UNKNOWN)
    source = models.CharField(max_length=300, blank=True)
    confidence = models.CharField(max_length=40, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-id"]
        constraints = [*wall("material", "by"), append_only()]

    def analysis(self) -> chemistry.Analysis:
        """The declared nutrients, element basis, mass percent."""
        if self.basis == Basis.FORMULA:
            return chemistry.from_formula(self.formula, Decimal(self.purity))
        return chemistry.from_label(
            {name: Decimal(text) for name, text in self.values.items()}, slow=chemistry.Slow(self.slow)
        )


class Lot(Walled):
    """One delivery: so many bags of a mass, for a total price, from a supplier, on a day."""

    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="lots")
    declaration = models.ForeignKey(Declaration, on_delete=models.PROTECT, related_name="+")
    code = models.CharField(_("lot"), max_length=40)
    bags = models.PositiveSmallIntegerField(_("bags"))
    bag_mass_mg = MassField(_("mass of one bag"))
    price_minor = MoneyField(_("price of all, in minor units"), default=0)
    supplier = models.CharField(_("supplier"), max_length=120, blank=True)
    day = models.DateField(_("delivered on"))
    garden = models.ForeignKey(Garden, on_delete=models.PROTECT, related_name="+")
    spot = models.CharField(_("where it stands"), max_length=80)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    withdrawn = models.BooleanField(
        default=False
    )  # entered wrong, its ticket reversed; the mark is free again

    class Meta:
        ordering = ["-day", "-id"]
        constraints = [
            *wall("material", "declaration", "garden", "by"),
            models.UniqueConstraint(
                fields=["programme", "code"],
                condition=models.Q(withdrawn=False),
                name="%(app_label)s_%(class)s_code",
            ),
            models.CheckConstraint(
                condition=models.Q(bags__gt=0, bag_mass_mg__gt=0, price_minor__gte=0),
                name="%(app_label)s_%(class)s_amounts",
            ),
        ]

    def __str__(self) -> str:
        return f"lot {self.code}"

    @property
    def mass_mg(self) -> int:
        return self.bags * self.bag_mass_mg
