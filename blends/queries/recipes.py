"""Blends in a list, and a revision with all that its page needs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch

from blends.models import Blend, Component, Revision
from blends.queries.analyses import grade_text
from gardens.models import Programme


@dataclass(frozen=True)
class BlendLine:
    """``grade`` and ``sentence`` are of the newest revision; empty while there is none."""

    blend: Blend
    revision: Revision | None
    grade: str
    weekly: bool


def components() -> Prefetch[Any]:
    return Prefetch("components", Component.objects.select_related("material", "declaration"))


def blends_listed(programme: Programme) -> tuple[BlendLine, ...]:
    """The default first."""
    revisions = {
        r.blend_id: r
        for r in Revision.objects.filter(programme=programme)
        .order_by("number")
        .prefetch_related(components())
    }
    found = []
    for blend in Blend.objects.filter(programme=programme).order_by("-is_default", "name"):
        revision = revisions.get(blend.pk)
        analysis = revision.analysis() if revision else None
        found.append(
            BlendLine(
                blend,
                revision,
                grade_text(analysis) if analysis else "",
                bool(analysis and analysis.weekly),
            )
        )
    return tuple(found)


def full_revision(programme: Programme, pk: int) -> Revision:
    return (
        Revision.objects.filter(programme=programme)
        .select_related("blend", "by", "programme")
        .prefetch_related(components())
        .get(pk=pk)
    )
