"""Addresses of the ground floor: accounts, people, land."""

from __future__ import annotations

from django.contrib.auth import views as auth
from django.urls import URLPattern, URLResolver, path

from gardens.views import accounts, land, people

P = "p/<int:programme>/"

urlpatterns: list[URLPattern | URLResolver] = [
    path("sign-in/", accounts.SignIn.as_view(), name="login"),
    path("sign-out/", auth.LogoutView.as_view(), name="logout"),
    path("password/", accounts.Reset.as_view(), name="password_reset"),
    path("password/sent/", auth.PasswordResetDoneView.as_view(), name="password_reset_done"),
    path("password/<uidb64>/<token>/", accounts.NewPassword.as_view(), name="password_reset_confirm"),
    path("password/kept/", auth.PasswordResetCompleteView.as_view(), name="password_reset_complete"),
    path("invitation/<str:secret>/", accounts.invitation, name="invitation"),
    path(P + "settings/", people.programme_settings, name="programme_settings"),
    path(P + "people/", people.people_list, name="people"),
    path(P + "people/add/", people.person_add, name="person_add"),
    path(P + "people/<int:person>/", people.person, name="person"),
    path(P + "people/<int:person>/invite/", people.invite, name="invite"),
    path(P + "people/<int:person>/erase/", people.person_erase, name="person_erase"),
    path(P + "gardens/", land.garden_list, name="land"),
    path(P + "gardens/add/", land.garden_add, name="garden_add"),
    path(P + "gardens/<int:garden>/", land.garden, name="garden"),
    path(P + "gardens/<int:garden>/season/", land.garden_change, name="garden_change"),
    path(P + "gardens/<int:garden>/plots/add/", land.plot_add, name="plot_add"),
    path(P + "plots/<int:plot>/land/", land.plot_land, name="plot_land"),
    path(P + "plots/<int:plot>/change/", land.plot_change, name="plot_change"),
    path(P + "plots/<int:plot>/feeding/", land.plot_feeding, name="plot_feeding"),
    path(P + "plots/<int:plot>/holder/", land.tenancy_change, name="tenancy_change"),
    path(P + "plots/<int:plot>/holder/end/", land.tenancy_end, name="tenancy_end"),
    path(P + "plots/<int:plot>/household/", land.member_add, name="member_add"),
    path(P + "household/<int:member>/leave/", land.member_leave, name="member_leave"),
    path(P + "plots/<int:plot>/beds/add/", land.bed_add, name="bed_add"),
    path(P + "beds/<int:bed>/", land.bed, name="bed"),
    path(P + "beds/<int:bed>/feeding/", land.bed_feeding, name="bed_feeding"),
    path(P + "beds/<int:bed>/end/", land.bed_end, name="bed_end"),
]
