"""A tub's label warns of borates also where nobody declared them."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from blends.models import Kind, Material
from tests.play import R, play_day

pytestmark = pytest.mark.django_db


def test_a_trace_material_that_is_silent_about_boron_warns_of_it(
    cast: Any, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [(*row[:2], {"Zn": "4"} if row[1] == Kind.TRACE_CONCENTRATE else row[2], *row[3:]) for row in R]
    monkeypatch.setattr("tests.play.R", rows)
    day = play_day(cast)
    caution = {"code": "borate", "text": "May harm an unborn child.", "source": "usual for such materials"}
    Material.objects.filter(kind=Kind.TRACE_CONCENTRATE).update(cautions=[caution])
    client.force_login(cast.steward.user)
    page = client.get(reverse("tub_labels", args=[cast.programme.pk, day.day.pk])).content.decode()
    assert "Borates: nobody who is or may be pregnant" in page
