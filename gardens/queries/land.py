"""What stands where, and who holds it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db.models import Count, Prefetch, Q, QuerySet

from gardens.folding import natural
from gardens.models import Bed, Feeding, Garden, Household, Member, Planting, Plot, Programme, Tenancy


@dataclass(frozen=True)
class PlotLine:
    """One plot of a garden. `area_mm2` is that of its beds together, else its own size, else None."""

    plot: Plot
    holders: tuple[str, ...]
    beds: int
    area_mm2: int | None
    by_beds: bool
    known_crops: int
    next_step: str  # "", or what is missing

    @property
    def fed(self) -> bool:
        return self.plot.feeding == Feeding.BLEND


@dataclass(frozen=True)
class BedLine:
    bed: Bed
    plantings: tuple[Planting, ...]  # not ended yet

    @property
    def shares(self) -> int:
        return sum(planting.share for planting in self.plantings)


@dataclass(frozen=True)
class PlotPage:
    plot: Plot
    now: Tenancy | None
    members: tuple[Member, ...]
    tenancies: tuple[Tenancy, ...]
    beds: tuple[BedLine, ...]
    ended_beds: tuple[Bed, ...]

    @property
    def area_mm2(self) -> int:
        return sum(line.bed.area_mm2 for line in self.beds)

    @property
    def larger_than_plot(self) -> bool:
        return bool(self.plot.area_mm2 and self.area_mm2 > self.plot.area_mm2)


def gardens(*, programme: Programme) -> list[Garden]:
    """Gardens by name, each with `plot_count`."""
    plots = Count("plots", filter=Q(plots__until_day=None))
    return list(Garden.objects.filter(programme=programme).annotate(plot_count=plots).order_by("name"))


def garden_plots(*, garden: Garden, day: dt.date) -> list[PlotLine]:
    """The garden's plots in the order people count; five queries."""
    rows = Plot.objects.filter(garden=garden, until_day=None).prefetch_related(
        Prefetch("beds", _standing(), to_attr="standing"),
        Prefetch("tenancies", _running(day), to_attr="running"),
    )
    return [_plot_line(plot) for plot in sorted(rows, key=lambda p: natural(p.label))]


def _standing() -> QuerySet[Bed]:
    growing = Planting.objects.filter(until_day=None).order_by("day", "id")
    return Bed.objects.filter(until_day=None).prefetch_related(
        Prefetch("plantings", growing, to_attr="growing")
    )


def _running(day: dt.date) -> QuerySet[Tenancy]:
    present = Member.objects.filter(until_day=None).select_related("person").order_by("id")
    return (
        Tenancy.objects.on(day)
        .select_related("household")
        .prefetch_related(Prefetch("household__members", present, to_attr="present"))
    )


def _plot_line(plot: Plot) -> PlotLine:
    beds: list[Bed] = getattr(plot, "standing")  # noqa: B009  (filled by the prefetch above)
    running: list[Tenancy] = getattr(plot, "running")  # noqa: B009
    present = [member for tenancy in running for member in getattr(tenancy.household, "present")]  # noqa: B009
    area = sum(bed.area_mm2 for bed in beds) or plot.area_mm2
    crops = sum(1 for bed in beds if getattr(bed, "growing"))  # noqa: B009
    return PlotLine(
        plot=plot,
        holders=tuple(member.person.name for member in present),
        beds=len(beds),
        area_mm2=area,
        by_beds=bool(beds),
        known_crops=crops,
        next_step="no size yet" if not area else "nobody holds it" if not running else "",
    )


def plot_page(*, plot: Plot, day: dt.date) -> PlotPage:
    """One plot with everything on it; six queries."""
    tenancies = tuple(plot.tenancies.select_related("household").order_by("-start"))
    now = next((t for t in tenancies if t.start <= day and (t.until_day is None or t.until_day > day)), None)
    household: Household | None = now.household if now else None
    members = (
        household.members.filter(until_day=None).select_related("person").order_by("id") if household else ()
    )
    growing = Prefetch(
        "plantings", Planting.objects.filter(until_day=None).order_by("day", "id"), to_attr="growing"
    )
    beds = sorted(plot.beds.prefetch_related(growing), key=lambda bed: natural(bed.name))
    return PlotPage(
        plot=plot,
        now=now,
        members=tuple(members),
        tenancies=tenancies,
        beds=tuple(BedLine(bed, tuple(getattr(bed, "growing"))) for bed in beds if bed.until_day is None),  # noqa: B009
        ended_beds=tuple(bed for bed in beds if bed.until_day is not None),
    )
