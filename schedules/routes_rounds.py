"""Addresses: the front pages, rounds, plots' weeks, own rates, slips."""

from __future__ import annotations

from django.urls import URLPattern, path

from schedules.views import front, plots, rounds, slips

P = "p/<int:programme>/"

urlpatterns: list[URLPattern] = [
    path("", front.home, name="home"),
    path(P, front.programme, name="programme"),
    path(f"{P}rounds/", rounds.rounds, name="rounds"),
    path(f"{P}rounds/add/", rounds.round_add, name="round_add"),
    path(f"{P}rounds/<int:round>/", rounds.round, name="round"),
    path(f"{P}rounds/<int:round>/change/", rounds.round_change, name="round_change"),
    path(f"{P}rounds/<int:round>/freeze/", rounds.freeze, name="freeze"),
    path(f"{P}rounds/<int:round>/batch/", rounds.round_batch, name="round_batch"),
    path(f"{P}rounds/<int:round>/blend/", rounds.round_blend, name="round_blend"),
    path(f"{P}rounds/<int:round>/close/", rounds.round_close, name="round_close"),
    path(f"{P}rounds/<int:round>/slips/", slips.slips, name="slips"),
    path(f"{P}week/", plots.week, name="week"),
    path(f"{P}plots/<int:plot>/", plots.plot, name="plot"),
    path(f"{P}plots/<int:plot>/fed/", plots.feed_log, name="feed_log"),
    path(f"{P}fed/<int:log>/undo/", plots.feed_undo, name="feed_undo"),
    path(f"{P}plantings/<int:planting>/rate/", plots.own_rate, name="own_rate"),
    path(f"{P}plantings/<int:planting>/caps/", plots.cap_lift, name="cap_lift"),
    path(f"{P}gardens/<int:garden>/caps/", plots.garden_lift, name="garden_lift"),
]
