from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from schedules.api import calculations

urlpatterns: list[URLPattern | URLResolver] = [
    path("calculations/dose/", calculations.DoseCalculation.as_view(), name="api_dose"),
]
