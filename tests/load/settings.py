"""The service's own settings, with the bare views beside its addresses."""

from __future__ import annotations

from gardens.settings import *  # noqa: F403

ROOT_URLCONF = "tests.load.bare"
