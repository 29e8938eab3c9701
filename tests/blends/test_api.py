"""Materials, deliveries, recipes and the mixing day through the API, and its calculators."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from blends.models import Lot, Material, Place, Ticket, WeighOut
from tests.play import R, play_day

pytestmark = pytest.mark.django_db


def post(client: Client, address: str, body: Any, key: Any = None) -> Any:
    headers = {} if key is None else {"Idempotency-Key": str(key)}
    return client.post(address, body, content_type="application/json", headers=headers)


@pytest.fixture
def day(cast: Any) -> Any:
    return play_day(cast)


@pytest.fixture
def base(cast: Any) -> str:
    return f"/api/v1/programmes/{cast.programme.pk}"


def a_lot(day: Any, cast: Any, **more: Any) -> dict[str, Any]:
    return {
        "material": day.lots[0].material_id, "garden": cast.garden.pk, "code": "C-77", "bags": 2,
        "bag_mass": "25 kg", "price": "58,00", "day": f"{timezone.now().date()}", "spot": "north shed", **more,
    }  # fmt: skip


# Tickets are known by their key -----------------------------------------------------------------------------


def test_a_ticket_without_a_key_is_refused_by_name(cast: Any, as_: Any, day: Any, base: str) -> None:
    answer = post(as_(cast.organiser), f"{base}/lots/", a_lot(day, cast))
    assert answer.status_code == 400 and answer.json()["errors"][0]["field"] == "Idempotency-Key"
    assert post(as_(cast.organiser), f"{base}/lots/", a_lot(day, cast), "no uuid").status_code == 400
    assert not Lot.objects.filter(code="C-77").exists()


def test_the_same_key_is_the_same_delivery(cast: Any, as_: Any, day: Any, base: str) -> None:
    client, key = as_(cast.organiser), uuid.uuid4()
    first, again = (post(client, f"{base}/lots/", a_lot(day, cast), key) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert "Idempotency-Replayed" not in first and again["Idempotency-Replayed"] == "true"
    assert first.json() == again.json() and Lot.objects.filter(code="C-77").count() == 1
    other = post(client, f"{base}/lots/", a_lot(day, cast, bags=3), key)
    assert other.status_code == 409 and other.json()["code"] == "key_reused"


def test_ten_times_the_same_loss_is_one(cast: Any, as_: Any, day: Any, base: str) -> None:
    place, key = Place.objects.get(lot=day.lots[0]), uuid.uuid4()
    body = {"mass": "250 g", "reason": "spilt at the scale"}
    answers = [post(as_(cast.steward), f"{base}/places/{place.pk}/losses/", body, key) for _ in range(10)]
    assert [a.status_code for a in answers] == [201, *[200] * 9]
    assert len({a.json()["id"] for a in answers}) == 1
    assert Place.objects.get(pk=place.pk).balance_mg == place.balance_mg - 250_000


# Materials and store ----------------------------------------------------------------------------------------


def test_what_is_not_declared_is_not_told_as_zero(cast: Any, as_: Any, base: str) -> None:
    body = {"name": "Compound", "kind": "compound", "label": {"N": "16", "P2O5": "16 %"}, "slow": "no"}
    told = post(as_(cast.organiser), f"{base}/materials/", body).json()
    assert told["declared"]["N"] == {"value": "16", "unit": "%"} and set(told["declared"]) == {"N", "P"}


def test_a_label_that_cannot_be_is_refused(cast: Any, as_: Any, base: str) -> None:
    body = {"name": "Odd", "kind": "compound", "label": {"N": "60", "K2O": "60"}, "slow": "no"}
    answer = post(as_(cast.organiser), f"{base}/materials/", body)
    assert answer.status_code == 422 and answer.json()["code"] == "over_hundred"
    assert not Material.objects.filter(name="Odd").exists()


def test_a_steward_sees_lots_without_their_prices(cast: Any, as_: Any, day: Any, base: str) -> None:
    prices = [
        as_(who).get(f"{base}/lots/").json()["results"][0]["price"] for who in (cast.steward, cast.auditor)
    ]
    assert prices[0] is None and prices[1]["unit"] == "EUR"


def test_the_catalogue_says_where_its_figures_are_from(cast: Any, as_: Any, base: str) -> None:
    page = as_(cast.steward).get(f"{base}/catalogue/?limit=500").json()
    assert page["count"] >= 25 and all(row["sources"] or row["kind"] == "inert" for row in page["results"])


def test_a_count_outside_the_band_wants_a_reason(cast: Any, as_: Any, day: Any, base: str) -> None:
    address = f"{base}/places/{Place.objects.get(lot=day.lots[0]).pk}/counts/"
    refused = post(as_(cast.steward), address, {"counted": "1 kg"}, uuid.uuid4())
    assert refused.status_code == 422 and refused.json()["errors"][0]["field"] == "reason"
    kept = post(as_(cast.steward), address, {"counted": "1 kg", "reason": "mice"}, uuid.uuid4())
    assert kept.status_code == 201 and not kept.json()["within"]


@pytest.mark.parametrize("name", ["lots", "stock", "materials", "blends", "days", "scales"])
def test_lists_cost_the_same_however_long(
    cast: Any, as_: Any, day: Any, base: str, name: str, django_assert_max_num_queries: Any
) -> None:
    client = as_(cast.organiser)
    with django_assert_max_num_queries(15) as asked:
        client.get(f"{base}/{name}/")
    cost = len(asked)
    for n in range(4):
        post(client, f"{base}/lots/", a_lot(day, cast, code=f"X{n}", spot=f"shed {n}"), uuid.uuid4())
        post(client, f"{base}/blends/", {"name": f"Blend {n}"})
        post(client, f"{base}/materials/", {"name": f"M{n}", "kind": "inert", "label": {}, "slow": "no"})
        post(client, f"{base}/scales/", {"name": f"S{n}", "division": "1 g", "maximum": "5 kg"})
    with django_assert_max_num_queries(cost):
        client.get(f"{base}/{name}/")


# Recipes ----------------------------------------------------------------------------------------------------


def test_a_revision_tells_analysis_and_cost(cast: Any, as_: Any, day: Any, base: str) -> None:
    told = as_(cast.auditor).get(f"{base}/revisions/{day.revision.pk}/").json()
    assert told["analysis"]["grade"] == "13-13-13" and told["mass"] == {"value": "12000", "unit": "g"}
    assert Decimal(told["cost_per_kg"]["value"]).quantize(Decimal("0.001")) == Decimal("1.435")
    assert as_(cast.steward).get(f"{base}/revisions/{day.revision.pk}/").json()["cost_per_kg"] is None


def test_masses_are_kept_as_they_were_written(cast: Any, as_: Any, day: Any, base: str) -> None:
    material = day.lots[0].material_id
    body = {"lines": [{"material": material, "mass": "2 lb 4 oz"}]}
    made = post(as_(cast.organiser), f"{base}/blends/{day.revision.blend_id}/revisions/", body).json()
    assert made["components"][0]["written"] == "2 lb 4 oz" and made["number"] == 2


# Weighing ---------------------------------------------------------------------------------------------------


def test_a_doubtful_reading_is_asked_and_nothing_is_recorded(
    cast: Any, as_: Any, day: Any, base: str
) -> None:
    weighed = WeighOut.objects.filter(pail=day.pails[0]).order_by("pk")[0]
    before = Ticket.objects.count()
    body = {"reason": "read again", "gross": "50 kg"}
    address = f"{base}/weigh-outs/{weighed.pk}/correction/"
    refused = post(as_(cast.steward), address, body, uuid.uuid4())
    assert refused.status_code == 422 and refused.json()["code"] == "over_maximum"
    asked = post(as_(cast.steward), address, body | {"gross": "10 kg"}, uuid.uuid4())
    assert asked.status_code == 422 and asked.json()["code"] == "question" and asked.json()["doubts"]
    assert Ticket.objects.count() == before
    kept = post(
        as_(cast.steward),
        address,
        body | {"gross": "10 kg", "question_reason": "the bag was full"},
        uuid.uuid4(),
    )
    assert kept.status_code == 201 and Ticket.objects.count() == before + 2
    pail = as_(cast.steward).get(f"{base}/pails/{day.pails[0].pk}/").json()
    assert pail["gate"] == "held" and {r["code"] for r in pail["against"]} >= {"open_question"}


def test_a_trace_weighing_alone_waits_for_a_second_look(cast: Any, as_: Any, day: Any, base: str) -> None:
    trace = WeighOut.objects.filter(pail=day.pails[0], component__material__kind="trace_concentrate").get()
    body = {"reason": "weighed again", "alone": True}
    made = post(as_(cast.steward), f"{base}/weigh-outs/{trace.pk}/correction/", body, uuid.uuid4()).json()
    address = f"{base}/pails/{day.pails[0].pk}/"
    assert as_(cast.steward).get(address).json()["to_look_at"] == [made["id"]]
    own = post(as_(cast.steward), f"{base}/weigh-outs/{made['id']}/look/", {})
    assert own.status_code == 422 and own.json()["code"] == "same_person"
    assert post(as_(cast.second_steward), f"{base}/weigh-outs/{made['id']}/look/", {}).status_code == 201
    assert as_(cast.steward).get(address).json()["to_look_at"] == []


def test_only_an_organiser_accepts_what_lies_outside(cast: Any, as_: Any, day: Any, base: str) -> None:
    weighed = WeighOut.objects.filter(pail=day.pails[0]).order_by("pk")[0]
    body = {"reason": "read again", "gross": "5.8 kg", "question_reason": "the bag was full"}
    post(as_(cast.steward), f"{base}/weigh-outs/{weighed.pk}/correction/", body, uuid.uuid4())
    address = f"{base}/pails/{day.pails[0].pk}/release/"
    assert post(as_(cast.steward), address, {}).json()["code"] == "held"
    asked = {"accept": True, "reason": "it will do"}
    assert post(as_(cast.steward), address, asked).json()["code"] == "organiser_wanted"
    assert post(as_(cast.organiser), address, asked).json()["gate"] == "released"


# Calculators ------------------------------------------------------------------------------------------------


def recipe() -> list[dict[str, Any]]:
    return [
        {"name": name, "mass": {"value": f"{mg / 1000}", "unit": "g"}, "label": values, "slow": "no"}
        for name, _, values, mg, _, _ in R
    ]


ANALYSIS: list[tuple[str, str]] = [  # worked example 1, by hand: percent of the element
    ("N", "13.333"), ("P", "5.819"), ("K", "11.069"), ("B", "0.0125"), ("Zn", "0.05"), ("Mo", "0.000625"),
]  # fmt: skip


@pytest.mark.parametrize(("symbol", "percent"), ANALYSIS)
def test_the_analysis_of_the_worked_example(cast: Any, as_: Any, symbol: str, percent: str) -> None:
    told = post(as_(cast.stranger), "/api/v1/calculations/analysis/", {"components": recipe()}).json()
    found = next(n for n in told["nutrients"] if n["symbol"] == symbol)["element"]["value"]
    assert Decimal(found).quantize(Decimal(percent)) == Decimal(percent)


BAD_RECIPES: list[tuple[Any, int]] = [
    ([], 400),
    ([{"mass": "1 kg"}], 400),
    ([{"mass": "1 kg", "label": {"N": "16"}, "formula": "KCl"}], 400),
    ([{"mass": "0 g", "label": {"N": "16"}}], 422),
    ([{"mass": "1 kg", "label": {"Xx": "16"}}], 422),
    ([{"mass": "1 kg", "formula": "EtOH"}], 422),
    ([{"mass": "1 kg", "formula": "KCl", "purity": "0"}], 422),
    ([{"mass": "1 kg", "material": "moon-dust"}], 422),
    ([{"mass": "1 m", "label": {}}], 400),
]


@pytest.mark.parametrize(("components", "status"), BAD_RECIPES)
def test_recipes_that_cannot_be(cast: Any, as_: Any, components: Any, status: int) -> None:
    answer = post(as_(cast.holder), "/api/v1/calculations/analysis/", {"components": components})
    assert answer.status_code == status and answer["Content-Type"] == "application/problem+json"


def test_pails_sum_to_the_batch_and_weigh_outs_to_the_pails(cast: Any, as_: Any) -> None:
    components = [
        {
            "name": name,
            "mass": f"{mg // 1000} g",
            "trace": "trace" in str(kind),
            "inert": str(kind) == "inert",
        }
        for name, kind, _, mg, _, _ in R
    ]
    body = {"components": components, "mass": "25.001 kg ".strip()}
    assert post(as_(cast.holder), "/api/v1/calculations/batch/", body).json()["errors"][0]["readings"]
    body["mass"] = {"value": "25.001", "unit": "kg"}  # type: ignore[assignment]
    told = post(as_(cast.holder), "/api/v1/calculations/batch/", body).json()
    pails = [Decimal(pail["mass"]["value"]) for pail in told["pails"]]
    assert len(pails) == 3 and sum(pails) == Decimal("25001")
    for pail in told["pails"]:
        targets = [Decimal(w["target"]["value"]) for w in pail["weigh_outs"]]
        assert sum(targets) == Decimal(pail["mass"]["value"])


def test_ties_are_told(cast: Any, as_: Any) -> None:
    shares = [{"name": name, "weight": "1"} for name in "abc"]
    body = {"shares": shares, "total": "100 g", "division": "1 g"}
    told = post(as_(cast.holder), "/api/v1/calculations/allocation/", body).json()
    assert [s["mass"]["value"] for s in told["shares"]] == ["34", "33", "33"] and told["ties"] == [
        "a",
        "b",
        "c",
    ]
    assert told["shares"][0]["quota"]["exact"] == "100/3"


BAD_SHARES: list[tuple[dict[str, Any], int]] = [
    ({"shares": [{"name": "a", "weight": "0"}], "total": "1 kg"}, 422),
    ({"shares": [{"name": "a", "weight": "-1"}], "total": "1 kg"}, 400),
    ({"shares": [{"name": "a", "weight": "NaN"}], "total": "1 kg"}, 400),
    ({"shares": [], "total": "1 kg"}, 400),
    ({"shares": [{"name": "a", "weight": "1"}], "total": "1 kg", "division": "0 g"}, 400),
    ({"shares": [{"name": "a", "weight": "1.500 kg"}], "total": "1 kg"}, 400),
]


@pytest.mark.parametrize(("body", "status"), BAD_SHARES)
def test_shares_that_cannot_be(cast: Any, as_: Any, body: dict[str, Any], status: int) -> None:
    answer = post(as_(cast.holder), "/api/v1/calculations/allocation/", body)
    assert answer.status_code == status and answer["Content-Type"] == "application/problem+json"
