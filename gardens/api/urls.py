from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from gardens.api import account, calculations, docs, land

P = "programmes/<int:programme>"

urlpatterns: list[URLPattern | URLResolver] = [
    path("schema/", docs.SchemaView.as_view(), name="api_schema"),
    path("docs/", docs.DocsView.as_view(), name="api_docs"),
    path("token/", account.TokenView.as_view(), name="api_token"),
    path(f"{P}/", account.ProgrammeDetail.as_view(), name="api_programme"),
    path(f"{P}/jobs/", account.JobsView.as_view(), name="api_jobs"),
    path(f"{P}/gardens/", land.GardensView.as_view(), name="api_gardens"),
    path(f"{P}/persons/", land.PersonsView.as_view(), name="api_persons"),
    path(f"{P}/hands/", land.HandsView.as_view(), name="api_hands"),
    path(f"{P}/plots/", land.PlotsView.as_view(), name="api_plots"),
    path(f"{P}/plots/<int:plot>/", land.PlotDetail.as_view(), name="api_plot"),
    path(f"{P}/plots/<int:plot>/beds/", land.BedsView.as_view(), name="api_beds"),
    path(f"{P}/plots/<int:plot>/feeding/", land.PlotFeedingView.as_view(), name="api_plot_feeding"),
    path(f"{P}/plots/<int:plot>/tenancies/", land.TenanciesView.as_view(), name="api_tenancies"),
    path(f"{P}/beds/<int:bed>/feeding/", land.BedFeedingView.as_view(), name="api_bed_feeding"),
    path("calculations/area/", calculations.AreaCalculation.as_view(), name="api_area"),
]
