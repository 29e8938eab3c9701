from __future__ import annotations

from django.apps import AppConfig


class BlendsConfig(AppConfig):
    name = "blends"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from blends import jobs  # noqa: F401  (its kinds register themselves)
