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

handler400 = "gardens.views.errors.bad_request"
handler404 = "gardens.views.errors.not_found"
handler500 = "gardens.views.errors.server_error"
