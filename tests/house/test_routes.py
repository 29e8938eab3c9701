"""The wall and the rights, walked through the pages: every address × method × person × foreign key.

The API's addresses are walked by ``test_wall_api``; none is left out by both.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django import forms
from django.db import transaction
from django.db.models import F, Value
from django.db.models.functions import Concat
from django.forms.formsets import BaseFormSet
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from blends.models import Batch, Component, Lot, Material, MixingDay, Pail, Place, Revision, Scale
from gardens.access import ALLOWED
from gardens.models import Garden, Household, Person, Plot, Programme
from tests.cast import Cast, make_cast
from tests.house import routes_api, routes_blends, routes_desk, routes_land, routes_rounds
from tests.house.routes import Route
from tests.house.test_wall_api import picture

pytestmark = pytest.mark.django_db

PAGES = {"land": routes_land, "blends": routes_blends, "rounds": routes_rounds, "desk": routes_desk}
OPEN = {"alive", "ready"}
WHO = ["organiser", "steward", "holder", "auditor", "stranger", "nobody"]
MARK = "~theirs~"  # on every name of the other programme


def names(patterns: list[URLPattern | URLResolver]) -> Iterator[str]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from names(pattern.url_patterns)
        else:
            assert pattern.name, f"{pattern} has no name"
            yield pattern.name


def test_every_address_is_on_a_list() -> None:
    listed = [route.name for pages in PAGES.values() for route in pages.ROUTES]
    listed += [route.name for route in routes_api.ROUTES]
    assert sorted([*listed, *OPEN]) == sorted(names(get_resolver().url_patterns))


# Rights ----------------------------------------------------------------------------------------------------


def expected(right: str, who: str) -> int:
    """404, 403, 302 to the sign-in, or 0: let in."""
    if right == "anyone":
        return 0
    if who == "nobody":
        return 302
    if right == "signed_in":
        return 0
    if who == "stranger":
        return 404
    if right == "own_plot":
        return 0  # organiser, steward and auditor read all; the holder their own
    if right == "own_plot_change":
        return 0 if who in ("organiser", "holder") else 403
    return 0 if who in ALLOWED[right] else 403  # type: ignore[index]


def asked(route: Route, method: str) -> str:
    """The right that this method of the address asks for."""
    right = route.right if method == "get" else route.change or route.right
    return "own_plot_change" if right == "own_plot" and method != "get" else right


def send(client: Client, route: Route, method: str, where: dict[str, Any]) -> Any:
    return getattr(client, method)(reverse(route.name, kwargs=where))


def told_to_sign_in(answer: Any) -> bool:
    return answer.status_code == 302 and answer.url.startswith(reverse("login"))


@pytest.mark.parametrize("pages", PAGES)
def test_who_may_open_and_change_what(cast: Cast, as_: Any, pages: str) -> None:
    """Let in, or kept out in the right way; and whoever was kept out has changed nothing."""
    routes = [(route, route.kwargs(cast)) for route in PAGES[pages].ROUTES]
    doors = [
        (who, as_(None if who == "nobody" else getattr(cast, who)), route, where, method)
        for who in WHO
        for route, where in routes
        for method in route.methods
    ]
    before, wrong = picture(), []
    for who, client, route, where, method in doors:
        want = expected(asked(route, method), who)
        with transaction.atomic():
            answer = send(client, route, method, where)
            if not want:
                transaction.set_rollback(True)
        if not_as_wanted(answer, want, open_to_all=route.right == "anyone"):
            wrong.append(
                f"{who}: {method} {route.name} {where}: {answer.status_code}, not {want or 'let in'}"
            )
    assert wrong == []
    assert picture() == before


def not_as_wanted(answer: Any, want: int, *, open_to_all: bool) -> bool:
    if want == 302:
        return not told_to_sign_in(answer)
    if want:
        return bool(answer.status_code != want)
    sent_away = told_to_sign_in(answer) and not open_to_all
    return sent_away or answer.status_code not in (200, 302, 409, 422)


@pytest.mark.parametrize("pages", PAGES)
def test_a_page_asked_in_a_way_it_does_not_know_changes_nothing(cast: Cast, as_: Any, pages: str) -> None:
    places = [(route, route.kwargs(cast)) for route in PAGES[pages].ROUTES if route.right != "anyone"]
    client = as_(cast.organiser)
    before = picture()
    for route, where in places:
        for method in sorted({"get", "post", "put", "patch", "delete"} - {*route.methods}):
            answer = send(client, route, method, where)
            assert answer.status_code in (200, 302, 405), (method, route.name, answer.status_code)
    assert picture() == before


# The other programme ---------------------------------------------------------------------------------------


@pytest.fixture
def theirs(cast: Cast) -> Cast:
    """Another cast altogether, in a programme whose every name bears a mark."""
    return make_cast()


def mark(programme: Programme) -> None:
    for model, field in (
        (Garden, "name"),
        (Plot, "label"),
        (Person, "name"),
        (Household, "name"),
        (Scale, "name"),
    ):
        model.objects.filter(programme=programme).update(**{field: Concat(Value(MARK), F(field))})
    Material.objects.filter(programme=programme).update(name=Concat(Value(MARK), F("name")))
    Programme.objects.filter(pk=programme.pk).update(name=f"{MARK} Gardens")


@pytest.mark.parametrize("pages", PAGES)
def test_no_address_reaches_into_another_programme(cast: Cast, theirs: Cast, as_: Any, pages: str) -> None:
    """Each id in the address replaced by one of theirs: 404, not a word of theirs, nothing changed."""
    client, tried = as_(cast.organiser), 0
    places = [(route, route.kwargs(cast), route.kwargs(theirs)) for route in PAGES[pages].ROUTES]
    mark(theirs.programme)
    before = picture()
    for route, ours, other in places:
        for name in [n for n in ours if isinstance(ours[n], int)]:
            for method in route.methods:
                answer = send(client, route, method, ours | {name: other[name]})
                assert answer.status_code == 404, (method, route.name, name, answer.status_code)
                assert MARK not in answer.content.decode(), (method, route.name, name)
                tried += 1
    assert picture() == before
    assert tried >= 15


@pytest.mark.parametrize("pages", PAGES)
def test_no_page_shows_a_word_of_another_programme(cast: Cast, theirs: Cast, as_: Any, pages: str) -> None:
    client = as_(cast.organiser)
    places = [(route, route.kwargs(cast), route.kwargs(theirs)) for route in PAGES[pages].ROUTES]
    mark(theirs.programme)
    for route, ours, _ in places:
        if "get" in route.methods:
            answer = send(client, route, "get", ours)
            body = b"".join(answer) if answer.streaming else answer.content
            assert MARK not in body.decode(), route.name


# What a form may name --------------------------------------------------------------------------------------

#: The table that a form's choice of rows is from; a choice that is missing here fails the test.
CHOOSES: dict[str, Any] = {
    "batch": Batch,
    "collector": Person,
    "component": Component,
    "crew": Person,
    "day": MixingDay,
    "garden": Garden,
    "gardens": Garden,
    "holders": Person,
    "lot": Lot,
    "material": Material,
    "mixing_day": MixingDay,
    "pail": Pail,
    "person": Person,
    "persons": Person,
    "plot": Plot,
    "revision": Revision,
    "scale": Scale,
    "scales": Scale,
    "taker": Household,
    "witness": Person,
}


def forms_of(answer: Any) -> list[forms.BaseForm]:
    """Every form that went into the page."""
    found: dict[int, forms.BaseForm] = {}
    for layer in answer.context or ():
        for value in (v for d in getattr(layer, "dicts", [layer]) for v in d.values()):
            members = value.forms if isinstance(value, BaseFormSet) else [value]
            found |= {id(form): form for form in members if isinstance(form, forms.BaseForm)}
    return list(found.values())


def row_choices(form: forms.BaseForm) -> Iterator[str]:
    """Names of the fields that choose among rows: their values are ids."""
    for name, field in form.fields.items():
        if isinstance(field, forms.ModelChoiceField):
            yield name
        elif isinstance(field, forms.ChoiceField):
            values = [str(v) for v, _ in field.choices if not isinstance(v, (list, tuple))]
            ids = [v for v in values if v.isdigit()]
            if ids and CHOOSES.get(name) and CHOOSES[name].objects.filter(pk__in=ids).exists():
                yield name
            elif ids:
                assert name in NUMBERS, f"{name} of {type(form).__name__} is on neither list: {values}"


#: Choices whose values look like ids and are plain numbers.
NUMBERS: set[str] = {"week_start", "weeks"}


def filled(form: forms.BaseForm) -> dict[str, Any]:
    """What the form would send as it stands."""
    return {
        bound.html_name: value
        for bound in form
        if (value := bound.value()) not in (None, "", False) and not isinstance(bound.field, forms.FileField)
    }


@pytest.mark.parametrize("pages", PAGES)
def test_no_form_takes_an_id_of_another_programme(cast: Cast, theirs: Cast, as_: Any, pages: str) -> None:
    """Each choice of rows in each form, answered with a row of theirs: refused at that very field."""
    client, tried = as_(cast.organiser), []
    places = [
        (r, r.kwargs(cast), r.kwargs(theirs)) for r in PAGES[pages].ROUTES if {"get", "post"} <= {*r.methods}
    ]
    for route, ours, _ in places:
        shown = forms_of(send(client, route, "get", ours))
        for form in shown:
            for name in row_choices(form):
                model = getattr(form.fields[name], "queryset", CHOOSES[name].objects).model
                other = model.objects.filter(programme=theirs.programme).order_by("-pk").first()
                if other is None:
                    continue
                address, field = reverse(route.name, kwargs=ours), form[name].html_name
                with transaction.atomic():
                    answer = client.post(address, filled(form) | {field: str(other.pk)})
                    transaction.set_rollback(True)
                assert answer.status_code in (200, 422), (route.name, name, answer.status_code)
                errors = [
                    f.errors.get(n) for f in forms_of(answer) for n in f.fields if f[n].html_name == field
                ]
                assert any(errors), (route.name, name, [f.errors for f in forms_of(answer)])
                tried.append((route.name, name))
    assert len(tried) >= AT_LEAST[pages], tried


AT_LEAST = {"land": 0, "blends": 10, "rounds": 5, "desk": 6}

#: Ids in what is sent that no form's choices hold: address, what is sent, given the cast and theirs.
BESIDE: list[tuple[str, Any]] = [
    ("crew", lambda c, t: {"drop": t.steward.pk}),
    ("scales", lambda c, t: {"retire": Scale.objects.filter(programme=t.programme)[0].pk}),
    ("feed_log", lambda c, t: {"kind": "fed", "feed": f"b{t.bed.pk}@2026-06-08"}),
    ("feed_log", lambda c, t: {"kind": "extra", "on": f"b{t.bed.pk}", "mass": "20 g", "day": "2026-06-08"}),
    ("tenancy_change", lambda c, t: {"name": c.holder.name, "who": t.holder.pk, "start": "2026-03-01"}),
    ("member_add", lambda c, t: {"name": c.holder.name, "who": t.holder.pk}),
]
ROUTE = {route.name: route for pages in PAGES.values() for route in pages.ROUTES}


@pytest.mark.parametrize(("name", "sent"), BESIDE, ids=[name for name, _ in BESIDE])
def test_no_id_beside_a_form_reaches_through(
    cast: Cast, theirs: Cast, as_: Any, name: str, sent: Any
) -> None:
    route, client = ROUTE[name], as_(cast.organiser)
    where = route.kwargs(cast)
    route_of_day(theirs)
    mark(theirs.programme)
    before = picture()
    answer = client.post(reverse(name, kwargs=where), sent(cast, theirs), follow=True)
    assert answer.status_code in (200, 404, 422)
    assert MARK not in answer.content.decode()
    assert picture() == before


def route_of_day(cast: Cast) -> None:
    """A day with scales and all."""
    routes_blends.of_day(cast)


#: Ids in the address's query: address, name in the query, what they name.
ASKED: list[tuple[str, str, Any]] = [
    ("week", "garden", Garden),
    ("slips", "garden", Garden),
    ("slips", "plot", Plot),
    ("lot_add", "material", Material),
    ("tickets", "place", Place),
]


@pytest.mark.parametrize(("name", "param", "model"), ASKED)
def test_no_question_is_answered_with_theirs(
    cast: Cast, theirs: Cast, as_: Any, name: str, param: str, model: Any
) -> None:
    where = ROUTE[name].kwargs(cast)
    route_of_day(theirs)
    mark(theirs.programme)
    other = model.objects.filter(programme=theirs.programme).order_by("-pk")[0]
    answer = as_(cast.organiser).get(reverse(name, kwargs=where), {param: other.pk})
    assert answer.status_code in (200, 404, 422)
    assert MARK not in answer.content.decode()
