"""Pages of the shed, the recipes and the mixing day: what they show, who may, bad input, query counts."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from blends.actions import days as day_actions
from blends.actions import stock as stock_actions
from blends.models import (
    Blend,
    Count,
    Gate,
    Lot,
    Material,
    MixingDay,
    Place,
    Revision,
    SafetyTick,
    Scale,
    WeighOut,
)
from blends.safety import POINTS
from tests.blends.shed import Shed, Weighing, fill_shed, key, start_weighing
from tests.house.routes import Route
from tests.house.routes_blends import ROUTES, a_day

pytestmark = pytest.mark.django_db
SignIn = Callable[[Any], Any]

MAY = {
    "read": {"organiser", "steward", "auditor"},
    "mix": {"organiser", "steward"},
    "organise": {"organiser"},
}


@pytest.fixture
def shed(cast: Any) -> Shed:
    return fill_shed(cast)


@pytest.fixture
def weighing(cast: Any) -> Weighing:
    return start_weighing(cast)


def url(name: str, cast: Any, **kwargs: Any) -> str:
    return reverse(name, kwargs={"programme": cast.programme.pk, **kwargs})


def text(response: Any) -> str:
    """The page's words, on one line."""
    body = re.sub(r"<[^>]+>", " ", response.content.decode())
    return " ".join(body.replace("\u00a0", " ").replace("\u202f", " ").replace("&nbsp;", " ").split())


def typed(response: Any, name: str) -> bool:
    return f'value="{name}"' in response.content.decode()


# --- the wall -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("route", ROUTES, ids=lambda r: r.name)
def test_every_address_answers_whom_it_may_and_nobody_else(cast: Any, as_: SignIn, route: Route) -> None:
    address = reverse(route.name, kwargs=route.kwargs(cast))
    for method in route.methods:
        allowed = MAY[route.change if method == "post" and route.change else route.right]
        for who in ("organiser", "steward", "holder", "auditor", "stranger"):
            status = getattr(as_(getattr(cast, who)), method)(address).status_code
            expected = {200, 302} if who in allowed else {404} if who == "stranger" else {403}
            assert status in expected, (who, method, status)
        assert getattr(as_(None), method)(address).status_code == 302


@pytest.mark.parametrize(
    "route", [r for r in ROUTES if len(r.kwargs.__code__.co_names) > 1], ids=lambda r: r.name
)
def test_another_programmes_rows_are_not_found(cast: Any, as_: SignIn, route: Route) -> None:
    kwargs = route.kwargs(cast) | {"programme": cast.other.pk}
    if set(kwargs) == {"programme"}:
        return
    client, method = as_(cast.stranger), route.methods[0]
    assert getattr(client, method)(reverse(route.name, kwargs=kwargs)).status_code == 404


def test_pages_carry_no_inline_style_or_script_and_one_act(cast: Any, as_: SignIn) -> None:
    client = as_(cast.organiser)
    for route in ROUTES:
        if "get" not in route.methods:
            continue
        body = client.get(reverse(route.name, kwargs=route.kwargs(cast))).content.decode()
        assert not re.search(r'\sstyle="|<style|\son\w+="|<script(?![^>]+src=)', body), route.name
        assert len(re.findall(r'class="act"', body)) <= 1, route.name


# --- materials ------------------------------------------------------------------------------------------


def test_the_first_evening_is_shown_the_next_step(cast: Any, as_: SignIn) -> None:
    client = as_(cast.organiser)
    for name, words in (
        ("materials", "Nothing to mix from yet"),
        ("stock", "The shed is empty"),
        ("lots", "No bag has come yet"),
        ("blends", "No blend yet"),
        ("days", "No mixing day yet"),
        ("scales", "Which scales are there?"),
    ):
        page = client.get(url(name, cast))
        assert words in text(page) and 'class="act"' in page.content.decode(), name


def test_a_material_is_adopted_from_the_catalogue(cast: Any, as_: SignIn) -> None:
    client = as_(cast.organiser)
    page = client.post(url("materials", cast), {"code": "trace-concentrate"}, follow=True)
    material = Material.objects.get()
    assert material.catalogue_code == "trace-concentrate" and "Source:" in text(page)
    assert "nobody who is or may be pregnant" in text(page)
    assert "trace-concentrate" not in client.get(url("materials", cast)).content.decode()


LABEL = {"name": "Compound 12-8-16", "kind": "compound", "N": "12", "P2O5": "8", "K2O": "16,5", "slow": "no"}


def test_a_bags_label_is_typed_as_printed(cast: Any, as_: SignIn) -> None:
    page = as_(cast.organiser).post(url("material_add", cast), LABEL, follow=True)
    values = Material.objects.get().current().values
    assert values == {"N": "12", "P2O5": "8", "K2O": "16.5"}
    assert "not declared: it is not known, never zero" in text(page)


@pytest.mark.parametrize(
    "changes, said",
    [
        ({"slow": ""}, "slow-release or coated"),
        ({"N": "twelve"}, "no percentage"),
        ({"N": "-3"}, "no percentage"),
        ({"N": "NaN"}, "no percentage"),
        ({"N": "60", "K2O": "60"}, "more than there is in the bag"),
        ({"N": "", "P2O5": "", "K2O": ""}, "Nothing is declared yet"),
        ({"name": ""}, "Name: Nothing is written here yet"),
        ({"formula": "MgSO4", "N": "12"}, "not both"),
    ],
)
def test_a_bad_label_is_told_at_its_box_and_the_typing_stays(
    cast: Any, as_: SignIn, changes: dict[str, str], said: str
) -> None:
    page = as_(cast.organiser).post(url("material_add", cast), LABEL | changes)
    assert page.status_code == 200 and said in text(page)
    assert not Material.objects.exists()
    assert typed(page, changes.get("P2O5", "8")) or "P2O5" in changes


def test_the_next_bag_is_declared_anew(cast: Any, as_: SignIn, shed: Shed) -> None:
    material = shed.material("compound")
    as_(cast.organiser).post(url("material", cast, material=material.pk), {"N": "15", "slow": "no"})
    assert material.current().values == {"N": "15"} and material.declarations.count() == 2


# --- the shed -------------------------------------------------------------------------------------------


def lot_form(cast: Any, material: Material, **changes: Any) -> dict[str, Any]:
    return {
        "key": str(uuid.uuid4()), "material": material.pk, "code": "C-08", "bags": "2", "bag_mass": "55 lb",
        "price": "58,00", "supplier": "farm store", "garden": cast.garden.pk, "spot": "north shed",
    } | changes  # fmt: skip


def test_a_delivery_is_typed_as_people_say_it(cast: Any, as_: SignIn, shed: Shed) -> None:
    from gardens.clock import today

    form = lot_form(cast, shed.material("compound"), day=today(cast.programme).isoformat())
    page = as_(cast.organiser).post(url("lot_add", cast), form, follow=True)
    lot = Lot.objects.get(code="C-08")
    assert (lot.bag_mass_mg, lot.price_minor) == (24_947_580, 5800)
    assert "Lot C-08 is in store" in text(page)
    as_(cast.organiser).post(url("lot_add", cast), form)
    assert Lot.objects.filter(code="C-08").count() == 1


@pytest.mark.parametrize(
    "changes, said",
    [
        ({"bag_mass": "25 bags"}, "25"),
        ({"bag_mass": "0 kg"}, "More than nothing"),
        ({"bag_mass": "-25 kg"}, "-25"),
        ({"bag_mass": "1.500 kg"}, "Which did you mean"),
        ({"bags": "0"}, "greater than or equal to 1"),
        ({"price": "cheap"}, "not an amount"),
        ({"code": "C-07"}, "lot C-07 already"),
        ({"material": "999999"}, "valid choice"),
        ({"day": "yesterdayish"}, ""),
    ],
)
def test_a_bad_delivery_is_told_and_the_typing_stays(
    cast: Any, as_: SignIn, shed: Shed, changes: dict[str, str], said: str
) -> None:
    from gardens.clock import today

    form = lot_form(cast, shed.material("compound"), day=today(cast.programme).isoformat()) | changes
    page = as_(cast.organiser).post(url("lot_add", cast), form)
    assert page.status_code == 200 and said in text(page) and typed(page, "north shed")
    assert Lot.objects.count() == 4


def test_a_mistyped_price_is_mended(cast: Any, as_: SignIn, shed: Shed) -> None:
    lot, client = shed.lot("compound"), as_(cast.organiser)
    address = url("lot", cast, lot=lot.pk)
    assert typed(client.get(address), "29.00")
    client.post(address, {"code": "C-07", "price": "31,50", "supplier": "the other store"})
    lot.refresh_from_db()
    assert (lot.price_minor, lot.supplier) == (3150, "the other store")
    page = client.post(address, {"code": "T-03", "price": "31.50"})
    assert "lot T-03 already" in text(page) and typed(page, "T-03")


def test_the_default_blend_is_changed_on_the_list(cast: Any, as_: SignIn, shed: Shed) -> None:
    from blends.actions import recipes

    second = recipes.start_blend(programme=cast.programme, by=cast.organiser, name="Second")
    client = as_(cast.organiser)
    assert "no frozen recipe" in text(client.post(url("blends", cast), {"default": second.pk}, follow=True))
    lines = [(shed.material("compound"), 1_000_000, "1 kg")]
    recipes.freeze_revision(blend=second, by=cast.organiser, lines=lines)
    assert "Second feeds everybody now" in text(
        client.post(url("blends", cast), {"default": second.pk}, follow=True)
    )


def test_another_programmes_material_is_no_choice(cast: Any, as_: SignIn, shed: Shed) -> None:
    theirs = Material.objects.create(programme=cast.other, name="Theirs", kind="inert")
    page = as_(cast.organiser).post(url("lot_add", cast), lot_form(cast, theirs))
    assert "valid choice" in text(page) and Lot.objects.count() == 4


def test_prices_are_for_those_who_report(cast: Any, as_: SignIn, shed: Shed) -> None:
    assert "€ 29.00" in text(as_(cast.auditor).get(url("lots", cast)))
    assert "€" not in text(as_(cast.steward).get(url("lots", cast)))
    revision = url("revision", cast, revision=shed.revision.pk)
    assert "1.435" in text(as_(cast.organiser).get(revision))
    assert "1.435" not in text(as_(cast.steward).get(revision))


def test_a_count_outside_its_band_asks_for_words_then_stands(cast: Any, as_: SignIn, shed: Shed) -> None:
    place, client = shed.lot("drying").places.get(), as_(cast.steward)
    address, form = url("count", cast, place=place.pk), {"key": str(key()), "counted": "1.9 kg"}
    page = client.post(address, form)
    assert "1.900 kg is − 100 g beside the book" in text(page) and typed(page, "1.9 kg")
    assert not Count.objects.exists()
    page = client.post(address, form | {"reason": "it had dried out"}, follow=True)
    assert "outside what weighing explains" in text(page)
    assert Place.objects.get(pk=place.pk).balance_mg == 1_900_000


def test_a_loss_and_a_move_and_a_return_are_written_down(cast: Any, as_: SignIn, shed: Shed) -> None:
    place, client = shed.lot("drying").places.get(), as_(cast.organiser)
    loss = {"key": str(key()), "mass": "250 g", "to": "lost", "reason": "spilt"}
    assert client.post(url("loss", cast, place=place.pk), loss).status_code == 302
    move = {"key": str(key()), "mass": "1 kg", "garden": cast.garden.pk, "spot": "bench"}
    assert client.post(url("lot_move", cast, place=place.pk), move).status_code == 302
    back = {"key": str(key()), "mass": "0.25 kg", "reason": "too much"}
    assert client.post(url("lot_send_back", cast, place=place.pk), back).status_code == 302
    assert Place.objects.get(pk=place.pk).balance_mg == 500_000


def test_a_loss_without_a_reason_keeps_the_typing(cast: Any, as_: SignIn, shed: Shed) -> None:
    place = shed.lot("drying").places.get()
    page = as_(cast.steward).post(
        url("loss", cast, place=place.pk),
        {"key": str(key()), "mass": "3 heaps", "to": "lost", "reason": "spilt"},
    )
    assert page.status_code == 200 and typed(page, "3 heaps") and typed(page, "spilt")
    assert Place.objects.get(pk=place.pk).balance_mg == 2_000_000


# --- recipes --------------------------------------------------------------------------------------------


def recipe(*lines: tuple[Any, str], **more: str) -> dict[str, Any]:
    data: dict[str, Any] = {"lines": str(len(lines)), **more}
    for n, (material, amount) in enumerate(lines):
        data |= {f"{n}-material": getattr(material, "pk", material), f"{n}-amount": amount}
    return data


def test_a_recipe_is_kept_shown_and_frozen(cast: Any, as_: SignIn, shed: Shed) -> None:
    client, blend = as_(cast.organiser), shed.revision.blend
    address = url("blend_draft", cast, blend=blend.pk)
    lines = [(shed.material("compound"), "22 lb 1 oz"), (shed.material("drying"), "2 cups"), ("", "")]
    page = client.post(address, recipe(*lines, step="preview"), follow=True)
    assert "10.007 kg" in text(page) and "450 g" in text(page)  # 2 cups of 0.95 g/mL = 449.5 g
    assert "Freeze revision 2" in text(page)
    client.post(address, recipe(*lines, step="freeze"))
    assert Revision.objects.get(number=2).components.count() == 2
    assert Blend.objects.get(pk=blend.pk).draft == []


@pytest.mark.parametrize(
    "amount, said",
    [
        ("ten", "As in"),
        ("", "How much"),
        ("-3 kg", "-3"),
        ("1.500 kg", "Which did you mean"),
        ("NaN kg", "NaN"),
    ],
)
def test_an_amount_that_cannot_be_read_is_told_at_its_line(
    cast: Any, as_: SignIn, shed: Shed, amount: str, said: str
) -> None:
    blend = shed.revision.blend
    data = recipe((shed.material("compound"), amount), step="preview")
    page = as_(cast.organiser).post(url("blend_draft", cast, blend=blend.pk), data)
    assert page.status_code == 200 and said in text(page)
    assert not amount or typed(page, amount)
    assert Blend.objects.get(pk=blend.pk).draft == []


def test_one_of_two_readings_is_chosen_never_guessed(cast: Any, as_: SignIn, shed: Shed) -> None:
    blend, compound = shed.revision.blend, shed.material("compound")
    data = recipe((compound, "1.500 kg"), step="preview") | {"0-amount_reading": "1500 kg"}
    as_(cast.organiser).post(url("blend_draft", cast, blend=blend.pk), data)
    assert Blend.objects.get(pk=blend.pk).draft == [{"material": compound.pk, "amount": "1500 kg"}]


def test_cups_of_what_has_no_density_are_refused_kindly(cast: Any, as_: SignIn, shed: Shed) -> None:
    Material.objects.filter(pk=shed.material("drying").pk).update(bulk_density=None)
    data = recipe((shed.material("drying"), "2 cups"), step="preview")
    page = as_(cast.organiser).post(url("blend_draft", cast, blend=shed.revision.blend_id), data)
    assert "weighs in a cup is not known" in text(page)


def test_boron_asks_its_reason_on_the_page(cast: Any, as_: SignIn, shed: Shed) -> None:
    client, address = as_(cast.organiser), url("blend_draft", cast, blend=shed.revision.blend_id)
    lines = [(shed.material("compound"), "8 kg"), (shed.material("trace"), "2 kg")]
    page = client.post(address, recipe(*lines, step="preview"), follow=True)
    assert "above 1.1 it needs a reason" in text(page) and "Why so much boron" in text(page)
    page = client.post(address, recipe(*lines, step="freeze"))
    assert page.status_code == 200 and Revision.objects.count() == 1
    client.post(address, recipe(*lines, step="freeze", boron_reason="the soil has none"))
    assert Revision.objects.get(number=2).boron_reason == "the soil has none"


def test_what_cannot_be_mixed_has_no_act(cast: Any, as_: SignIn, shed: Shed) -> None:
    client, address = as_(cast.organiser), url("blend_draft", cast, blend=shed.revision.blend_id)
    lines = [(shed.material("compound"), "5 kg"), (shed.material("trace"), "5 kg")]
    page = client.post(address, recipe(*lines, step="preview"), follow=True)
    assert "cannot be mixed" in text(page) and "Freeze: too much boron" in text(page)


def test_a_revision_says_what_it_feeds_and_what_may_be_printed(cast: Any, as_: SignIn, shed: Shed) -> None:
    said = text(as_(cast.organiser).get(url("revision", cast, revision=shed.revision.pk)))
    for words in (
        "It feeds eleven of the fourteen and says nothing of calcium, chlorine and nickel.",
        "calculated, not guaranteed", "13-13-13", "Mg, S, Mn, Mo, Zn", "B, Cu, Fe", "≥ 1.626", "Not declared",
    ):  # fmt: skip
        assert words in said, words


def test_a_recipe_is_scaled_on_its_page(cast: Any, as_: SignIn, shed: Shed) -> None:
    client, address = as_(cast.steward), url("revision", cast, revision=shed.revision.pk)
    assert "4.167 kg" in text(client.get(address, {"mass": "5 kg"}))
    page = client.get(address, {"mass": "five"})
    assert page.status_code == 200 and typed(page, "five")


# --- the day --------------------------------------------------------------------------------------------


def test_a_day_is_set_with_its_crew(cast: Any, as_: SignIn) -> None:
    from gardens.clock import today

    form = {"garden": cast.garden.pk, "day": today(cast.programme).isoformat(), "starts_at": "10:00"}
    page = as_(cast.organiser).post(url("day_add", cast), form | {"crew": [cast.steward.pk]}, follow=True)
    day = MixingDay.objects.get()
    assert day.crew.get().person == cast.steward and "Enter the scales" in text(page)
    page = as_(cast.organiser).post(url("day_add", cast), form | {"starts_at": "noonish"})
    assert "no time of day" in text(page) and typed(page, "noonish")


def test_the_day_leads_from_act_to_act(cast: Any, as_: SignIn) -> None:
    weighing = start_weighing(cast, safe=False)
    client, address = as_(cast.steward), url("day", cast, day=weighing.day.pk)
    assert "Go through the safety list" in text(client.get(address))
    client.post(url("safety", cast, day=weighing.day.pk), {"points": list(POINTS)})
    assert SafetyTick.objects.filter(by=cast.steward).count() == len(POINTS)
    assert "Weigh for pail 1" in text(client.get(address))
    weighing.weigh_all()
    assert "Decide on pail 1" in text(client.get(address))
    weighing.release()
    assert "Weigh ten scoops" in text(client.get(address))
    client.post(url("scoops", cast, batch=weighing.batch.pk), {"ten_scoops": "142"})
    weighing.batch.refresh_from_db()
    assert weighing.batch.ten_scoops_mg == 142_000


def test_a_scale_is_entered_and_retired(cast: Any, as_: SignIn) -> None:
    client = as_(cast.steward)
    client.post(url("scales", cast), {"name": "B", "division": "0.1 g", "maximum": "500 g"})
    scale = Scale.objects.get()
    assert (scale.division_mg, scale.max_mg) == (100, 500_000)
    client.post(url("scales", cast), {"retire": scale.pk})
    assert Scale.objects.get().retired and "no longer used" in text(client.get(url("scales", cast)))
    page = client.post(url("scales", cast), {"name": "C", "division": "tiny", "maximum": "5 kg"})
    assert page.status_code == 200 and typed(page, "tiny")


# --- weighing -------------------------------------------------------------------------------------------


def weigh_url(cast: Any, weighing: Weighing, name: str) -> str:
    return url("weigh", cast, pail=weighing.pail.pk, component=weighing.target(name).component_id)


def weigh_form(weighing: Weighing, name: str, gross: str, **changes: Any) -> dict[str, Any]:
    target = weighing.target(name)
    witness = {"witness": weighing.shed.witness.pk} if name == "trace" else {}
    return {
        "key": str(key()), "lot": weighing.shed.lot(name).pk, "scale": target.scale_id, "gross": gross,
        "tare": "12.4", **witness,
    } | changes  # fmt: skip


def test_no_lot_is_preselected_and_all_lots_of_the_day_are_shown(
    cast: Any, as_: SignIn, weighing: Weighing
) -> None:
    page = as_(cast.steward).get(weigh_url(cast, weighing, "trace"))
    body = page.content.decode()
    assert re.findall(r'name="lot" value="\d+"[^>]*', body) and not re.search(r'name="lot"[^>]*checked', body)
    for code in ("C-07", "D-01", "M-02", "T-03"):
        assert code in body
    assert "borates" in text(page) and "Weigh 77.1 g of Trace concentrate for pail 1." in text(page)


def test_a_good_reading_is_recorded_and_leads_to_the_next(cast: Any, as_: SignIn, weighing: Weighing) -> None:
    form = weigh_form(weighing, "compound", "5154.4")
    page = as_(cast.steward).post(weigh_url(cast, weighing, "compound"), form, follow=True)
    assert WeighOut.objects.get().net_mg == 5_142_000
    assert "Recorded: 5 142 g of Compound 16-16-16, lot C-07." in text(page)
    assert "Weigh 771 g of Magnesium salt" in text(page)


def test_the_exchange_is_stopped_at_the_page_and_nothing_is_recorded(cast: Any, as_: SignIn) -> None:
    weighing = start_weighing(cast, 5_272_000)  # 659 g magnesium salt, 65.9 g trace
    form = weigh_form(weighing, "trace", "671.4", scale=weighing.shed.coarse.pk)
    page = as_(cast.steward).post(weigh_url(cast, weighing, "trace"), form)
    said = text(page)
    for words in (
        "Stop: this is not 65.9 g of Trace concentrate.", "659.0 g is ten times too much.",
        "is the target of Magnesium salt: is the other bag open?", "boron would be 10.0 times the design",
        "Nothing is recorded", "Put it back, weigh again",
    ):  # fmt: skip
        assert words in said, words
    assert not WeighOut.objects.exists()


def test_a_mistyped_figure_is_mended_with_the_typing_kept(cast: Any, as_: SignIn, weighing: Weighing) -> None:
    client, address = as_(cast.steward), weigh_url(cast, weighing, "magnesium")
    form = weigh_form(weighing, "magnesium", "7834")
    assert "ten times too much" in text(client.post(address, form))
    page = client.post(address, form | {"step": "mend"})
    assert typed(page, "7834") and not WeighOut.objects.exists()
    client.post(address, form | {"gross": "783.4"})
    assert WeighOut.objects.get().net_mg == 771_000


def test_a_figure_is_kept_with_a_reason_and_holds_the_pail(
    cast: Any, as_: SignIn, weighing: Weighing
) -> None:
    client, address = as_(cast.steward), weigh_url(cast, weighing, "magnesium")
    form = weigh_form(weighing, "magnesium", "900")
    client.post(address, form | {"question_reason": "the bag was torn"})
    assert WeighOut.objects.get().question_reason == "the bag was torn"
    assert weighing.place().gate == Gate.HELD


def test_the_wrong_bag_is_stopped_in_words(cast: Any, as_: SignIn, weighing: Weighing) -> None:
    form = weigh_form(weighing, "magnesium", "783.4", lot=weighing.shed.lot("compound").pk)
    page = as_(cast.steward).post(weigh_url(cast, weighing, "magnesium"), form)
    assert "That bag is Compound 16-16-16." in text(page) and not WeighOut.objects.exists()


@pytest.mark.parametrize(
    "changes, said",
    [
        ({"lot": ""}, "Read the mark on the bag"),
        ({"gross": ""}, "Nothing is written here yet"),
        ({"gross": "about 80"}, "about"),
        ({"gross": "-5"}, "-5"),
        ({"gross": "1.500"}, "Which did you mean"),
        ({"gross": "12.4"}, "nothing on the scale beside its vessel"),
        ({"gross": "9 t"}, "carries up to"),
        ({"witness": ""}, "A second person reads bag"),
        ({"witness": "999999"}, "valid choice"),
        ({"lot": "999999"}, "valid choice"),
        ({"key": "x"}, "Open this page afresh"),
    ],
)
def test_a_reading_that_cannot_be_keeps_what_was_typed(
    cast: Any, as_: SignIn, weighing: Weighing, changes: dict[str, str], said: str
) -> None:
    form = weigh_form(weighing, "trace", "89.5") | changes
    page = as_(cast.steward).post(weigh_url(cast, weighing, "trace"), form)
    assert page.status_code == 200 and said in text(page)
    assert typed(page, form["tare"]) and not WeighOut.objects.exists()


def test_who_weighs_is_no_witness_to_choose(cast: Any, as_: SignIn, weighing: Weighing) -> None:
    body = as_(cast.steward).get(weigh_url(cast, weighing, "trace")).content.decode()
    assert f'<option value="{cast.steward.pk}"' not in body
    assert f'<option value="{cast.second_steward.pk}"' in body


def test_the_net_is_told_while_typing_and_nothing_is_recorded(
    cast: Any, as_: SignIn, weighing: Weighing
) -> None:
    address = url("weigh_net", cast, pail=weighing.pail.pk, component=weighing.target("trace").component_id)
    query = {"gross": "89.5", "tare": "12.4", "lot": weighing.shed.lot("trace").pk}
    page = as_(cast.steward).get(address, query)
    assert "Record 77.1 g, lot T-03" in text(page) and "Within" in text(page)
    assert "Look again" in text(as_(cast.steward).get(address, query | {"gross": "95"}))
    assert as_(cast.steward).get(address, {"gross": "eighty"}).status_code == 200
    assert not WeighOut.objects.exists()


def test_a_second_person_looks_and_the_pail_is_released(cast: Any, as_: SignIn, weighing: Weighing) -> None:
    for name in ("compound", "magnesium", "drying"):
        weighing.weigh(name)
    made = weighing.weigh("trace", witness=None, alone=True)
    pail, look = url("pail", cast, pail=weighing.pail.pk), url("look", cast, weigh_out=made.pk)
    assert "held until a second person has looked" in text(as_(cast.organiser).get(pail))
    assert "You weighed it yourself" in text(as_(cast.steward).post(look, follow=True))
    as_(cast.second_steward).post(look)
    decide = url("pail_decide", cast, pail=weighing.pail.pk)
    page = as_(cast.second_steward).post(decide, {"step": "release"}, follow=True)
    assert "Pail 1 is released" in text(page) and weighing.place().gate == Gate.RELEASED
    assert "already" in text(as_(cast.steward).post(decide, {"step": "release"}, follow=True))
    as_(cast.steward).post(decide, {"step": "hold"})
    assert weighing.place().gate == Gate.HELD


def test_only_an_organiser_is_asked_to_accept(cast: Any, as_: SignIn, weighing: Weighing) -> None:
    for name in ("compound", "drying", "trace"):
        weighing.weigh(name)
    weighing.weigh("magnesium", 900_000, question_reason="torn")
    address, decide = (
        url("pail", cast, pail=weighing.pail.pk),
        url("pail_decide", cast, pail=weighing.pail.pk),
    )
    assert "Accept it as it is" in text(as_(cast.organiser).get(address))
    assert "Accept it as it is" not in text(as_(cast.steward).get(address))
    assert "Only an organiser" in text(as_(cast.steward).post(decide, {"step": "accept", "reason": "x"}))
    assert "Say why" in text(as_(cast.organiser).post(decide, {"step": "accept", "reason": ""}))
    as_(cast.organiser).post(decide, {"step": "accept", "reason": "harms nobody"})
    assert weighing.place().gate == Gate.RELEASED


def test_a_correction_stands_beside_the_struck_entry(cast: Any, as_: SignIn, weighing: Weighing) -> None:
    made, client = weighing.weigh("compound"), as_(cast.steward)
    address = url("weigh_correct", cast, weigh_out=made.pk)
    assert typed(client.get(address), "5154.4")
    form = weigh_form(weighing, "compound", "5104.4", reason="read it again")
    assert client.post(address, form | {"reason": ""}).status_code == 200
    page = client.post(address, form, follow=True)
    assert 'class="struck"' in page.content.decode() and "by Stevo: read it again" in text(page)
    assert weighing.place().balance_mg == 5_092_000
    assert "taken back already" in text(client.get(address, follow=True))


def test_a_reading_is_taken_back_from_the_page(cast: Any, as_: SignIn, weighing: Weighing) -> None:
    made = weighing.weigh("compound")
    form = weigh_form(weighing, "compound", "5154.4", reason="pail 2", step="reverse")
    as_(cast.steward).post(url("weigh_correct", cast, weigh_out=made.pk), form)
    assert weighing.place().balance_mg == 0


def test_a_day_is_counted_and_closed_on_its_pages(cast: Any, as_: SignIn, weighing: Weighing) -> None:
    weighing.weigh_all()
    client, close = as_(cast.steward), url("close_day", cast, day=weighing.day.pk)
    assert "One pail to count" in text(client.get(close))
    assert "Count first" in text(client.post(close))
    book = weighing.place().balance_mg
    count = {"key": str(key()), "counted": f"{(book - 1_000) / 1000} g"}
    page = client.post(url("count", cast, place=weighing.place().pk), count, follow=True)
    assert "within weighing" in text(page) and "Close the day" in text(page)
    assert "Closed: 1 pail counted." in text(client.post(close, follow=True))


def test_us_customary_is_shown_to_those_who_chose_it(cast: Any, as_: SignIn) -> None:
    cast.programme.units = "us"
    cast.programme.save()
    weighing = start_weighing(cast)
    said = text(as_(cast.steward).get(weigh_url(cast, weighing, "trace")))
    assert "Weigh 2.720 oz of Trace concentrate" in said
    form = weigh_form(weighing, "compound", "11 lb 5.4 oz", tare="0")
    as_(cast.steward).post(weigh_url(cast, weighing, "compound"), form)
    assert WeighOut.objects.get().net_mg == pytest.approx(5_142_000, abs=2_000)


# --- papers ---------------------------------------------------------------------------------------------


def test_the_run_sheet_has_blanks_cautions_and_emergency_lines(
    cast: Any, as_: SignIn, weighing: Weighing
) -> None:
    page = as_(cast.steward).get(url("run_sheet", cast, day=weighing.day.pk))
    said, body = text(page), page.content.decode()
    for point in POINTS.values():
        assert point in said
    for words in (
        "Emergency 999",
        "Poison line 555 0142",
        "1. Compound 16-16-16",
        "4. Trace concentrate",
        "74.8 to 79.4",
    ):
        assert words in said, words
    assert body.count('class="hand"') == 4 * 4 + 1  # reading, vessel, lot, by; a witness for the trace only


def test_tub_labels_say_what_they_must(cast: Any, as_: SignIn, weighing: Weighing) -> None:
    client, address = as_(cast.steward), url("tub_labels", cast, day=weighing.day.pk)
    page = client.get(address)
    for words in (
        "All-round 13-13-13", "Calculated, not guaranteed", "zinc (Zn) 0.0500 %", "Not a food container",
        "Poison line 555 0142", "Emergency 999",
    ):  # fmt: skip
        assert words in text(page), words
    assert "boron (B)" not in text(page) and page.content.decode().count('class="a7"') == 8
    assert client.get(address, {"each": "16"}).content.decode().count('class="a7"') == 16
    assert client.get(address, {"each": "-1"}).content.decode().count('class="a7"') == 8
    assert client.get(address, {"each": "99999"}).content.decode().count('class="a7"') == 200


def test_papers_of_an_empty_day_are_no_error(cast: Any, as_: SignIn) -> None:
    day = MixingDay.objects.create(programme=cast.programme, garden=cast.garden, day="2026-06-01")
    for name in ("run_sheet", "tub_labels", "day", "close_day"):
        assert as_(cast.auditor).get(url(name, cast, day=day.pk)).status_code == 200


# --- query counts ---------------------------------------------------------------------------------------

LISTING = (
    "materials", "material", "lots", "stock", "blends", "revision", "scales", "days", "day", "safety", "crew",
    "close_day", "run_sheet", "tub_labels", "pail", "weigh", "weigh_net", "weigh_correct",
)  # fmt: skip


def queries(client: Any, address: str, capture: Any) -> int:
    with capture() as seen:
        assert client.get(address).status_code == 200
    return len(seen)


@pytest.mark.parametrize("name", LISTING)
def test_queries_are_few_and_the_same_however_much_there_is(cast: Any, as_: SignIn, name: str) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    weighing = a_day(cast)
    route = next(r for r in ROUTES if r.name == name)
    address, client = reverse(name, kwargs=route.kwargs(cast)), as_(cast.organiser)

    def capture() -> Any:
        return CaptureQueriesContext(connection)

    few = queries(client, address, capture)
    _grow(cast, weighing)
    many = queries(client, address, capture)
    assert many == few <= 15


def _grow(cast: Any, weighing: Weighing) -> None:
    """More of everything: materials, lots, counts, blends, scales, days, batches, pails, readings, crew."""
    from gardens.clock import today
    from tests.blends.shed import make_material

    day = today(cast.programme)
    for n in range(3):
        material = make_material(
            cast.programme, cast.organiser, (f"Salt {n}", "straight", {"N": "21"}, "", 0, "", 0, 0, "")
        )
        lot = stock_actions.receive_lot(
            programme=cast.programme, by=cast.organiser, material=material, code=f"S-{n}", bags=1,
            bag_mass_mg=25_000_000, price_minor=100, supplier="", day=day, garden=cast.garden, spot=f"s{n}",
            key=key(),
        )  # fmt: skip
        place = lot.places.get()
        stock_actions.count_place(place=place, by=cast.steward, counted_mg=place.balance_mg, key=key())
        Scale.objects.create(programme=cast.programme, name=f"S{n}", division_mg=1_000, max_mg=10**8)
    day_actions.add_crew(day=weighing.day, by=cast.organiser, person=cast.organiser)
    batch = day_actions.start_batch(
        day=weighing.day, by=cast.organiser, revision=weighing.shed.revision, mass_mg=30_000_000
    )
    second = Weighing(weighing.shed, weighing.day, batch)
    second.weigh_all(1)
    second.release(1)
    second.weigh_all(2)
    stock_actions.count_place(
        place=second.place(1),
        by=cast.steward,
        counted_mg=second.place(1).balance_mg,
        key=key(),
        day=weighing.day,
    )
