"""With the keyboard alone; in the dark; in the colours of the reader; and the way back to a lost password."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from schedules.demo import PASSWORD, SIGN_INS
from tests.browser.visitor import PHONE, WIDE, Visitor
from tests.browser.walk import walk

ORGANISER, STEWARD, _, _, HOLDER = (email for _, email, _, _ in SIGN_INS)
#: The screens that people stand before with the sun, the dark or their own colours.
SCREENS = {"programme", "round", "day", "weigh", "desk", "desk_plot", "plot", "totals", "slips", "lot_add"}
FOCUSED = """() => {
  const e = document.activeElement, words = e.labels && e.labels[0] ? e.labels[0].innerText : e.innerText || e.name || '';
  const framed = [e, e.closest('.in') || e].map(each => getComputedStyle(each));
  return [words.trim(), framed.some(style => style.outlineStyle !== 'none' || style.boxShadow !== 'none')];
}"""


def tab_to(visitor: Visitor, words: str, most: int = 80) -> None:
    """Press Tab until what has these words has the focus, and the focus can be seen at every stop."""
    for _ in range(most):
        visitor.page.keyboard.press("Tab")
        found, seen = visitor.page.evaluate(FOCUSED)
        assert seen, f"nobody sees the focus on {found!r}"
        if words in found:
            return
    raise AssertionError(f"Tab never came to {words!r}")


@pytest.mark.parametrize("width", [PHONE, WIDE])
def test_from_the_sign_in_to_a_hand_over_with_the_keyboard_alone(
    demo: str, somebody: Callable[..., Visitor], width: int
) -> None:
    visitor = somebody(demo, width)
    visitor.go("/")
    keys = visitor.page.keyboard
    keys.type(STEWARD)  # the field has the focus
    tab_to(visitor, "Password")
    keys.type(PASSWORD)
    keys.press("Enter")
    visitor.page.wait_for_url("**/p/**")
    tab_to(visitor, "Go to")
    keys.press("Enter")
    tab_to(visitor, "Desk")
    keys.press("Enter")
    visitor.page.wait_for_url("**/desk/")
    keys.type("margit ho")  # two of one name: the plot tells them apart
    expect(visitor.page.locator("#found li")).to_have_count(2)
    tab_to(visitor, "Chapel Steps" if width == PHONE else "Lock Lane")
    keys.press("Enter")
    visitor.page.wait_for_url("**/portions/**")
    due = re.search(r"Hand out (\d+)", visitor.says())
    assert due
    keys.type(due[1])
    keys.press("Enter")
    visitor.page.wait_for_url("**/collections/**")
    assert visitor.page.locator(".stamp .figure").inner_text().startswith(due[1])
    visitor.look()


def test_the_skip_link_leads_past_the_head(demo: str, somebody: Callable[..., Visitor]) -> None:
    visitor = somebody(demo, WIDE, ORGANISER)
    tab_to(visitor, "Skip to the ticket", most=1)
    visitor.page.keyboard.press("Enter")
    assert visitor.page.evaluate("document.activeElement.id") == "main"


@pytest.mark.parametrize(
    ("what", "width"),
    [
        ({"color_scheme": "dark"}, PHONE),
        ({"color_scheme": "dark", "reduced_motion": "no-preference"}, WIDE),
        ({"forced_colors": "active"}, PHONE),
        ({"forced_colors": "active", "color_scheme": "dark"}, WIDE),
    ],
)
def test_it_reads_in_the_dark_and_in_the_colours_of_the_reader(
    demo: str, somebody: Callable[..., Visitor], what: dict[str, Any], width: int
) -> None:
    opened = set()
    for email in (ORGANISER, HOLDER):
        visitor = somebody(demo, width, email, **what)
        visitor.name += "-" + "-".join(str(value) for value in what.values())
        for name in walk(visitor):
            if name in SCREENS - opened:
                visitor.look()
                opened.add(name)
            if opened == SCREENS:
                break
    assert opened == SCREENS


def test_nothing_scrolls_sideways_on_the_smallest_phone_or_at_four_times_the_size(
    demo: str, somebody: Callable[..., Visitor]
) -> None:
    visitor, opened = somebody(demo, 320, ORGANISER), set()
    for name in walk(visitor):
        if name in SCREENS - opened:
            visitor.look(axe=False)
            opened.add(name)
        if opened == SCREENS:
            break
    assert opened == SCREENS


def test_nothing_moves_where_less_motion_is_asked_for(demo: str, somebody: Callable[..., Visitor]) -> None:
    visitor = somebody(demo, PHONE, ORGANISER)  # a visitor asks for less motion unless told otherwise
    moving = """[...document.querySelectorAll('*')].filter(e => { const s = getComputedStyle(e);
        return s.animationName !== 'none' || parseFloat(s.transitionDuration) > 0.01; }).length"""
    assert visitor.page.evaluate(moving) == 0


def test_a_forgotten_password_is_replaced_by_the_link_in_the_mail(
    demo: str, demo_folder: Path, somebody: Callable[..., Visitor]
) -> None:
    visitor = somebody(demo, PHONE)
    visitor.go("/sign-in/").look()
    visitor.follow("Forgot the password")
    visitor.write("E-mail", HOLDER).act()
    mail = max((demo_folder / "mail").iterdir(), key=lambda file: file.stat().st_mtime).read_text()
    link = re.search(r"https?://\S+/password/\S+", mail)
    assert link, mail
    visitor.go(link[0]).look()
    for box in visitor.page.locator("input[type=password]").all():
        box.fill("a-cup-of-perlite")
    visitor.act()
    visitor.act(look=False)
    visitor.write(re.compile("E-mail"), HOLDER).write("Password", "a-cup-of-perlite").act()
    assert "Plot" in visitor.text()
