"""Doses, rounds, desk and totals through the API; the dose calculator; what a holder may."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from blends.models import Flag, Place
from gardens.models import Planting
from schedules.models import Collection, FeedLog, Round
from tests.cast import make_person, make_plot
from tests.play import make_revision, play_day

pytestmark = pytest.mark.django_db


def post(client: Client, address: str, body: Any, key: Any = None) -> Any:
    headers = {} if key is None else {"Idempotency-Key": str(key)}
    return client.post(address, body, content_type="application/json", headers=headers)


@pytest.fixture
def base(cast: Any) -> str:
    return f"/api/v1/programmes/{cast.programme.pk}"


@pytest.fixture
def day(cast: Any) -> Any:
    return play_day(cast)


def collect(cast: Any, day: Any, **more: Any) -> dict[str, Any]:
    return {"pail": day.pails[0].pk, "collected_by": cast.holder.pk, "reading": "200 g", **more}


# Holders ----------------------------------------------------------------------------------------------------


def test_a_holder_reads_and_logs_on_their_own_plot_alone(cast: Any, as_: Any, base: str) -> None:
    mine, other = cast.plot, make_plot(cast.garden, "18", make_person(cast.programme, "Ida", "holder"))[0]
    client = as_(cast.holder)
    body = {"kind": "skipped", "day": f"{timezone.now().date()}", "bed": cast.bed.pk}
    assert client.get(f"{base}/plots/{mine.pk}/week/").status_code == 200
    assert post(client, f"{base}/plots/{mine.pk}/logs/", body).status_code == 201
    assert client.get(f"{base}/plots/{other.pk}/week/").status_code == 404
    assert post(client, f"{base}/plots/{other.pk}/logs/", body | {"bed": None}).status_code == 404
    assert client.get(f"{base}/plots/").status_code == 403
    assert FeedLog.objects.count() == 1


def test_a_week_comes_with_its_working(cast: Any, as_: Any, base: str) -> None:
    Planting.objects.create(
        programme=cast.programme, bed=cast.bed, crop_code="tomato", crop_name="tomato",
        day=dt.date(2026, 5, 11), ends_on=dt.date(2026, 9, 28),
    )  # fmt: skip
    make_revision(cast.programme, cast.organiser)
    told = as_(cast.holder).get(f"{base}/plots/{cast.plot.pk}/week/?day=2026-07-08").json()
    (dose,) = told["doses"]
    assert told["first"] == "2026-07-06" and not dose["assumed"] and dose["feed"]["day"] == "2026-07-06"
    assert Decimal(dose["due"]["value"]).quantize(Decimal("0.01")) == Decimal("21.77")  # 2-science, section 5
    assert dose["plan"]["working"]["steps"][0]["number"] == 1


def test_an_undone_log_stays_listed(cast: Any, as_: Any, base: str) -> None:
    body = {"kind": "fed", "day": f"{timezone.now().date()}", "bed": cast.bed.pk}
    made = post(as_(cast.organiser), f"{base}/plots/{cast.plot.pk}/logs/", body).json()
    address = f"{base}/plots/{cast.plot.pk}/logs/{made['id']}/"
    assert as_(cast.organiser).delete(address).json()["undone_at"]
    assert as_(cast.organiser).delete(address).status_code == 409


# Rounds -----------------------------------------------------------------------------------------------------


def test_demand_is_the_same_at_each_level(cast: Any, as_: Any, base: str) -> None:
    make_plot(cast.garden, "18", make_person(cast.programme, "Ida", "holder"))
    revision = make_revision(cast.programme, cast.organiser)
    body = {"gardens": [cast.garden.pk], "first_day": "2026-07-06", "weeks": 4, "revision": revision.pk}
    made = post(as_(cast.organiser), f"{base}/rounds/", body)
    assert made.status_code == 201, made.content
    told = as_(cast.auditor).get(f"{base}/rounds/{made.json()['round']['id']}/demand/").json()
    plots = [Decimal(p["mass"]["value"]) for g in told["gardens"] for p in g["plots"]]
    assert sum(plots) == Decimal(told["mass"]["value"]) == Decimal(told["assumed"]["value"])
    assert (plots[0] / 4).quantize(Decimal("0.001")) == Decimal("13.608")  # 9.764855 g N / 16 on 2.972897 m2


def test_a_round_without_soluble_nitrogen_is_refused(cast: Any, as_: Any, base: str) -> None:
    client = as_(cast.organiser)
    material = post(
        client, f"{base}/materials/", {"name": "Sand", "kind": "inert", "label": {}, "slow": "no"}
    ).json()
    blend = post(client, f"{base}/blends/", {"name": "Nothing"}).json()
    lines = {"lines": [{"material": material["id"], "mass": "1 kg"}]}
    revision = post(client, f"{base}/blends/{blend['id']}/revisions/", lines).json()
    body = {"gardens": [cast.garden.pk], "first_day": "2026-07-06", "revision": revision["id"]}
    answer = post(client, f"{base}/rounds/", body)
    assert answer.status_code == 422 and answer.json()["code"] == "no_soluble_nitrogen"
    assert not Round.objects.exists()


# The desk ---------------------------------------------------------------------------------------------------


def test_the_tub_is_asked_about_with_what_it_would_be(cast: Any, as_: Any, day: Any, base: str) -> None:
    """Worked example 3: 200 g due, 45 at home, 58 the tub: 258 on the scale is 155 net."""
    address = f"{base}/portions/{day.portions['17'].pk}/collections/"
    body = collect(cast, day, home="45 g", reading="258 g")
    asked = post(as_(cast.steward), address, body, uuid.uuid4())
    assert asked.status_code == 422 and asked.json()["code"] == "with_the_tub"
    assert asked.json()["net"] == {"value": "155", "unit": "g"} and not Collection.objects.exists()
    kept = post(as_(cast.steward), address, body | {"with_tub": True}, uuid.uuid4())
    assert kept.status_code == 201 and kept.json()["net"]["value"] == "155"


def test_the_same_collection_ten_times_is_one(cast: Any, as_: Any, day: Any, base: str) -> None:
    address, key = f"{base}/portions/{day.portions['17'].pk}/collections/", uuid.uuid4()
    answers = [post(as_(cast.steward), address, collect(cast, day), key) for _ in range(10)]
    assert [a.status_code for a in answers] == [201, *[200] * 9]
    assert len({a.content for a in answers}) == 1 and Collection.objects.count() == 1


def test_what_was_told_is_kept_and_flagged(cast: Any, as_: Any, day: Any, base: str) -> None:
    address = f"{base}/portions/{day.portions['17'].pk}/collections/"
    for _ in range(2):
        told = post(as_(cast.steward), address, collect(cast, day, told=True), uuid.uuid4())
        assert told.status_code == 201 and told.json()["told"]
    (flag,) = as_(cast.auditor).get(f"{base}/flags/").json()["results"]
    assert flag["code"] == "twice"
    assert post(as_(cast.steward), f"{base}/flags/{flag['id']}/settle/", {"reason": "x"}).status_code == 403
    settled = post(as_(cast.organiser), f"{base}/flags/{flag['id']}/settle/", {"reason": "both were there"})
    assert settled.json()["settled_reason"] == "both were there"
    assert not Flag.objects.filter(settled_at=None).exists()


def test_a_held_pail_hands_nothing_out(cast: Any, as_: Any, day: Any, base: str) -> None:
    client = as_(cast.steward)
    post(client, f"{base}/pails/{day.pails[0].pk}/hold/", {"reason": "a lump"})
    address = f"{base}/portions/{day.portions['17'].pk}/collections/"
    answer = post(client, address, collect(cast, day), uuid.uuid4())
    assert answer.status_code == 409 and answer.json()["code"] == "pail_not_released"
    assert Place.objects.get(pail=day.pails[0]).balance_mg == 6_000_000


def test_a_correction_keeps_both(cast: Any, as_: Any, day: Any, base: str) -> None:
    client = as_(cast.steward)
    address = f"{base}/portions/{day.portions['17'].pk}/collections/"
    made = post(client, address, collect(cast, day), uuid.uuid4()).json()
    body = {"reading": "190 g", "reason": "read it wrong"}
    again = post(client, f"{base}/collections/{made['id']}/correction/", body, uuid.uuid4()).json()
    shown = client.get(f"{base}/portions/{day.portions['17'].pk}/").json()
    assert [(c["id"], c["reversed"]) for c in shown["collections"]] == [
        (again["id"], False),
        (made["id"], True),
    ]
    assert shown["had"]["value"] == "190" and shown["left"]["value"] == "10"


def test_totals_add_up_and_open_their_tickets(cast: Any, as_: Any, day: Any, base: str) -> None:
    address = f"{base}/portions/{day.portions['17'].pk}/collections/"
    made = post(as_(cast.steward), address, collect(cast, day), uuid.uuid4()).json()
    told = as_(cast.auditor).get(f"{base}/totals/").json()
    assert told["came_in"] == told["is_now"] and told["disagreement"] == {"value": "0", "unit": "g"}
    assert told["handed_out"]["value"] == told["persons"][0]["took"]["value"] == "200"
    tickets = as_(cast.auditor).get(f"{base}/tickets/?kind=hand_out").json()["results"]
    assert [t["id"] for t in tickets] == [made["ticket"]]
    assert as_(cast.steward).get(f"{base}/totals/").status_code == 403


def test_a_day_that_is_none_is_told(cast: Any, as_: Any, base: str) -> None:
    assert as_(cast.auditor).get(f"{base}/totals/?first=yesterday").status_code == 400
    assert as_(cast.auditor).get(f"{base}/week/?day=2026-02-30").status_code == 400


LISTS = [
    "week",
    "rounds",
    "tickets",
    "flags",
    "days/{day}/desk",
    "rounds/{round}/portions",
    "rounds/{round}/demand",
]


@pytest.mark.parametrize(
    "name", [*LISTS, "rounds/{round}", "totals", "portions/{portion}", "plots/{plot}/week"]
)
def test_questions_cost_the_same_however_many_rows(
    cast: Any, as_: Any, day: Any, base: str, name: str, django_assert_max_num_queries: Any
) -> None:
    from tests.play import make_portion

    places = {
        "day": day.day.pk,
        "round": day.round.pk,
        "portion": day.portions["17"].pk,
        "plot": cast.plot.pk,
    }
    client, address = as_(cast.organiser), f"{base}/{name.format(**places)}/"
    post(
        client,
        f"{base}/portions/{places['portion']}/collections/",
        collect(cast, day, reading="20 g"),
        uuid.uuid4(),
    )
    with django_assert_max_num_queries(20) as asked:
        assert client.get(address).status_code == 200
    cost = len(asked)
    for n in range(4):
        holder = make_person(cast.programme, f"Ida{n}", "holder")
        plot, _, household = make_plot(cast.garden, f"2{n}", holder)
        portion = make_portion(day.round, plot, household, 200_000)
        body = collect(cast, day, collected_by=holder.pk, told=True)
        for reading in ("20 g", "230 g"):
            made = post(
                client,
                f"{base}/portions/{portion.pk}/collections/",
                body | {"reading": reading},
                uuid.uuid4(),
            )
            assert made.status_code == 201, made.content
    with django_assert_max_num_queries(cost):
        client.get(address)


# The dose calculator ----------------------------------------------------------------------------------------

SEASON = {
    "last_frost": "2026-04-20", "first_frost": "2026-10-20", "first_feed": "2026-05-04", "last_feed": "2026-09-14",
}  # fmt: skip
DOSE = {"bed": "4 x 8 ft", "season": SEASON, "blend": {"soluble_nitrogen": "40/3 %", "boron": "0.0125 %"}}
DOSES: list[tuple[dict[str, Any], list[str]]] = [  # 2-science, section 5: unrounded feeds of R, grams
    ({"crop": "tomato", "day": "2026-05-11", "ends_on": "2026-09-28"}, ["10.89", "10.89", *["21.77"] * 14]),
    ({"crop": "lettuce", "day": "2026-05-01", "ends_on": "2026-06-20"}, ["18.58", "18.58", "37.16", "37.16"]),
    ({"crop": "beans", "day": "2026-05-11", "sown": True}, []),
]


@pytest.mark.parametrize(("planting", "feeds"), DOSES)
def test_doses_of_the_worked_check(cast: Any, as_: Any, planting: dict[str, Any], feeds: list[str]) -> None:
    told = post(as_(cast.stranger), "/api/v1/calculations/dose/", DOSE | {"plantings": [planting]}).json()
    masses = [Decimal(f["mass"]["value"]).quantize(Decimal("0.01")) for f in told["plantings"][0]["feeds"]]
    assert masses == [Decimal(mass) for mass in feeds]


def test_without_a_crop_it_is_the_default_planting(cast: Any, as_: Any) -> None:
    told = post(as_(cast.stranger), "/api/v1/calculations/dose/", DOSE).json()
    (plan,) = told["plantings"]
    assert plan["assumed"] and len(plan["feeds"]) == 16


BAD_DOSES: list[tuple[dict[str, Any], int]] = [
    ({"bed": "4 by"}, 422),
    ({"blend": {"soluble_nitrogen": "0 %"}}, 400),
    ({"blend": {"soluble_nitrogen": "13 %", "slow": True}}, 422),
    ({"season": SEASON | {"last_feed": "2026-01-01"}}, 422),
    ({"season": SEASON | {"last_feed": "2226-01-01"}}, 400),
    ({"plantings": [{"crop": "tomato", "day": "2026-05-11", "ends_on": "2026-05-01"}]}, 422),
    ({"plantings": [{"crop": "tomato", "day": "2026-05-11", "feed_on_request": True}]}, 422),
    ({"plantings": [{"crop": "tomato", "day": "2026-05-11"}, {"crop": "leek", "day": "2026-05-11"}]}, 422),
    ({"scoop": "0 g"}, 400),
]


@pytest.mark.parametrize(("change", "status"), BAD_DOSES)
def test_doses_that_cannot_be(cast: Any, as_: Any, change: dict[str, Any], status: int) -> None:
    answer = post(as_(cast.holder), "/api/v1/calculations/dose/", DOSE | change)
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"] == "application/problem+json"
