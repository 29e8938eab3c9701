"""Every page of the demo, opened by who uses it, on a phone and on a laptop."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from schedules.demo import SIGN_INS
from tests.browser.visitor import PHONE, WIDE, Visitor
from tests.browser.walk import NO_PAGES, name_of, page_names, walk

#: Addresses that take an act and show nothing.
ACTS = {
    "freeze",
    "logout", "person_erase", "feed_log", "feed_undo", "round_close", "pail_decide", "look", "member_leave",
}  # fmt: skip
#: Pages that nobody comes to by a link of the demo: another test opens them.
ELSEWHERE = {
    "login": "test_alone",
    "start": "test_day",
    "invitation": "test_day",
    "home": "leads on to the one programme",
    "password_reset": "test_alone",
    "password_reset_done": "test_alone",
    "password_reset_confirm": "test_alone",
    "password_reset_complete": "test_alone",
}
#: Pages with more than one face: an open and a closed day, a pail weighed and one to weigh, a bed at rest.
FACES = frozenset(
    {"day", "round", "round_batch", "pail", "weigh", "desk", "desk_plot", "plot", "close_day", "place"}
)
OPENED: dict[str, set[str]] = {}
ORGANISER, STEWARD, SECOND, AUDITOR, HOLDER = (email for _, email, _, _ in SIGN_INS)


@pytest.mark.parametrize("email", [ORGANISER, STEWARD, AUDITOR, HOLDER])
def test_every_page_is_in_order_on_a_phone_and_on_a_laptop(
    demo: str, somebody: Callable[..., Visitor], email: str
) -> None:
    phone, wide = somebody(demo, PHONE, email), somebody(demo, WIDE, email)
    opened, flaws = OPENED.setdefault(email, set()), []
    known = set().union(*(names for who, names in OPENED.items() if who != email))
    for name in walk(phone, twice=FACES if email == ORGANISER else frozenset()):
        flaws += flaws_of(phone, axe=name not in known or email != AUDITOR)  # who sees what others act on
        if name not in known | opened:  # what others were shown was looked at on the laptop
            wide.go(phone.page.url)
            flaws += flaws_of(wide)
        opened.add(name)
    assert not flaws, "\n".join(flaws)


def test_pages_that_stand_open_later_are_in_order(demo: str, somebody: Callable[..., Visitor]) -> None:
    """The next round while it is open, another revision, the taking back of a ticket."""
    visitor = somebody(demo, WIDE, ORGANISER)
    opened = OPENED.setdefault("later", set())

    def look(name: str) -> None:
        assert name_of(visitor.page.url.removeprefix(demo)) == name
        opened.add(name)
        visitor.look()
        visitor.both_widths()

    visitor.goes_to("All rounds", look=False).act(look=False).act(look=False)
    visitor.press("Change the round", look=False)
    look("round_change")
    visitor.follow(re.compile("^Back to round"), look=False)
    visitor.page.wait_for_selector(
        "text=Weigh-outs, the same for each pail"
    )  # drawn into the page by a script
    visitor.press("Another blend", look=False)
    look("round_blend")
    visitor.goes_to("Round 2", look=False).go(visitor.page.url + "batch/")  # where there is no script, a link
    look("round_batch")
    visitor.goes_to("Blends", look=False).follow("All-round blend", look=False)
    visitor.press("Change the recipe", look=False)
    visitor.page.get_by_label("How much", exact=True).nth(3).fill("380 g")
    visitor.press("Keep these lines", look=False).press("Freeze revision 2", look=False)
    look("revision")
    visitor.goes_to("Gardens and plots", look=False).follow("Kiln Field", look=False)
    visitor.follow("Lift a cap for this garden", look=False)
    look("garden_lift")
    visitor.goes_to("Totals", look=False)
    visitor.page.get_by_role("row", name=re.compile("^Lost")).get_by_role("link").click()
    visitor.page.locator("tbody th a").first.click()
    visitor.press(re.compile("^Wrong\\? Take ticket"), look=False)
    look("ticket_reverse")


def test_no_page_is_left_out() -> None:
    assert len(OPENED) == 5, "this one counts what the tests before it have opened: run them together"
    opened = set().union(*OPENED.values())
    assert page_names() - opened == ACTS | NO_PAGES | set(ELSEWHERE) - opened


def flaws_of(visitor: Visitor, *, axe: bool = True) -> list[str]:
    """What breaks the rules on the page that is open, so that one run tells all."""
    try:
        visitor.look(axe=axe)
    except AssertionError as flaw:
        visitor.problems.clear()
        return [str(flaw)]
    return []
