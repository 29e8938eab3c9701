"""A whole mixing day, played by a script that has the schema and nothing else."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal
from typing import Any

import pytest

from blends.ledger import disagreements
from gardens.models import Person, Programme, Role, User
from tests.schedules.api_script import Script, grams

pytestmark = pytest.mark.django_db

PASSWORD = "nine tall beans climb"
SHEET = """garden,plot,plot size,holder,contact,bed measures,crop,planted on,sown or transplanted
Lock Lane,1,,Zoë Brandt,zoe@ostermere.example,2 × 4 x 8 ft,,,
Lock Lane,2,,Anton Lind,anton@ostermere.example,4 x 8 ft,,,
Lock Lane,3,,Mina Okoro,,1.2 × 3 m,,,
Kiln Field,7,3 x 6 m,Ines Vidal,555 0107,,,,
"""


@pytest.fixture(autouse=True)
def _quick_passwords(settings: Any) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def today() -> dt.date:
    return dt.datetime.now(dt.UTC).date()


@pytest.fixture
def script() -> Script:
    """Signed in by e-mail and password, as the organiser of a programme begun by the script."""
    User.objects.create_user("orla@ostermere.example", PASSWORD)
    script = Script()
    script.token = script("token_make", {"email": "orla@ostermere.example", "password": PASSWORD})["token"]
    return script


def begin(script: Script) -> int:
    made = script(
        "programme_found",
        {
            "name": "Ostermere Shared Gardens", "zone": "Europe/Lisbon", "currency": "EUR",
            "tub_mass": "58 g", "desk_division": {"value": "1", "unit": "g"}, "person_name": "Orla",
        },
    )  # fmt: skip
    assert script("programme_list")[0]["id"] == made["id"] and made["roles"] == ["organiser"]
    return int(made["id"])


def bring_in(script: Script, programme: int, today: dt.date) -> None:
    """Preview, then bring in; the same sheet twice changes nothing."""
    seen = script("sheet_preview", {"sheet": SHEET}, programme=programme)
    assert seen["ready"] and seen["new_gardens"] == ["Lock Lane", "Kiln Field"] and not seen["bad_rows"]
    season = {
        "last_frost": f"{today - dt.timedelta(days=40)}",
        "first_frost": f"{today + dt.timedelta(days=140)}",
        "first_feed": f"{today - dt.timedelta(days=14)}",
        "last_feed": f"{today + dt.timedelta(days=110)}",
    }
    sheet = {"sheet": SHEET, "season": season, "since": f"{today - dt.timedelta(days=60)}"}
    assert script("sheet_bring_in", sheet, programme=programme)["counts"]["plots"] == 4
    assert not script("sheet_bring_in", sheet, programme=programme)["changed"]


def buy(script: Script, programme: int, garden: int, today: dt.date) -> dict[str, int]:
    """One material of the catalogue, three typed from their bags; a lot of each. Names to ids."""
    catalogue = {row["formula"]: row["code"] for row in script.rows("catalogue_list", programme=programme)}
    adopted = script("material_adopt", {"code": catalogue["MgSO4·7H2O"]}, programme=programme)
    typed = [
        ("Compound 16-16-16", "compound", {"N": "16", "P2O5": "16 %", "K2O": {"value": "16", "unit": "%"}}),
        ("Trace concentrate", "trace_concentrate", {"B": "1", "Cu": "1.5", "Fe": "6", "Mn": "5", "Mo": "0.05", "Zn": "4"}),
        ("Drying agent", "inert", {}),
    ]  # fmt: skip
    materials = {adopted["name"]: adopted["id"]}
    for name, kind, label in typed:
        body = {"name": name, "kind": kind, "label": label, "slow": "no"}
        materials[name] = script("material_declare", body, programme=programme)["id"]
    bags = {
        "Compound 16-16-16": ("25 kg", "29.00"), adopted["name"]: ("10 kg", "12.50"),
        "Trace concentrate": ("1 kg", "18.00"), "Drying agent": ("2 kg", {"value": "6.00", "unit": "EUR"}),
    }  # fmt: skip
    lots = {}
    for n, (name, (mass, price)) in enumerate(bags.items(), 1):
        body = {
            "material": materials[name], "code": f"L{n}", "bags": 1, "bag_mass": mass, "price": price,
            "supplier": "the farm store", "day": f"{today}", "garden": garden, "spot": "north shed",
        }  # fmt: skip
        lots[name] = script("lot_receive", body, programme=programme)["id"]
    stock = script.rows("stock_list", programme=programme)
    assert sum(Decimal(grams(row["total"])) for row in stock) == 38_000
    return materials | {f"lot of {name}": pk for name, pk in lots.items()}


def write_blend(script: Script, programme: int, ids: dict[str, int]) -> dict[str, Any]:
    """Blend R of the worked examples, its masses in three ways of writing them."""
    blend = script("blend_start", {"name": "All-round"}, programme=programme)["id"]
    masses: dict[str, Any] = {
        "Compound 16-16-16": "10 kg", "Trace concentrate": {"value": "150", "unit": "g"}, "Drying agent": "350 g",
    }  # fmt: skip
    masses |= {name: "1500 g" for name in ids if name not in masses and not name.startswith("lot of")}
    draft = [{"material": ids[name], "amount": "10 kg"} for name in masses]
    script("blend_draft", {"lines": draft}, programme=programme, blend=blend)
    lines = [{"material": ids[name], "mass": mass} for name, mass in masses.items()]
    revision = script("revision_freeze", {"lines": lines}, programme=programme, blend=blend)
    nitrogen = revision["analysis"]["nutrients"][0]["element"]
    assert Decimal(nitrogen["value"]).quantize(Decimal("0.001")) == Decimal("13.333")
    assert revision["analysis"]["grade"] == "13-13-13"
    assert Decimal(revision["cost_per_kg"]["value"]).quantize(Decimal("0.001")) == Decimal("1.435")
    plan = script("revision_plan", {"mass": "12 kg"}, programme=programme, revision=revision["id"])
    assert [grams(pail) for pail in plan["pails"]] == ["6000", "6000"] and plan["scales_assumed"]
    return revision


def prepare_day(script: Script, programme: int, garden: int, today: dt.date) -> dict[str, Any]:
    """Two scales, a day, its crew, the whole safety list."""
    for name, step, most in (("Floor scale", "5 g", "30 kg"), ("Bench scale", "0.1 g", "2 kg")):
        body = {"name": name, "division": step, "minimum": "0 g", "maximum": most}
        script("scale_add", body, programme=programme)
    organiser = script("programme_show", programme=programme)["person"]
    body = {"garden": garden, "day": f"{today}", "starts_at": "09:00", "crew": [organiser]}
    day = script("day_open", body, programme=programme)
    for point in day["safety"]:
        day = script("safety_tick", {"point": point["point"]}, programme=programme, day=day["id"])
    assert day["safe"]
    return dict(day)


def weigh(script: Script, programme: int, pail: int, ids: dict[str, int], witness: int) -> None:
    """Every component in the order of weighing, to its target; a doubtful reading is asked about first."""
    state = script("pail_show", programme=programme, pail=pail)
    for component in state["components"]:
        body = {
            "component": component["component"], "lot": ids[f"lot of {component['name']}"],
            "scale": component["scale"], "gross": component["target"], "witness": witness,
        }  # fmt: skip
        where = {"programme": programme, "pail": pail}
        if component["name"] == "Compound 16-16-16":
            wrong = body | {"gross": "1 kg"}
            assert script("weigh_out", wrong, expect=422, **where)["doubts"]
        key = uuid.uuid4()
        made = script("weigh_out", body, key=key, expect=201, **where)
        again = script("weigh_out", body, key=key, expect=200, **where)
        assert again == made and again.headers["Idempotency-Replayed"] == "true"


def test_a_script_with_the_schema_alone_plays_the_whole_day(script: Script, today: dt.date) -> None:
    programme = begin(script)
    bring_in(script, programme, today)
    gardens = {row["name"]: row["id"] for row in script.rows("garden_list", programme=programme)}
    ids = buy(script, programme, gardens["Lock Lane"], today)
    revision = write_blend(script, programme, ids)
    day = prepare_day(script, programme, gardens["Lock Lane"], today)

    # the round: live demand, all of it assumed; the freeze makes portions; the batch
    body = {
        "gardens": list(gardens.values()), "first_day": f"{today}", "weeks": 4,
        "revision": revision["id"], "mixing_day": day["id"],
    }  # fmt: skip
    round_ = script("round_open", body, programme=programme)["round"]["id"]
    need = script("round_demand", programme=programme, round=round_)
    assert need["mass"] == need["assumed"] and sum(
        Decimal(grams(g["mass"])) for g in need["gardens"]
    ) == Decimal(grams(need["mass"]))
    frozen = script("round_freeze", programme=programme, round=round_)
    assert frozen["round"]["state"] == "frozen" and frozen["need"] == need["mass"]
    week = script("plot_week", programme=programme, plot=need["gardens"][0]["plots"][0]["plot"])
    assert week["doses"][0]["plan"]["working"]["steps"]
    batch = script("round_mix", {}, programme=programme, round=round_)

    # the pails: weighed before a witness, scoops weighed, released, held, released again
    witness = script("person_add", {"name": "Stevo", "contact": "555 0144"}, programme=programme)["id"]
    for pail in batch["pails"]:
        weigh(script, programme, pail["id"], ids, witness)
        assert script("pail_release", {}, programme=programme, pail=pail["id"])["gate"] == "released"
    script("scoops_weigh", {"ten_scoops": "142 g"}, programme=programme, batch=batch["id"])
    script("pail_hold", {"reason": "a lump"}, programme=programme, pail=batch["pails"][0]["id"])
    script("pail_release", {"reason": "sieved"}, programme=programme, pail=batch["pails"][0]["id"])

    # the desk: found by part of a name, "with the tub?", once, twice, corrected
    (row,) = script.rows("desk_list", programme=programme, day=day["id"], q="zoe")
    assert row["state"] == "to_come" and row["names"] == ["Zoë Brandt"]
    portion = script("portion_show", programme=programme, portion=row["portion"])
    due = Decimal(grams(portion["left"]))
    where = {"programme": programme, "portion": row["portion"]}
    body = {
        "pail": portion["pails"][0]["id"], "collected_by": portion["members"][0]["id"],
        "reading": f"{due + 58} g",
    }  # fmt: skip
    asked = script("collect", body, expect=422, **where)
    assert asked["code"] == "with_the_tub" and Decimal(grams(asked["net"])) == due
    key = uuid.uuid4()
    had = script("collect", body | {"with_tub": True}, key=key, expect=201, **where)
    assert script("collect", body | {"with_tub": True}, key=key, expect=200, **where) == had
    assert script("collect", body, key=key, expect=409, **where)["code"] == "key_reused"
    assert script("collect", body, expect=409, **where)["code"] == "already_collected"
    right = {"reason": "read it again", "reading": f"{due - 1} g"}
    better = script("collection_correct", right, programme=programme, collection=had["id"])
    assert Decimal(grams(better["net"])) == due - 1
    assert script("collection_show", programme=programme, collection=had["id"])["reversed"]

    # a second plot is told; then everything is counted and closed
    (told,) = script.rows("desk_list", programme=programme, day=day["id"], q="anton")
    portion = script("portion_show", programme=programme, portion=told["portion"])
    body = {
        "pail": portion["pails"][0]["id"], "collected_by": portion["members"][0]["id"],
        "reading": portion["due"], "told": True,
    }  # fmt: skip
    script("collect", body, programme=programme, portion=told["portion"])
    script("day_close", programme=programme, day=day["id"], expect=409)
    for place in script("day_show", programme=programme, day=day["id"])["uncounted"]:
        balance = script("place_show", programme=programme, place=place)["balance"]
        assert script("count_make", {"counted": balance}, programme=programme, place=place)["within"]
    assert script("day_close", programme=programme, day=day["id"])["state"] == "closed"
    closed = body | {"told": False}
    assert (
        script("collect", closed, programme=programme, portion=told["portion"], expect=409)["code"]
        == "day_closed"
    )

    # totals: they add up, nothing disagrees, everything to settle is named
    totals = script("totals_show", programme=programme)
    assert totals["came_in"] == totals["is_now"] and grams(totals["received"]) == "38000"
    assert grams(totals["disagreement"]) == "0" and not disagreements(Programme.objects.get(pk=programme))
    handed = Decimal(grams(totals["handed_out"]))
    assert handed == sum(Decimal(grams(p["took"])) for p in totals["persons"])
    assert handed == due - 1 + Decimal(grams(told["due"]))
    assert len(totals["came"]) == 2 and len(totals["not_came"]) == 2
    assert not script.rows("flag_list", programme=programme)
    lines = script("ticket_show", programme=programme, ticket=better["ticket"])["lines"]
    assert [line["mass"] for line in lines] == [better["net"]]


def test_a_revoked_token_opens_nothing(script: Script) -> None:
    script("token_revoke")
    assert script("programme_list", expect=401)["code"] == "authentication_failed"


def test_a_wrong_password_gets_no_token(script: Script) -> None:
    wrong = {"email": "orla@ostermere.example", "password": "no"}
    assert script("token_make", wrong, expect=422)["code"] == "sign_in"


def test_tokens_are_not_guessed_for_long(script: Script) -> None:
    wrong = {"email": "sten@ostermere.example", "password": "no"}
    answers = [
        script.client.post("/api/v1/token/", wrong, content_type="application/json") for _ in range(12)
    ]
    assert [a.status_code for a in answers][-1] == 429 and "Retry-After" in answers[-1].headers


def test_a_steward_may_weigh_and_may_not_organise(script: Script, today: dt.date) -> None:
    programme = begin(script)
    steward = Person.objects.create(
        programme_id=programme,
        name="Sanne",
        user=User.objects.create_user("sanne@ostermere.example", PASSWORD),
    )
    Role.objects.create(programme_id=programme, person=steward, name="steward")
    other = Script()
    other.token = other("token_make", {"email": "sanne@ostermere.example", "password": PASSWORD})["token"]
    assert other.rows("scale_list", programme=programme) == []
    body = {"name": "Floor", "division": "5 g", "maximum": "30 kg"}
    assert other("scale_add", body, programme=programme, expect=403)["code"] == "permission_denied"
