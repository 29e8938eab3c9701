"""Pages of accounts, programmes and persons."""

from __future__ import annotations

from typing import Any

import pytest
from django.core import mail
from django.urls import reverse

from gardens.actions.people import add_person, invite
from gardens.models import Person, Programme, Role, User

PASSWORD = "lantern-wheat-9"
START = {
    "name": "Ostermere",
    "person_name": "Orla",
    "email": "orla@x.example",
    "password": PASSWORD,
    "zone": "Europe/Lisbon",
    "currency": "EUR",
    "units": "us",
    "giving": "given",
}


def url(cast: Any, name: str, **kwargs: Any) -> str:
    return reverse(name, kwargs={"programme": cast.programme.pk, **kwargs})


# The first evening


def test_signing_up_leads_to_bringing_in(client: Any, db: None) -> None:
    answer = client.post("/start/", START)
    programme = Programme.objects.get()
    assert answer.headers["Location"] == reverse("bring_in", args=[programme.pk])
    page = client.get(answer.headers["Location"])
    assert (
        page.status_code == 200 and programme.units == "us" and "Bring in the plots" in page.content.decode()
    )


def test_a_signed_in_user_begins_another_programme_without_an_account(cast: Any, as_: Any) -> None:
    client = as_(cast.organiser)
    assert 'name="email"' not in client.get("/start/").content.decode()
    client.post("/start/", {k: START[k] for k in ("name", "zone", "currency", "units", "giving")})
    assert Person.objects.filter(user=cast.organiser.user).count() == 2 and User.objects.count() == 6


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("zone", "Mars/Base", "Select a valid choice"),
        ("currency", "EUX", "three letters"),
        ("email", "orla", "valid"),
        ("password", "12345678", "too common"),
        ("name", "", "Nothing is written here yet"),
    ],
)
def test_a_wrong_answer_keeps_the_others(client: Any, db: None, field: str, value: str, words: str) -> None:
    page = client.post("/start/", {**START, field: value}).content.decode()
    assert words in page and not Programme.objects.exists() and not User.objects.exists()
    kept = "Ostermere" if field != "name" else "orla@x.example"
    assert f'value="{kept}"' in page


# Signing in


def test_sign_in_is_by_e_mail_in_any_case(client: Any, db: None) -> None:
    User.objects.create_user("orla@x.example", PASSWORD)
    assert client.post("/sign-in/", {"username": "Orla@X.example", "password": PASSWORD}).status_code == 302
    assert "_auth_user_id" in client.session


def test_a_wrong_password_is_told_without_telling_who_exists(client: Any, db: None) -> None:
    User.objects.create_user("orla@x.example", PASSWORD)
    pages = [
        client.post("/sign-in/", {"username": who, "password": "wrong"}).content.decode()
        for who in ("orla@x.example", "nobody@x.example")
    ]
    assert all(
        "No account fits this address" in page and who in page
        for page, who in zip(pages, ("orla", "nobody"), strict=True)
    )


def test_signing_out_needs_a_post(cast: Any, as_: Any) -> None:
    client = as_(cast.organiser)
    assert client.get("/sign-out/").status_code == 405
    client.post("/sign-out/")
    assert "_auth_user_id" not in client.session


def test_a_password_is_reset_by_mail(client: Any, db: None) -> None:
    User.objects.create_user("orla@x.example", PASSWORD)
    client.post("/password/", {"email": "Orla@x.example"})
    (letter,) = mail.outbox
    link = next(word for word in letter.body.split() if word.startswith("http")).partition("testserver")[2]
    form = client.get(link, follow=True)
    client.post(
        form.request["PATH_INFO"], {"new_password1": "quiet-marrow-4", "new_password2": "quiet-marrow-4"}
    )
    assert User.objects.get().check_password("quiet-marrow-4")
    assert "has been used" in client.get(link, follow=True).content.decode()


def test_an_unknown_address_gets_the_same_answer_and_no_mail(client: Any, db: None) -> None:
    assert client.post("/password/", {"email": "nobody@x.example"}).headers["Location"] == "/password/sent/"
    assert not mail.outbox


# Invitations


def test_an_invitation_is_sent_shown_once_and_used_once(
    cast: Any, as_: Any, client: Any, django_capture_on_commit_callbacks: Any
) -> None:
    guest = add_person(programme=cast.programme, by=cast.organiser, name="Gus")
    organiser = as_(cast.organiser)
    with django_capture_on_commit_callbacks(execute=True):
        answer = organiser.post(
            url(cast, "invite", person=guest.pk), {"email": "gus@x.example", "role": "steward"}
        )
    link = mail.outbox[0].body.split("http://testserver")[1].split()[0]
    assert link in organiser.get(answer.headers["Location"]).content.decode()
    assert link not in organiser.get(answer.headers["Location"]).content.decode()
    page = client.get(link).content.decode()
    assert "Ostermere Shared Gardens" in page and "steward" in page and "gus@x.example" in page
    assert client.post(link, {"password": PASSWORD}).status_code == 302
    again = client.get(link)
    assert again.status_code == 410 and "has been used" in again.content.decode()


def test_a_used_link_tells_nothing_of_the_programme(client: Any, db: None) -> None:
    page = client.get("/invitation/nonsense/")
    assert page.status_code == 410 and "Ask whoever sent it" in page.content.decode()


def test_a_weak_password_is_told_at_its_field(cast: Any, client: Any) -> None:
    guest = add_person(programme=cast.programme, by=cast.organiser, name="Gus")
    _, secret = invite(
        programme=cast.programme, by=cast.organiser, person=guest, email="gus@x.example", role="steward"
    )
    page = client.post(f"/invitation/{secret}/", {"password": "123"}).content.decode()
    assert "too short" in page and not User.objects.filter(email="gus@x.example").exists()


# Settings


def settings_of(cast: Any, **changes: str) -> dict[str, str]:
    return {
        "name": "Ostermere",
        "zone": "Europe/Madrid",
        "currency": "USD",
        "units": "us",
        "week_start": "7",
        "planted_share": "70",
        "default_class": "light",
        "tub_mass_mg": "2 oz",
        "desk_division_mg": "2",
        "emergency": "112",
        "poison_line": "555 0199",
        "giving": "given",
        "authority_asked_by": "Orla",
        "authority_asked_on": "3 February 2026",
        "authority_answer": "no need",
        "n_cap_ug_m2": "20 g/m2",
        "n_cap_reason": "sand",
        **changes,
    }


def test_settings_are_kept(cast: Any, as_: Any) -> None:
    assert as_(cast.organiser).post(url(cast, "programme_settings"), settings_of(cast)).status_code == 302
    now = Programme.objects.get(pk=cast.programme.pk)
    assert (now.zone, now.week_start, now.tub_mass_mg, now.desk_division_mg) == (
        "Europe/Madrid",
        7,
        56_699,
        2_000,
    )
    assert now.n_cap_ug_m2 == 20_000_000 and str(now.authority_asked_on) == "2026-02-03"
    page = as_(cast.organiser).get(url(cast, "programme_settings")).content.decode()
    assert "Orla asked on 3" in page.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("tub_mass_mg", "1.500 kg", "Choose one"),
        ("tub_mass_mg", "3 m", "mass"),
        ("n_cap_ug_m2", "30 g/m2", "22.4"),
        ("n_cap_reason", "", "Say why"),
        ("authority_asked_on", "31 June", "30 days"),
        ("planted_share", "0", "greater"),
    ],
)
def test_wrong_settings_keep_the_typing(cast: Any, as_: Any, field: str, value: str, words: str) -> None:
    page = as_(cast.organiser).post(url(cast, "programme_settings"), settings_of(cast, **{field: value}))
    assert words in page.content.decode() and 'value="555 0199"' in page.content.decode()
    assert Programme.objects.get(pk=cast.programme.pk).currency == "EUR"


def test_an_auditor_reads_the_settings_and_sends_nothing(cast: Any, as_: Any) -> None:
    auditor = as_(cast.auditor)
    page = auditor.get(url(cast, "programme_settings")).content.decode()
    assert "disabled" in page and "Keep the settings" not in page
    assert auditor.post(url(cast, "programme_settings"), settings_of(cast)).status_code == 403


# Persons


def test_the_list_names_roles_and_plots(cast: Any, as_: Any) -> None:
    page = as_(cast.organiser).get(url(cast, "people")).content.decode()
    assert "Henna" in page and "Lock Lane 17" in page and "steward" in page and "Sten" not in page


def test_a_second_person_of_one_name_is_asked_about(cast: Any, as_: Any) -> None:
    client = as_(cast.organiser)
    page = client.post(url(cast, "person_add"), {"name": "Henna"}).content.decode()
    assert "If this is somebody else" in page and Person.objects.filter(name="Henna").count() == 1
    client.post(url(cast, "person_add"), {"name": "Henna", "another": "on"})
    assert Person.objects.filter(name="Henna").count() == 2


def test_roles_are_changed_on_the_persons_page(cast: Any, as_: Any) -> None:
    address = url(cast, "person", person=cast.steward.pk)
    as_(cast.organiser).post(address, {"step": "roles", "roles": ["organiser", "steward"]})
    assert set(cast.steward.roles.values_list("name", flat=True)) == {"organiser", "steward"}


def test_the_last_organiser_is_told_kindly(cast: Any, as_: Any) -> None:
    page = as_(cast.organiser).post(
        url(cast, "person", person=cast.organiser.pk), {"step": "roles", "roles": []}
    )
    assert "only organiser who can sign in" in page.content.decode()
    assert Role.objects.filter(person=cast.organiser).exists()


def test_a_stranger_cannot_be_given_a_role(cast: Any, as_: Any) -> None:
    address = url(cast, "person", person=cast.stranger.pk)
    assert as_(cast.organiser).post(address, {"step": "roles", "roles": ["steward"]}).status_code == 404


def test_erasing_who_holds_a_plot_is_refused_in_words(cast: Any, as_: Any) -> None:
    page = as_(cast.organiser).post(url(cast, "person_erase", person=cast.holder.pk))
    assert page.status_code == 409 and "plot 17" in page.content.decode()


@pytest.mark.parametrize("count", [2, 40])
def test_the_list_asks_a_constant_number_of_queries(
    cast: Any, as_: Any, count: int, django_assert_max_num_queries: Any
) -> None:
    for n in range(count):
        add_person(programme=cast.programme, by=cast.organiser, name=f"P{n}")
    client = as_(cast.organiser)
    with django_assert_max_num_queries(15):
        client.get(url(cast, "people"))
