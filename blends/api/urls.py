from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from blends.api import calculations

urlpatterns: list[URLPattern | URLResolver] = [
    path("calculations/analysis/", calculations.AnalysisCalculation.as_view(), name="api_analysis"),
    path("calculations/batch/", calculations.BatchCalculation.as_view(), name="api_batch_calculation"),
    path("calculations/allocation/", calculations.AllocationCalculation.as_view(), name="api_allocation"),
]
