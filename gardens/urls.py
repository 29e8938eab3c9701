"""All addresses."""

from __future__ import annotations

from django.urls import include, path

from gardens.views import health

urlpatterns = [
    path("healthz", health.alive, name="alive"),
    path("readyz", health.ready, name="ready"),
    path("", include("gardens.routes")),
    path("", include("blends.routes")),
    path("", include("schedules.routes")),
    path("api/v1/", include("gardens.api.urls")),
    path("api/v1/", include("blends.api.urls")),
    path("api/v1/", include("schedules.api.urls")),
]
