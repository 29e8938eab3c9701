from __future__ import annotations

from django.urls import URLPattern, path

from schedules.views import books, desk

urlpatterns: list[URLPattern] = [
    path("p/<int:programme>/days/<int:day>/desk/", desk.desk, name="desk"),
    path("p/<int:programme>/days/<int:day>/sign-out-list/", desk.sign_out_list, name="sign_out_list"),
    path("p/<int:programme>/portions/<int:portion>/desk/", desk.desk_plot, name="desk_plot"),
    path("p/<int:programme>/portions/<int:portion>/back/", desk.take_back, name="take_back"),
    path("p/<int:programme>/portions/<int:portion>/over/", desk.hand_over, name="hand_over"),
    path("p/<int:programme>/collections/<int:pk>/", desk.collection, name="collection"),
    path(
        "p/<int:programme>/collections/<int:pk>/correct/", desk.collection_correct, name="collection_correct"
    ),
    path("p/<int:programme>/totals/", books.totals, name="totals"),
    path("p/<int:programme>/totals.csv", books.totals_csv, name="totals_csv"),
    path("p/<int:programme>/tickets/", books.tickets, name="tickets"),
    path("p/<int:programme>/tickets/<int:pk>/", books.ticket, name="ticket"),
    path("p/<int:programme>/tickets/<int:pk>/reverse/", books.ticket_reverse, name="ticket_reverse"),
    path("p/<int:programme>/places/<int:pk>/", books.place, name="place"),
    path("p/<int:programme>/to-settle/", books.to_settle, name="to_settle"),
    path("p/<int:programme>/to-settle/<int:pk>/", books.settle, name="settle"),
]
