"""Blends: a draft that may change, revisions that may not."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction

from blends import chemistry
from blends.boron import BoronVerdict, heavy_season
from blends.models import Blend, Component, Material, Revision
from blends.refusals import told_kindly, wanted
from gardens.models import Person, Programme
from gardens.refusals import InTheWay, Refused

MOST_LINES = 30
MOST_MG = 10**11


@transaction.atomic
def start_blend(*, programme: Programme, by: Person, name: str) -> Blend:
    """An empty blend; the programme's first is its default."""
    text = " ".join(name.split())
    if not text or len(text) > 80:
        raise Refused("name_wanted", "Give the blend a short name, such as All-round.", "name")
    first = not Blend.objects.filter(programme=programme, is_default=True).exists()
    try:
        with transaction.atomic():
            return Blend.objects.create(programme=programme, name=text, is_default=first)
    except IntegrityError:
        if Blend.objects.filter(programme=programme, name=text).exists():
            raise InTheWay("have_it", f"There is a blend named “{text}” already.", "name") from None
        return Blend.objects.create(programme=programme, name=text)  # another became the default meanwhile


@transaction.atomic
def make_default(*, blend: Blend, by: Person) -> Blend:
    """Everybody is fed with this one unless told otherwise; the one before steps back."""
    if blend.latest() is None:
        raise InTheWay("no_revision", f"{blend.name} has no frozen recipe yet: it can feed nobody.")
    Blend.objects.filter(programme=blend.programme, is_default=True).exclude(pk=blend.pk).update(
        is_default=False
    )
    Blend.objects.filter(pk=blend.pk).update(is_default=True)
    blend.refresh_from_db()
    return blend


@transaction.atomic
def save_draft(*, blend: Blend, by: Person, lines: Sequence[dict[str, Any]]) -> Blend:
    """Keep what is being written: [{"material": id, "amount": "10 kg"}, …], as typed."""
    if len(lines) > MOST_LINES:
        raise Refused("many_lines", f"A recipe has at most {MOST_LINES} lines.")
    kept = [
        {
            "material": int(line["material"]) if line.get("material") else None,
            "amount": str(line["amount"])[:80],
        }
        for line in lines
    ]
    Blend.objects.filter(pk=blend.pk).update(draft=kept)
    blend.draft = kept
    return blend


@transaction.atomic
def freeze_revision(
    *,
    blend: Blend,
    by: Person,
    lines: Sequence[tuple[Material, int, str]],
    boron_reason: str = "",
    bulk_density: Decimal | None = None,
) -> Revision:
    """One more revision, immutable from birth: (material, mass in mg, as written) in the order given.

    Refused above 3.4 kg of boron a hectare in a heavy season; above 1.1 it needs a reason.
    """
    blend = Blend.objects.select_for_update(no_key=True).get(pk=blend.pk)
    declared = [(material, material.current(), mass, written) for material, mass, written in _checked(lines)]
    with told_kindly():
        design = chemistry.blend([(mass, declaration.analysis()) for _, declaration, mass, _ in declared])
    reason = _boron_reason(design, boron_reason)
    latest = blend.latest()
    revision = Revision.objects.create(
        programme=blend.programme,
        blend=blend,
        number=latest.number + 1 if latest else 1,
        boron_reason=reason,
        by=by,
        **({} if bulk_density is None else {"bulk_density": bulk_density, "density_assumed": False}),
    )
    Component.objects.bulk_create(
        Component(
            programme=blend.programme,
            revision=revision,
            position=position,
            material=material,
            declaration=declaration,
            mass_mg=mass,
            written=written[:80],
        )
        for position, (material, declaration, mass, written) in enumerate(declared, start=1)
    )
    Blend.objects.filter(pk=blend.pk).update(draft=[])
    return revision


def _checked(lines: Sequence[tuple[Material, int, str]]) -> Sequence[tuple[Material, int, str]]:
    if not lines:
        raise Refused("empty", "The recipe is empty: add a material and how much of it.")
    if len(lines) > MOST_LINES:
        raise Refused("many_lines", f"A recipe has at most {MOST_LINES} lines.")
    seen: set[int] = set()
    for material, mass, written in lines:
        if material.pk in seen:
            raise Refused("twice", f"{material.name} stands in the recipe twice: add the two together.")
        if not 0 < mass <= MOST_MG:
            raise Refused(
                "no_mass",
                f"{material.name}: “{written}” is no mass for a recipe. Write 1.5 kg, or 3 lb 4 oz.",
            )
        seen.add(material.pk)
    return lines


def _boron_reason(design: chemistry.BlendAnalysis, reason: str) -> str:
    season = heavy_season(design)
    if season.verdict is BoronVerdict.CANNOT_BE_MIXED:
        raise Refused("boron", season.sentence)
    if season.verdict in (BoronVerdict.NEEDS_REASON, BoronVerdict.NO_NITROGEN):
        return wanted(reason, field="boron_reason", message=f"{season.sentence} Say why it is wanted.")
    return ""
