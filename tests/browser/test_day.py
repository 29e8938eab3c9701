"""A first mixing day, walked from an empty site as people would: everything is clicked and typed.

The organiser sits at a laptop, two stewards and a holder hold phones. The steps stand on one another, in this order.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal

import pytest
from playwright.sync_api import Browser, BrowserContext, expect

from tests.browser.visitor import PHONE, WIDE, Visitor, open_context, sign_in

PASSWORD = "seven-buckets-of-rain"
ORGANISER = "ilse@ostermere.example"
TODAY = dt.date.today()


def in_days(days: int) -> str:
    """A day as people write it."""
    day = TODAY + dt.timedelta(days=days)
    return f"{day.day} {day:%B %Y}"


SHEET = "\n".join(
    "\t".join(row)
    for row in (
        ("Garden", "Plot", "Plot size", "Holder", "Contact", "Bed measures", "Crop", "Planted on", "Sown or transplanted"),
        ("Lock Lane", "1", "", "Ana Sá", "ana@ostermere.example", "2 × 4 x 8 ft", "", "", ""),
        ("Lock Lane", "2", "", "Ben Oduya", "", "4 x 8 ft", "tomato", in_days(-30), "transplanted"),
        ("Lock Lane", "3", "", "Cleo Marsh", "", "4 by", "", "", ""),
        ("Lock Lane", "4", "", "Dov Lindqvist", "", "1.2 × 5 m", "", "", ""),
        ("Kiln Field", "1", "3 x 6 m", "Eve Parkhurst", "", "", "", "", ""),
        ("Kiln Field", "2", "3 x 6 m", "Fay Quinn", "", "", "", "", ""),
    )
)  # fmt: skip
#: Material of the catalogue, mark of its lot, bags, in one bag, paid, and how the recipe says it.
GOODS = (
    ("Compound 16-16-16", "C-01", "1", "25 kg", "29.00", "10 kg"),
    ("Magnesium sulfate heptahydrate", "M-01", "1", "10 kg", "12.50", "1.5 kg"),
    ("Trace-element concentrate", "T-01", "1", "1 kg", "18.00", "150 g"),
    ("Expanded perlite", "D-01", "1", "2 kg", "6.00", "350 g"),
)


@dataclass
class Day:
    """Who is at the table, and what was read off the screens so far."""

    browser: Browser
    site: str
    contexts: list[BrowserContext] = field(default_factory=list)
    people: dict[str, Visitor] = field(default_factory=dict)
    links: dict[str, str] = field(default_factory=dict)

    def comes(self, name: str, width: int) -> Visitor:
        context = open_context(self.browser, width)
        self.contexts.append(context)
        self.people[name] = Visitor(context.new_page(), self.site, name)
        return self.people[name]

    def __getattr__(self, name: str) -> Visitor:
        try:
            return self.__dict__["people"][name]
        except KeyError:
            raise AttributeError(name) from None


@pytest.fixture(scope="module")
def day(browser: Browser, bare: str) -> Iterator[Day]:
    table = Day(browser, bare)
    table.comes("ilse", WIDE)
    yield table
    for context in table.contexts:
        context.close()


def grams(words: str) -> Decimal:
    """The first mass in a sentence."""
    found = re.search(r"(\d[\d\s\u202f\u00a0]*(?:\.\d+)?)[\s\u00a0](kg|g)\b", words)
    assert found, words
    number = Decimal(re.sub(r"[\s\u202f\u00a0]", "", found[1]))
    return number * (1000 if found[2] == "kg" else 1)


# The first evening ----------------------------------------------------------------------------------------------------


def test_an_organiser_signs_up_and_names_the_programme(day: Day) -> None:
    ilse = day.ilse
    ilse.go("/").look()
    ilse.follow("Begin a new programme")
    ilse.write("Name of the programme", "Ostermere Shared Gardens").write("Your name", "Ilse Marchwood")
    ilse.box("Time zone").select_option("Europe/Lisbon")
    ilse.write("Currency", "EUR").write("Your e-mail", ORGANISER)
    ilse.write("Password", PASSWORD).act()
    assert ilse.says() == "Bring in the plots you have."
    ilse.goes_to("How far we are")
    assert "Nothing is here yet" in ilse.says()
    ilse.both_widths()


def test_the_sheet_is_looked_at_cell_by_cell_and_one_cell_is_mended(day: Day) -> None:
    ilse = day.ilse
    ilse.act().write(re.compile("Paste the sheet"), SHEET).act()
    assert ilse.says() == "One cell needs another look."
    assert "4 by" in ilse.text() and "Row 4, bed measures" in ilse.text()
    box = ilse.box(re.compile("Paste the sheet"))
    assert box.input_value() == SHEET
    box.fill(SHEET.replace("4 by", "4 x 8 ft"))
    ilse.act()
    assert ilse.says() == "Ready to bring in 6 plots."
    ilse.both_widths()
    for label, days in (
        (r"Last frost", -84),
        (r"First frost", 112),
        (r"First feeding", -56),
        (r"Last feeding", 77),
    ):
        ilse.write(re.compile(label), in_days(days))
    ilse.write(re.compile("Holders hold"), in_days(-60)).act()


def test_they_see_the_kilograms_a_week_and_how_much_is_assumed(day: Day) -> None:
    ilse = day.ilse
    said = ilse.says()
    assert re.match(r"A week needs (up to )?[\d.]+ (kg|g) of blend, [\d.]+ (kg|g) of it assumed\.", said), (
        said
    )
    assert "6 plots" in ilse.text()
    ilse.both_widths()


def test_the_programme_says_what_an_empty_tub_weighs_and_whom_to_call(day: Day) -> None:
    ilse = day.ilse
    ilse.goes_to("Settings")
    ilse.write("Mass of one empty tub", "58 g").write("Emergency number", "112").write(
        "Poison line", "555 0142"
    ).act()
    ilse.both_widths()


@pytest.mark.parametrize(
    ("name", "role"), [("Tam Reed", "steward"), ("Hal Quist", "steward"), ("Ana Sá", "holder")]
)
def test_people_are_asked_in_by_a_link(day: Day, name: str, role: str) -> None:
    ilse, first = day.ilse, name.split()[0].lower()
    ilse.goes_to("People")
    if role == "steward":
        ilse.act().write("Name", name).act()
    else:
        ilse.follow(name)
    ilse.press("Ask them to sign in").write("E-mail", f"{first}@ostermere.example")
    ilse.tick(re.compile(role, re.I)).act()
    link = ilse.page.locator(".secret").inner_text().strip()
    guest = day.comes(first, PHONE)
    guest.go(link).look()
    guest.write("Password", PASSWORD).act()
    assert guest.page.get_by_text("Go to").is_visible()


# The blend ------------------------------------------------------------------------------------------------------------


def test_materials_are_taken_from_the_catalogue(day: Day) -> None:
    ilse = day.ilse
    ilse.goes_to("Blends").follow("Materials")
    for name, *_ in GOODS:
        choose = ilse.box("A material from the catalogue")
        value = choose.locator("option").filter(has_text=name).first.get_attribute("value")
        choose.select_option(value)
        ilse.act(look=name == GOODS[0][0])
        if not ilse.page.get_by_label("A material from the catalogue").count():
            ilse.goes_to("Blends", look=False).follow("Materials", look=False)
    ilse.look()
    ilse.both_widths()


def test_lots_are_received(day: Day) -> None:
    ilse = day.ilse
    for name, lot, bags, mass, paid, _ in GOODS:
        ilse.goes_to("Shed").press("Enter a delivery", look=lot == "C-01")
        choose = ilse.box("Material")
        choose.select_option(choose.locator("option").filter(has_text=name).first.get_attribute("value"))
        ilse.write("Mark of the lot", lot).write("Bags", bags).write("In one bag", mass)
        ilse.write(re.compile("Paid for all"), paid).write("Where it stands", "north shed").act(
            look=lot == "C-01"
        )
    ilse.goes_to("Shed")
    assert "4 materials in store" in ilse.says()


def test_the_recipe_is_written_and_frozen(day: Day) -> None:
    ilse = day.ilse
    ilse.goes_to("Blends").write("Name of the blend", "All-round blend").act()
    for line, (name, *_, amount) in enumerate(GOODS):
        choose = ilse.page.get_by_label("Material", exact=True).nth(line)
        choose.select_option(choose.locator("option").filter(has_text=name).first.get_attribute("value"))
        ilse.page.get_by_label("How much", exact=True).nth(line).fill(amount)
    ilse.act()
    assert ilse.says().startswith("It feeds")
    assert "13-13-13" in ilse.text() and "calculated, not guaranteed" in ilse.text()
    ilse.both_widths()
    ilse.press("Freeze revision 1")
    assert "Revision" in ilse.text()


# The round ------------------------------------------------------------------------------------------------------------


def test_two_scales_and_a_day(day: Day) -> None:
    ilse = day.ilse
    ilse.goes_to("All mixing days").follow("Scales")
    for name, step, least, most in (
        ("Scale A", "1 g", "20 g", "15 kg"),
        ("Scale B", "0.1 g", "2 g", "500 g"),
    ):
        ilse.write("Name", name).write("Smallest step", step).write("Smallest load", least)
        ilse.write("Largest load", most).act()
    ilse.goes_to("All mixing days").act()
    ilse.box("Where").select_option(label="Lock Lane")
    ilse.write("On which day", in_days(0)).write("From", "10:00")
    ilse.tick("Tam Reed").tick("Hal Quist").act()
    assert "Lock Lane" in ilse.text()


def test_a_round_is_opened_and_its_need_frozen(day: Day) -> None:
    ilse = day.ilse
    ilse.goes_to("All rounds").act()
    ilse.write("First day", in_days(0)).write("Weeks", "4")
    ilse.box("Mixing day").select_option(index=1)
    ilse.act()
    ilse.both_widths()
    assert re.search(r"Mix [\d.]+ (kg|g) on .* for 6 plots", ilse.says())
    ilse.press(re.compile("^Freeze at"))
    ilse.press(re.compile("^Make a batch of"))
    assert ilse.says() == "0 of 4 weighings done, 0 of 1 pail released."
    ilse.goes_to("Round 1")
    assert ilse.says().startswith("Batch 1 is")
    ilse.both_widths()


# The day --------------------------------------------------------------------------------------------------------------


def test_a_steward_ticks_the_safety_list(day: Day) -> None:
    tam = day.tam
    tam.go("/").goes_to("Mixing day").act()
    for box in tam.page.get_by_role("checkbox").all():
        box.check()
    tam.act()
    assert "safety first" not in tam.text()


def test_every_component_is_weighed_and_a_wrong_reading_is_questioned(day: Day) -> None:
    tam = day.tam
    tam.goes_to("Mixing day").press(re.compile("^Weigh for pail 1"))
    wrong_once = False
    while tam.page.get_by_label(re.compile("^Reading")).count():
        said = tam.says()
        target, name = grams(said), re.search(r" of (.+) for pail", said)[1]  # type: ignore[index]
        tam.page.get_by_role("radio", name=re.compile(re.escape(name))).check()
        tam.write(re.compile("empty vessel"), "0")
        if not wrong_once:
            wrong_once = True
            tam.write(re.compile("^Reading"), str(target * 10)).act()
            assert tam.says().startswith("Stop: this is not") and "Nothing is recorded" in tam.text()
            tam.act()  # put it back, weigh again
            tam.page.get_by_role("radio", name=re.compile(re.escape(name))).check()
        tam.write(re.compile("^Reading"), str(target))
        if name.startswith("Trace"):
            tam.box(re.compile("^Witness")).select_option(label="Hal Quist")
        expect(tam.page.locator(".act")).to_contain_text(re.compile(r"Record .*lot"))
        tam.act()
    assert "complete" in tam.text()


def test_the_pail_is_released_and_ten_scoops_are_weighed(day: Day) -> None:
    tam = day.tam
    tam.act()
    assert tam.says() == "Pail 1 is released: it may be handed out."
    tam.goes_to("Mixing day").follow(re.compile("ten scoops", re.I))
    tam.write("Ten struck scoops together", "140.5").act()
    assert "140.5" in tam.text()


def find(visitor: Visitor, text: str, name: str) -> None:
    """At the desk: type a part of the name, tap the line that comes."""
    visitor.goes_to("Desk", look=False)
    visitor.write("Name or plot", text)
    visitor.page.get_by_role("link", name=re.compile(name)).click()
    visitor._settle()
    visitor.look()


def test_with_the_tub_is_asked_and_the_net_recorded(day: Day) -> None:
    tam = day.tam
    find(tam, "ana sa", "Ana Sá")  # without the accent
    due = grams(tam.says())
    tam.write(re.compile("^Reading"), str(due + 58)).act()
    assert "With the tub?" in tam.says() and "Nothing is recorded yet" in tam.text()
    tam.act()
    assert f"{due:f}" in tam.page.locator(".stamp").inner_text()


def test_a_second_phone_hands_out_and_corrects_itself(day: Day) -> None:
    hal = day.hal
    hal.go("/")
    find(hal, "2", "Ben Oduya")
    due = grams(hal.says())
    hal.write(re.compile("^Reading"), str(due)).act()
    hal.follow(re.compile("^Wrong"))
    hal.write(re.compile("really showed"), str(due - 5)).write(
        "What was wrong", "the lid lay on the scale"
    ).act()
    assert f"{due - 5:f}" in hal.page.locator(".stamp").inner_text()
    struck = hal.page.locator(".struck").first
    assert f"{due:f}" in struck.inner_text() and "the lid lay on the scale" in hal.text()


def test_what_was_handed_over_already_is_told(day: Day) -> None:
    hal = day.hal
    find(hal, "cleo", "Cleo Marsh")
    hal.follow("Already handed over")
    hal.write(re.compile("^What was handed over"), str(grams(hal.page.locator("#due").inner_text()))).act()
    assert "Told: handed over" in hal.text()


def test_two_phones_serve_side_by_side(day: Day) -> None:
    tam, hal = day.tam, day.hal
    find(tam, "dov", "Dov Lindqvist")
    find(hal, "eve", "Eve Parkhurst")
    tam.write("Still at home?", "10")
    expect(tam.page.locator("#say")).to_contain_text("Hand out")
    for phone in (tam, hal):
        phone.write(re.compile("^Reading"), str(grams(phone.says()))).act()
        assert phone.page.locator(".stamp").is_visible()
    assert "2 still to come" in hal.text()  # five grams, and who has not come


def test_a_holder_sees_their_plot_logs_a_feed_and_undoes_it(day: Day) -> None:
    ana = day.ana
    ana.go("/").look()
    assert re.match(r"This week: [\d.]+ g on", ana.says()), ana.says()
    assert "level scoop" in ana.text() and "Wash your hands" in ana.text()
    ana.page.locator("details.why summary").first.click()
    ana.look()
    ana.press(re.compile("^I have fed"))
    assert "All is said for this week." in ana.text()
    ana.press("Undo")
    assert "undone by Ana Sá" in ana.text() and ana.page.locator("tr.struck").count()
    ana.press(re.compile("^I have fed"), look=False)


def test_the_organiser_counts_and_closes_the_day(day: Day) -> None:
    ilse = day.ilse
    ilse.goes_to("Mixing day").follow(re.compile("Count and close"))
    ilse.act()
    ilse.write("What stands there", ilse.page.locator("dl.docket dd").last.inner_text()).act()
    assert "within weighing" in ilse.text().lower()
    ilse.both_widths()
    ilse.act()
    assert "closed" in ilse.text().lower()


def test_the_totals_agree_and_each_figure_opens_down_to_a_ticket(day: Day) -> None:
    ilse = day.ilse
    ilse.goes_to("Totals")
    assert re.search(r"Disagreement 0\s*mg", ilse.text())
    ilse.both_widths()
    row = ilse.page.get_by_role("row", name=re.compile("^With holders"))
    row.get_by_role("link").first.click()
    ilse._settle()
    ilse.look()
    ilse.page.locator("tbody th a").first.click()
    ilse._settle()
    ilse.look()
    assert re.search(r"Balance 0\s*g", ilse.text())
    with ilse.page.expect_download() as taken:
        ilse.goes_to("Totals", look=False)
        ilse.press("Take as a sheet", look=False)
    assert taken.value.suggested_filename.endswith(".csv")


def test_the_next_sign_in_finds_it_all(day: Day) -> None:
    again = day.comes("again", PHONE)
    sign_in(again, ORGANISER, PASSWORD).look()
    assert "Ostermere Shared Gardens" in again.page.title()
