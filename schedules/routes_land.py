"""Addresses about beginning, bringing in, and what grows where."""

from __future__ import annotations

from django.urls import URLPattern, path

from schedules.views import bring_in, land

P = "p/<int:programme>/"

urlpatterns: list[URLPattern] = [
    path("start/", land.start, name="start"),
    path("echo/", land.echo, name="echo"),
    path(P + "bring-in/", bring_in.bring_in_page, name="bring_in"),
    path(P + "beds/<int:bed>/plant/", land.planting_add, name="planting_add"),
    path(P + "plantings/<int:planting>/", land.planting, name="planting"),
    path(P + "plantings/<int:planting>/end/", land.planting_end, name="planting_end"),
]
