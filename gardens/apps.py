from __future__ import annotations

from django.apps import AppConfig


class GardensConfig(AppConfig):
    name = "gardens"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "People and land"

    def ready(self) -> None:
        from gardens import celery, checks  # noqa: F401  (the Celery app and the system checks register themselves)
