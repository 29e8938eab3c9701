from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from schedules.api import calculations, desk, plans, programmes, rounds, totals

P = "programmes/<int:programme>"

urlpatterns: list[URLPattern | URLResolver] = [
    path("calculations/dose/", calculations.DoseCalculation.as_view(), name="api_dose"),
    path("programmes/", programmes.ProgrammesView.as_view(), name="api_programmes"),
    path(f"{P}/sheets/", programmes.SheetsView.as_view(), name="api_sheets"),
    path(f"{P}/sheets/preview/", programmes.SheetPreviewView.as_view(), name="api_sheet_preview"),
    path(f"{P}/week/", plans.WeekView.as_view(), name="api_week"),
    path(f"{P}/plots/<int:plot>/week/", plans.PlotWeekView.as_view(), name="api_plot_week"),
    path(f"{P}/plots/<int:plot>/logs/", plans.LogsView.as_view(), name="api_logs"),
    path(f"{P}/plots/<int:plot>/logs/<int:log>/", plans.LogView.as_view(), name="api_log"),
    path(f"{P}/plots/<int:plot>/plantings/", plans.PlantingsView.as_view(), name="api_plantings"),
    path(
        f"{P}/plots/<int:plot>/plantings/<int:planting>/end/",
        plans.PlantingEndView.as_view(),
        name="api_planting_end",
    ),
    path(f"{P}/plots/<int:plot>/hand-overs/", desk.HandOverView.as_view(), name="api_hand_over"),
    path(f"{P}/rounds/", rounds.RoundsView.as_view(), name="api_rounds"),
    path(f"{P}/rounds/<int:round>/", rounds.RoundDetail.as_view(), name="api_round"),
    path(f"{P}/rounds/<int:round>/demand/", rounds.DemandView.as_view(), name="api_demand"),
    path(f"{P}/rounds/<int:round>/freeze/", rounds.FreezeView.as_view(), name="api_freeze"),
    path(f"{P}/rounds/<int:round>/revision/", rounds.ExchangeView.as_view(), name="api_exchange"),
    path(f"{P}/rounds/<int:round>/batch/", rounds.MixView.as_view(), name="api_mix"),
    path(f"{P}/rounds/<int:round>/close/", rounds.CloseRoundView.as_view(), name="api_close_round"),
    path(f"{P}/rounds/<int:round>/portions/", rounds.PortionsView.as_view(), name="api_portions"),
    path(f"{P}/days/<int:day>/desk/", desk.DeskView.as_view(), name="api_desk"),
    path(f"{P}/portions/<int:portion>/", desk.PortionView.as_view(), name="api_portion"),
    path(f"{P}/portions/<int:portion>/collections/", desk.CollectionsView.as_view(), name="api_collections"),
    path(f"{P}/portions/<int:portion>/taken-back/", desk.TakenBackView.as_view(), name="api_taken_back"),
    path(f"{P}/collections/<int:collection>/", desk.CollectionDetail.as_view(), name="api_collection"),
    path(
        f"{P}/collections/<int:collection>/correction/",
        desk.CorrectionView.as_view(),
        name="api_collection_correct",
    ),
    path(
        f"{P}/collections/<int:collection>/reversal/",
        desk.ReversalView.as_view(),
        name="api_collection_reverse",
    ),
    path(f"{P}/flags/", desk.FlagsView.as_view(), name="api_flags"),
    path(f"{P}/flags/<int:flag>/settle/", desk.SettleView.as_view(), name="api_settle"),
    path(f"{P}/totals/", totals.TotalsView.as_view(), name="api_totals"),
    path(f"{P}/tickets/", totals.TicketsView.as_view(), name="api_tickets"),
    path(f"{P}/tickets/<int:ticket>/", totals.TicketDetail.as_view(), name="api_ticket"),
    path(
        f"{P}/tickets/<int:ticket>/reversal/", totals.TicketReversalView.as_view(), name="api_ticket_reverse"
    ),
]
