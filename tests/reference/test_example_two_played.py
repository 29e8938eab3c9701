"""Worked example 2, "First evening", played through the acts and the page: kilograms a week, all of it
assumed.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from gardens.models import Garden
from schedules.actions.bring_in import Season, bring_in
from schedules.actions.rounds import freeze_round, open_round
from schedules.queries.items import items_on
from schedules.queries.plans import demand_of, gather, live_demand
from tests.play import make_revision

SOURCE = "worked example 2, by hand"
YEAR = Season(dt.date(2026, 4, 20), dt.date(2026, 10, 20), dt.date(2026, 5, 4), dt.date(2026, 9, 14))
WEEK = (dt.date(2026, 5, 4), dt.date(2026, 5, 10))


def the_sheet() -> str:
    """Forty plots: 24 of two 4 x 8 ft beds at Lock Lane, 16 known by their size alone at Kiln Field."""
    rows = ["garden\tplot\tplot size\tholder\tcontact\tbed"]
    rows += [f"Lock Lane\t{n}\t\tHolder {n}\tl{n}@ostermere.example\t2 × 4 x 8 ft" for n in range(1, 25)]
    rows += [f"Kiln Field\t{n}\t3 x 6 m\tTenant {n}\tk{n}@ostermere.example\t" for n in range(1, 17)]
    return "\n".join(rows)


@pytest.fixture
def evening(cast: Any) -> Any:
    """The cast's programme with the two gardens of the example and nothing else, on revision R."""
    from gardens.models import Bed, Plot, Tenancy

    for model in (Tenancy, Bed, Plot, Garden):
        model.objects.filter(programme=cast.programme).delete()
    bring_in(
        programme=cast.programme, by=cast.organiser, text=the_sheet(), season=YEAR, since=dt.date(2026, 3, 1)
    )
    cast.revision = make_revision(cast.programme, cast.organiser)
    return cast


@pytest.mark.parametrize(
    ("garden", "kg"), [("Lock Lane", "0.653"), ("Kiln Field", "0.791"), ("both", "1.444")]
)
def test_kilograms_a_week(evening: Any, deviation: Callable[..., None], garden: str, kg: str) -> None:
    land = gather(evening.programme, items=items_on(evening.programme, WEEK[0]))
    need = demand_of(land, *WEEK)
    mg = need.mg if garden == "both" else next(g.mg for g in need.gardens if g.garden.name == garden)
    assert need.assumed_mg == need.mg and not need.problems
    deviation(
        f"kilograms a week, {garden}", Decimal(kg), Decimal(mg) / 10**6, source=SOURCE, confidence="DERIVED",
        tolerance=Decimal("0.0005"),
    )  # fmt: skip


def test_the_front_page_says_so(evening: Any, as_: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(timezone, "now", lambda: dt.datetime(2026, 4, 1, 20, 0, tzinfo=dt.UTC))
    page = as_(evening.organiser).get(f"/p/{evening.programme.pk}/").content.decode().replace("\u00a0", " ")
    assert "A week needs 1.444 kg of blend, all of it assumed." in page
    assert "2 gardens, 40 plots" in page


def test_before_there_is_a_blend_the_typical_one_gives_the_same(
    evening: Any, as_: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(timezone, "now", lambda: dt.datetime(2026, 4, 1, 20, 0, tzinfo=dt.UTC))
    monkeypatch.setattr("schedules.queries.items.default_revision", lambda programme: None)
    page = as_(evening.organiser).get(f"/p/{evening.programme.pk}/").content.decode().replace("\u00a0", " ")
    assert "A week needs 1.444 kg of blend, all of it assumed." in page and "13.3 % nitrogen" in page


def test_four_weeks_frozen_are_5_777_kg(evening: Any, deviation: Callable[..., None]) -> None:
    """Worked example 4 speaks of the same four weeks."""
    round = open_round(
        programme=evening.programme, by=evening.organiser, first_day=dt.date(2026, 7, 13), weeks=4,
        gardens=list(Garden.objects.filter(programme=evening.programme)), revision=evening.revision,
    )  # fmt: skip
    live = live_demand(round).mg
    snapshot = freeze_round(round=round, by=evening.organiser, now=timezone.now())
    frozen = sum(snapshot.lines.values_list("mass_mg", flat=True))
    assert frozen == live == sum(round.portions.values_list("demand_mg", flat=True))
    deviation(
        "four weeks of the two gardens, kg", Decimal("5.777"), Decimal(frozen) / 1_000_000,
        source="worked example 4, by hand", confidence="DERIVED", tolerance=Decimal("0.0005"),
    )  # fmt: skip
