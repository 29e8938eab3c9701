from __future__ import annotations

from schedules import routes_desk, routes_land, routes_rounds

urlpatterns = [*routes_land.urlpatterns, *routes_rounds.urlpatterns, *routes_desk.urlpatterns]
