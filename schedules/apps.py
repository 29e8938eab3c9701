from __future__ import annotations

from django.apps import AppConfig


class SchedulesConfig(AppConfig):
    name = "schedules"
    default_auto_field = "django.db.models.BigAutoField"
