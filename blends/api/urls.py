from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from blends.api import calculations, days, materials, recipes

P = "programmes/<int:programme>"

urlpatterns: list[URLPattern | URLResolver] = [
    path("calculations/analysis/", calculations.AnalysisCalculation.as_view(), name="api_analysis"),
    path("calculations/batch/", calculations.BatchCalculation.as_view(), name="api_batch_calculation"),
    path("calculations/allocation/", calculations.AllocationCalculation.as_view(), name="api_allocation"),
    path(f"{P}/catalogue/", materials.CatalogueView.as_view(), name="api_catalogue"),
    path(f"{P}/materials/", materials.MaterialsView.as_view(), name="api_materials"),
    path(f"{P}/materials/adopt/", materials.AdoptView.as_view(), name="api_material_adopt"),
    path(
        f"{P}/materials/<int:material>/declarations/",
        materials.DeclarationsView.as_view(),
        name="api_declarations",
    ),
    path(f"{P}/lots/", materials.LotsView.as_view(), name="api_lots"),
    path(f"{P}/stock/", materials.StockView.as_view(), name="api_stock"),
    path(f"{P}/places/<int:place>/", materials.PlaceView.as_view(), name="api_place"),
    path(f"{P}/places/<int:place>/losses/", materials.LossView.as_view(), name="api_losses"),
    path(f"{P}/places/<int:place>/moves/", materials.MoveView.as_view(), name="api_moves"),
    path(f"{P}/places/<int:place>/returns/", materials.SendBackView.as_view(), name="api_send_back"),
    path(f"{P}/places/<int:place>/counts/", materials.CountsView.as_view(), name="api_counts"),
    path(f"{P}/blends/", recipes.BlendsView.as_view(), name="api_blends"),
    path(f"{P}/blends/<int:blend>/draft/", recipes.DraftView.as_view(), name="api_draft"),
    path(f"{P}/blends/<int:blend>/revisions/", recipes.RevisionsView.as_view(), name="api_revisions"),
    path(f"{P}/revisions/<int:revision>/", recipes.RevisionView.as_view(), name="api_revision"),
    path(f"{P}/revisions/<int:revision>/plan/", recipes.PlanView.as_view(), name="api_plan"),
    path(f"{P}/scales/", days.ScalesView.as_view(), name="api_scales"),
    path(f"{P}/days/", days.DaysView.as_view(), name="api_days"),
    path(f"{P}/days/<int:day>/", days.DayView.as_view(), name="api_day"),
    path(f"{P}/days/<int:day>/crew/", days.CrewView.as_view(), name="api_crew"),
    path(f"{P}/days/<int:day>/safety/", days.SafetyView.as_view(), name="api_safety"),
    path(f"{P}/days/<int:day>/safety/<slug:point>/", days.SafetyPointView.as_view(), name="api_safety_point"),
    path(f"{P}/days/<int:day>/batches/", days.BatchesView.as_view(), name="api_batches"),
    path(f"{P}/days/<int:day>/close/", days.CloseView.as_view(), name="api_close_day"),
    path(f"{P}/batches/<int:batch>/", days.BatchView.as_view(), name="api_batch"),
    path(f"{P}/batches/<int:batch>/scoops/", days.ScoopsView.as_view(), name="api_scoops"),
    path(f"{P}/pails/<int:pail>/", days.PailView.as_view(), name="api_pail"),
    path(f"{P}/pails/<int:pail>/weigh-outs/", days.WeighOutsView.as_view(), name="api_weigh_outs"),
    path(f"{P}/pails/<int:pail>/release/", days.ReleaseView.as_view(), name="api_release"),
    path(f"{P}/pails/<int:pail>/hold/", days.HoldView.as_view(), name="api_hold"),
    path(
        f"{P}/weigh-outs/<int:weigh_out>/correction/",
        days.CorrectView.as_view(),
        name="api_weigh_out_correct",
    ),
    path(
        f"{P}/weigh-outs/<int:weigh_out>/reversal/", days.ReverseView.as_view(), name="api_weigh_out_reverse"
    ),
    path(f"{P}/weigh-outs/<int:weigh_out>/look/", days.LooksView.as_view(), name="api_look"),
]
