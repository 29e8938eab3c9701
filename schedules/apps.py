from __future__ import annotations

from django.apps import AppConfig


class SchedulesConfig(AppConfig):
    name = "schedules"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from schedules import jobs  # noqa: F401  (the jobs of this floor register themselves)
