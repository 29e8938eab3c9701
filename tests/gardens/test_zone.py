"""A page's time zone is its programme's, and ends with the page."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

pytestmark = pytest.mark.django_db


def test_the_zone_of_one_page_is_not_that_of_the_next(cast: Any, client: Client) -> None:
    client.force_login(cast.organiser.user)
    assert client.get(reverse("rounds", args=[cast.programme.pk])).status_code == 200
    assert timezone.get_current_timezone_name() == "UTC"
