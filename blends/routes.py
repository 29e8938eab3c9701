"""Addresses of the shed, the recipes and the mixing day."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from blends.views import blends, days, materials, papers, store, weighing

urlpatterns: list[URLPattern | URLResolver] = [
    path("p/<int:programme>/materials/", materials.materials, name="materials"),
    path("p/<int:programme>/materials/new/", materials.material_add, name="material_add"),
    path("p/<int:programme>/materials/<int:material>/", materials.material, name="material"),
    path("p/<int:programme>/lots/", store.lots, name="lots"),
    path("p/<int:programme>/lots/new/", store.lot_add, name="lot_add"),
    path("p/<int:programme>/lots/<int:lot>/", store.lot, name="lot"),
    path("p/<int:programme>/stock/", store.stock, name="stock"),
    path("p/<int:programme>/stock/<int:place>/count/", store.count, name="count"),
    path("p/<int:programme>/stock/<int:place>/loss/", store.loss, name="loss"),
    path("p/<int:programme>/stock/<int:place>/move/", store.lot_move, name="lot_move"),
    path("p/<int:programme>/stock/<int:place>/back/", store.lot_send_back, name="lot_send_back"),
    path("p/<int:programme>/blends/", blends.blends, name="blends"),
    path("p/<int:programme>/blends/<int:blend>/", blends.blend, name="blend"),
    path("p/<int:programme>/blends/<int:blend>/recipe/", blends.blend_draft, name="blend_draft"),
    path("p/<int:programme>/revisions/<int:revision>/", blends.revision, name="revision"),
    path("p/<int:programme>/scales/", days.scales, name="scales"),
    path("p/<int:programme>/days/", days.days, name="days"),
    path("p/<int:programme>/days/new/", days.day_add, name="day_add"),
    path("p/<int:programme>/days/<int:day>/", days.day, name="day"),
    path("p/<int:programme>/days/<int:day>/safety/", days.safety, name="safety"),
    path("p/<int:programme>/days/<int:day>/crew/", days.crew, name="crew"),
    path("p/<int:programme>/days/<int:day>/batch/", days.batch_add, name="batch_add"),
    path("p/<int:programme>/days/<int:day>/close/", days.close, name="close_day"),
    path("p/<int:programme>/days/<int:day>/run-sheet/", papers.run_sheet, name="run_sheet"),
    path("p/<int:programme>/days/<int:day>/labels/", papers.tub_labels, name="tub_labels"),
    path("p/<int:programme>/batches/<int:batch>/scoops/", days.scoops, name="scoops"),
    path("p/<int:programme>/pails/<int:pail>/", weighing.pail, name="pail"),
    path("p/<int:programme>/pails/<int:pail>/decide/", weighing.pail_decide, name="pail_decide"),
    path("p/<int:programme>/pails/<int:pail>/weigh/<int:component>/", weighing.weigh, name="weigh"),
    path(
        "p/<int:programme>/pails/<int:pail>/weigh/<int:component>/net/", weighing.weigh_net, name="weigh_net"
    ),
    path(
        "p/<int:programme>/weigh-outs/<int:weigh_out>/correct/", weighing.weigh_correct, name="weigh_correct"
    ),
    path("p/<int:programme>/weigh-outs/<int:weigh_out>/look/", weighing.look, name="look"),
]
