"""The account of a mixing day: what was needed, mixed, handed out, left, and what is to settle. Text, for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from blends import ledger
from blends.models import Count, Flag, MixingDay, Place, PlaceKind
from gardens.days import in_words
from gardens.models import Programme
from schedules.models import Collection, FrozenLine, Portion, Round
from schedules.queries.desk import still_owed
from schedules.queries.totals import Counted


@dataclass(frozen=True)
class Account:
    """Figures of one mixing day, in milligrams."""

    day: MixingDay
    round: Round
    demand_mg: int
    assumed_mg: int
    plots: int
    batch: str
    batch_mg: int
    pails: int
    collections: int
    handed_out_mg: int
    owed: int
    owed_mg: int
    left_mg: int
    lost_mg: int
    difference_mg: int
    band_mg: int
    counted: int
    to_settle: list[Flag]
    disagreement_mg: int


def account_of(day: MixingDay) -> Account:
    """One mixing day's account; the disagreement is the whole programme's."""
    round_ = Round.objects.select_related("batch").get(mixing_day=day)
    batch = round_.batch
    snapshot = round_.snapshots.order_by("-number").first()
    lines = list(FrozenLine.objects.filter(snapshot=snapshot).values_list("mass_mg", "assumed", "plot_id"))
    portions = list(Portion.objects.filter(round=round_))
    taken: dict[int, int] = {}
    for collection in Collection.objects.standing().filter(portion__in=portions):
        taken[collection.portion_id] = taken.get(collection.portion_id, 0) + collection.net_mg
    owed = still_owed(round_)
    pails = list(Place.objects.filter(pail__batch=batch, kind=PlaceKind.PAIL)) if batch else []
    counts: dict[int, Count] = {
        c.place_id: c for c in Count.objects.filter(day=day, place__in=[p.pk for p in pails]).order_by("id")
    }
    programme: Programme = day.programme
    return Account(
        day=day,
        round=round_,
        demand_mg=sum(mass for mass, _, _ in lines),
        assumed_mg=sum(mass for mass, assumed, _ in lines if assumed),
        plots=len({plot for _, _, plot in lines}),
        batch=str(batch) if batch else "no batch yet",
        batch_mg=batch.mass_mg if batch else 0,
        pails=len(pails),
        collections=Collection.objects.standing().filter(portion__in=portions).count(),
        handed_out_mg=sum(taken.values()),
        owed=len(owed),
        owed_mg=sum(row.left_mg for row in owed),
        left_mg=sum(p.balance_mg for p in pails),
        lost_mg=sum(
            m.mass_mg
            for p in pails
            for m in p.outs.filter(target__kind=PlaceKind.LOST, ticket__reversed_by=None)
        ),
        difference_mg=sum(c.difference_mg for c in counts.values()),
        band_mg=Counted(list(counts.values())).band_mg,
        counted=len(counts),
        to_settle=list(
            Flag.objects.filter(programme=programme, settled_at=None)
            .select_related("ticket", *(f"place__{name}" for name in ledger.NAMED))
            .order_by("id")
        ),
        disagreement_mg=ledger.disagreement_mg(programme),
    )


def lines(account: Account) -> Iterator[str]:
    """The account, line by line."""

    def row(words: str, figure: str, note: str = "") -> str:
        return f"  {words:<26}{figure:>14}{'  ' + note if note else ''}"

    yield f"The mixing day of {in_words(account.day.day)}, round {account.round.number}"
    yield row("demand", _kg(account.demand_mg), f"{account.plots} plots")
    yield row("of that assumed", _kg(account.assumed_mg), "no crop registered")
    yield row(
        "batch", _kg(account.batch_mg), f"{account.batch}, {account.pails} pail{'s' * (account.pails != 1)}"
    )
    yield row("handed out", _kg(account.handed_out_mg), f"{account.collections} collections")
    yield row("owed, not collected", _kg(account.owed_mg), f"{account.owed} plots")
    yield row("left in pails", _kg(account.left_mg))
    yield row("lost", _kg(account.lost_mg))
    if account.counted:
        inside = abs(account.difference_mg) <= account.band_mg
        within = "within weighing" if inside else "outside what weighing explains"
        band = f"band {account.band_mg / 1000:,.1f} g either way: {within}"
        yield row("difference at count", f"{account.difference_mg / 1000:+,.1f} g", band)
    else:
        yield row("difference at count", "-", "not counted yet")


def closing(account: Account) -> Iterator[str]:
    """What is to settle, by name, and the disagreement, which must be zero."""
    yield f"To settle: {len(account.to_settle) or 'nothing'}"
    for flag in account.to_settle:
        what = f"{flag.get_code_display()}, {flag.mass_mg / 1000:,.1f} g ({flag.place})"
        yield f"  ticket {flag.ticket}: {what} {flag.note}".rstrip()
    yield f"disagreement {account.disagreement_mg} mg"


def _kg(milligrams: int) -> str:
    return f"{milligrams / 1_000_000:,.3f} kg"
