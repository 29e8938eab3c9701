from __future__ import annotations

from typing import Any

import pytest


@pytest.fixture(autouse=True)
def quick_passwords(settings: Any) -> None:
    """Slow hashing is Django's, and tested there."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
