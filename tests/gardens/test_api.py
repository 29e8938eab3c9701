"""The API's plumbing: quantities in and out, problems, signing in, pages, land, the area calculator."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st
from rest_framework import serializers

from gardens.api.quantities import Area, Mass, MeasureText, Percent, decimal_text, figure
from gardens.models import Bed, Garden, Plot, Tenancy

# Quantities -------------------------------------------------------------------------------------------------

MASSES: list[tuple[Any, int]] = [
    ("2 lb 4 oz", 1_020_583),
    ("155 g", 155_000),
    ("½ lb", 226_796),
    ({"value": "155", "unit": "g"}, 155_000),
    ({"value": "1.500", "unit": "kg"}, 1_500_000),  # no text, so no second reading
    ({"value": "2.25", "unit": "lb"}, 1_020_583),
]


@pytest.mark.parametrize(("sent", "mg"), MASSES)
def test_a_mass_goes_in_as_text_or_as_value_and_unit(sent: Any, mg: int) -> None:
    assert Mass().run_validation(sent) == mg


BAD_MASSES: list[tuple[Any, str]] = [
    ("1.500 kg", "ambiguous"),
    ("", "empty"),
    ("155", "unit_missing"),
    ("4 ft", "unit_kind"),
    (155, "form"),
    (Decimal("1.5"), "form"),
    (True, "form"),
    ([], "form"),
    ({"value": 155, "unit": "g"}, "value"),
    ({"value": "NaN", "unit": "g"}, "value"),
    ({"value": "Infinity", "unit": "g"}, "value"),
    ({"value": "1e3", "unit": "g"}, "value"),
    ({"value": "1,5", "unit": "kg"}, "value"),
    ({"value": "-1", "unit": "g"}, "negative"),
    ({"value": "1", "unit": "m"}, "unit"),
    ({"value": "1", "unit": "stone"}, "unit"),
    ({"value": "1"}, "form"),
    ({"value": "1", "unit": "g", "why": ""}, "form"),
    ({"value": "999999999999", "unit": "kg"}, "too_much"),
]


@pytest.mark.parametrize(("sent", "code"), BAD_MASSES)
def test_a_mass_that_cannot_be_is_refused_by_code(sent: Any, code: str) -> None:
    with pytest.raises(serializers.ValidationError) as refused:
        Mass().run_validation(sent)
    assert [str(detail.code) for detail in refused.value.detail] == [code]  # type: ignore[union-attr]


def test_nothing_is_refused_where_something_is_wanted() -> None:
    with pytest.raises(serializers.ValidationError, match="More than nothing"):
        Mass(positive=True).run_validation("0 g")


@given(st.integers(min_value=0, max_value=10**12))
def test_what_comes_out_goes_in_again(mg: int) -> None:
    assert Mass().run_validation(Mass().to_representation(mg)) == mg


@given(st.integers(min_value=1, max_value=10**13))
def test_so_do_areas(mm2: int) -> None:
    assert Area().run_validation(Area().to_representation(mm2)) == mm2


@given(st.fractions(min_value=0, max_value=10**9, max_denominator=10**6))
def test_a_figure_is_exact_or_says_so(value: Fraction) -> None:
    text, exact = decimal_text(value)
    assert Fraction(exact or text) == value
    assert abs(Fraction(text) - value) <= value / 10**27


FIGURES: list[tuple[Any, dict[str, str]]] = [
    (Fraction(40, 3), {"value": "13.33333333333333333333333333", "unit": "%", "exact": "40/3"}),
    (Fraction(1, 8), {"value": "0.125", "unit": "%"}),
    (100, {"value": "100", "unit": "%"}),
    (Decimal("0.0"), {"value": "0", "unit": "%"}),
    (Fraction(-5, 4), {"value": "-1.25", "unit": "%"}),
]


@pytest.mark.parametrize(("value", "told"), FIGURES)
def test_figures_are_plain_decimals(value: Any, told: dict[str, str]) -> None:
    assert figure(value, "%") == told


@pytest.mark.parametrize(
    ("sent", "share"),
    [
        ("13.5 %", Fraction(27, 2)),
        ("40/3 %", Fraction(40, 3)),
        ("16", Fraction(16)),
        ("13,5%", Fraction(27, 2)),
    ],
)
def test_percents_may_be_fractions(sent: str, share: Fraction) -> None:
    assert Percent().run_validation(sent) == share


@pytest.mark.parametrize("sent", ["101", "-1", "1/0", "%", "ten", "1/3/4", {"value": "5", "unit": "g"}])
def test_percents_that_cannot_be(sent: Any) -> None:
    with pytest.raises(serializers.ValidationError):
        Percent().run_validation(sent)


def test_measures_keep_their_words() -> None:
    assert MeasureText().run_validation(" 2 × 4 x 8 ft") == "2 × 4 x 8 ft"
    assert MeasureText().run_validation({"value": "1.234", "unit": "m2"}) == "1.2340 m2"


# Problems ---------------------------------------------------------------------------------------------------


def post(client: Client, address: str, body: Any) -> Any:
    return client.post(address, body, content_type="application/json")


def test_an_unknown_address_of_the_api_is_a_problem(client: Client) -> None:
    answer = client.get("/api/v1/nothing/")
    assert answer.status_code == 404 and answer["Content-Type"] == "application/problem+json"
    assert answer.json()["code"] == "not_found"


def test_elsewhere_it_is_a_page(client: Client, db: None) -> None:
    answer = client.get("/nothing/")
    assert answer.status_code == 404 and answer["Content-Type"].startswith("text/html")


def test_a_server_error_is_a_problem_without_details(cast: Any, as_: Any, monkeypatch: Any) -> None:
    def broken(*args: Any) -> None:
        raise RuntimeError("the shed burns")

    monkeypatch.setattr("gardens.api.calculations.area", broken)
    client = as_(cast.holder)
    client.raise_request_exception = False
    answer = post(client, "/api/v1/calculations/area/", {"size": "4 x 8 ft"})
    assert answer.status_code == 500 and answer["Content-Type"] == "application/problem+json"
    assert answer.json()["code"] == "server_error" and b"shed" not in answer.content


@pytest.mark.parametrize("body", ["{", "", "[" * 100_000, "NaN", b"\xff\xfe"])
def test_what_is_no_json_is_a_problem(cast: Any, as_: Any, body: Any) -> None:
    answer = as_(cast.holder).generic(
        "POST", "/api/v1/calculations/area/", body, content_type="application/json"
    )
    assert answer.status_code == 400 and answer.json()["code"] in ("parse_error", "invalid")


def test_too_much_is_told(cast: Any, as_: Any, monkeypatch: Any) -> None:
    monkeypatch.setattr("gardens.api.parsing.MOST_BYTES", 100)
    answer = post(as_(cast.holder), "/api/v1/calculations/area/", {"size": "4" * 200})
    assert answer.status_code == 413 and answer.json()["code"] == "too_large"


def test_other_kinds_than_json_are_told(cast: Any, as_: Any) -> None:
    answer = as_(cast.holder).post("/api/v1/calculations/area/", {"size": "4 x 8 ft"})
    assert answer.status_code == 415 and answer["Content-Type"] == "application/problem+json"


def test_both_readings_are_told(cast: Any, as_: Any) -> None:
    answer = post(as_(cast.holder), "/api/v1/calculations/area/", {"size": "1.500 m²"})
    (fault,) = answer.json()["errors"]
    assert answer.status_code == 422 and fault["code"] == "ambiguous"
    for reading in fault["readings"]:
        assert post(as_(cast.holder), "/api/v1/calculations/area/", {"size": reading}).status_code == 200


def test_errors_name_their_fields(cast: Any, as_: Any) -> None:
    answer = post(
        as_(cast.organiser), f"/api/v1/programmes/{cast.programme.pk}/gardens/", {"last_feed": "soon"}
    )
    assert answer.status_code == 400
    assert {fault["field"] for fault in answer.json()["errors"]} == {
        "name", "last_frost", "first_frost", "first_feed", "last_feed",
    }  # fmt: skip


# Signing in -------------------------------------------------------------------------------------------------


def test_nobody_is_challenged_for_a_token(client: Client, db: None) -> None:
    answer = client.get("/api/v1/programmes/")
    assert answer.status_code == 401 and answer["WWW-Authenticate"] == "Token"
    assert answer.json()["code"] == "not_authenticated"


def test_a_session_needs_its_csrf_token(cast: Any) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.holder.user)
    answer = post(client, "/api/v1/calculations/area/", {"size": "4 x 8 ft"})
    assert answer.status_code == 403 and answer.json()["code"] == "permission_denied"


def test_schema_and_docs_are_ours_and_need_no_sign_in(client: Client, db: None) -> None:
    page = client.get("/api/v1/docs/")
    assert page.status_code == 200 and "'unsafe-inline'" not in page["Content-Security-Policy"]
    assert (
        b"<script>" not in page.content and b"<style" not in page.content and b"https://" not in page.content
    )
    schema = client.get("/api/v1/schema/").json()
    assert schema["openapi"].startswith("3.1")


# Land -------------------------------------------------------------------------------------------------------


def test_a_plot_with_beds_and_holders(cast: Any, as_: Any) -> None:
    client, base = as_(cast.organiser), f"/api/v1/programmes/{cast.programme.pk}"
    plot = post(client, f"{base}/plots/", {"garden": cast.garden.pk, "label": "40", "size": "3 x 6 m"}).json()
    assert plot["area"] == {"value": "18", "unit": "m2"}
    beds = post(client, f"{base}/plots/{plot['id']}/beds/", {"size": "2 × 4 x 8 ft"}).json()
    assert [bed["area"]["value"] for bed in beds] == ["2.972897", "2.972897"]
    held = post(
        client, f"{base}/plots/{plot['id']}/tenancies/", {"persons": [cast.holder.pk], "day": "2026-06-01"}
    )
    assert held.status_code == 201 and Tenancy.objects.filter(plot=plot["id"]).count() == 1
    shown = client.get(f"{base}/plots/{plot['id']}/").json()
    assert shown["household"] == "Henna" and len(shown["beds"]) == 2


def test_a_bad_bed_is_told_at_its_field_and_nothing_is_kept(cast: Any, as_: Any) -> None:
    address = f"/api/v1/programmes/{cast.programme.pk}/plots/{cast.plot.pk}/beds/"
    answer = post(as_(cast.organiser), address, {"size": "4 by"})
    assert answer.status_code == 400 and answer.json()["errors"][0]["field"] == "size"
    assert Bed.objects.filter(plot=cast.plot).count() == 1


def test_lists_come_in_pages(cast: Any, as_: Any) -> None:
    Plot.objects.bulk_create(
        Plot(programme=cast.programme, garden=cast.garden, label=f"A{n}") for n in range(7)
    )
    page = as_(cast.auditor).get(f"/api/v1/programmes/{cast.programme.pk}/plots/?limit=3&offset=6").json()
    assert page["count"] == 8 and len(page["results"]) == 2
    assert page["next"] is None and "offset=3" in page["previous"]


@pytest.mark.parametrize("name", ["plots", "gardens", "persons", "hands"])
def test_lists_cost_the_same_however_long(
    cast: Any, as_: Any, name: str, django_assert_max_num_queries: Any
) -> None:
    from tests.cast import make_garden, make_person, make_plot

    client, address = as_(cast.organiser), f"/api/v1/programmes/{cast.programme.pk}/{name}/"
    with django_assert_max_num_queries(15) as asked:
        client.get(address)
    cost = len(asked)
    for n in range(5):
        garden = make_garden(cast.programme, f"Garden {n}")
        make_plot(garden, str(n), make_person(cast.programme, f"Person{n}", "holder", "steward"))
    with django_assert_max_num_queries(cost):
        found = client.get(address).json()
    assert found["count"] >= 5 and Garden.objects.count() > 5


# The calculator ---------------------------------------------------------------------------------------------

AREAS: list[tuple[str, str, str, int]] = [
    ("2 × 4 x 8 ft", "5.94579456", "rectangle", 2),  # 32 ft² of 0.09290304 m² each, exact by definition
    ("30 m²", "30", "area", 1),
    ("30 ft row 18 in wide", "4.1806368", "row", 1),
    ("2 m circle", "3.141592653589793238462643", "circle", 1),
]


@pytest.mark.parametrize(("size", "total", "shape", "count"), AREAS)
def test_areas_come_out_in_full(cast: Any, as_: Any, size: str, total: str, shape: str, count: int) -> None:
    told = post(as_(cast.stranger), "/api/v1/calculations/area/", {"size": size}).json()
    assert (told["total"]["value"], told["shape"], told["count"]) == (total, shape, count)
    assert told["working"]["steps"][-1]["result"]["value"] == total


@pytest.mark.parametrize("size", ["", "4 by", "-3 x 6 m", "0 x 4 ft", "NaN", "4 x 8 lb", "9" * 300])
def test_what_is_no_area_is_a_problem(cast: Any, as_: Any, size: str) -> None:
    answer = post(as_(cast.stranger), "/api/v1/calculations/area/", {"size": size})
    assert answer.status_code in (400, 422) and answer["Content-Type"] == "application/problem+json"
