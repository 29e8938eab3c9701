from __future__ import annotations

from django.urls import URLPattern, path

from schedules.views import desk

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
]
