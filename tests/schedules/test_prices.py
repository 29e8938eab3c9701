"""What was paid is for who reports: the table of rights says so, and every page keeps to it."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from tests.play import play_day

pytestmark = pytest.mark.django_db


def test_what_a_batch_costs_is_shown_to_who_reports_and_to_no_steward(cast: Any, client: Client) -> None:
    day = play_day(cast)
    address = reverse("round_batch", args=[cast.programme.pk, day.round.pk])
    seen = {}
    for person in (cast.organiser, cast.auditor, cast.steward):
        client.force_login(person.user)
        page = client.get(address, {"mass": "90000000"}).content.decode()
        assert "Needed, kg" in page
        seen[person.name] = ("€" in page, "To pay" in page)
    assert seen == {"Orla": (True, True), "Aud": (True, True), "Stevo": (False, False)}
