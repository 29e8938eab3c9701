"""Blends: a draft that may change, revisions that may not."""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.utils.translation import gettext_lazy as _

from blends import chemistry
from blends.models.materials import Declaration, Material
from gardens.constraints import append_only, wall
from gardens.fields import MassField
from gardens.models import Person, Walled


class Blend(Walled):
    """A recipe by mass. ``draft`` holds what is being written: [{"material": id, "amount": "10 kg"}, …]."""

    name = models.CharField(_("name"), max_length=80)
    draft = models.JSONField(default=list, blank=True)
    is_default = models.BooleanField(default=False)
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            *wall(),
            models.UniqueConstraint(fields=["programme", "name"], name="%(app_label)s_%(class)s_name"),
            models.UniqueConstraint(
                fields=["programme"],
                condition=models.Q(is_default=True),
                name="%(app_label)s_%(class)s_one_default",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def latest(self) -> Revision | None:
        return self.revisions.order_by("-number").first()


class Revision(Walled):
    """One frozen version of a blend, immutable from birth."""

    blend = models.ForeignKey(Blend, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveSmallIntegerField()
    bulk_density = models.DecimalField(max_digits=6, decimal_places=3, default=Decimal("0.950"))  # g/mL
    density_assumed = models.BooleanField(default=True)
    boron_reason = models.CharField(max_length=400, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["blend__name", "-number"]
        constraints = [
            *wall("blend", "by"),
            append_only(),
            models.UniqueConstraint(fields=["blend", "number"], name="%(app_label)s_%(class)s_number"),
        ]

    def __str__(self) -> str:
        return f"{self.blend.name}, revision {self.number}"

    def parts(self) -> list[tuple[int, chemistry.Analysis]]:
        return [(c.mass_mg, c.declaration.analysis()) for c in self.components.all()]

    def analysis(self) -> chemistry.BlendAnalysis:
        """The design's analysis (prefetch ``components__declaration`` where many are listed)."""
        return chemistry.blend(self.parts())

    @property
    def mass_mg(self) -> int:
        return sum(c.mass_mg for c in self.components.all())


class Component(Walled):
    """One material of a revision, with the declaration it had then."""

    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="components")
    position = models.PositiveSmallIntegerField()
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    declaration = models.ForeignKey(Declaration, on_delete=models.PROTECT, related_name="+")
    mass_mg = MassField()
    written = models.CharField(max_length=80)  # as typed

    class Meta:
        ordering = ["revision_id", "position"]
        constraints = [
            *wall("revision", "material", "declaration"),
            append_only(),
            models.UniqueConstraint(fields=["revision", "position"], name="%(app_label)s_%(class)s_position"),
            models.UniqueConstraint(fields=["revision", "material"], name="%(app_label)s_%(class)s_material"),
            models.CheckConstraint(condition=models.Q(mass_mg__gt=0), name="%(app_label)s_%(class)s_mass"),
        ]
