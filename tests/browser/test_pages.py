"""Every page of the demo, opened by who uses it, on a phone and on a laptop."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from schedules.demo import SIGN_INS
from tests.browser.visitor import PHONE, WIDE, Visitor
from tests.browser.walk import NO_PAGES, name_of, page_names, walk

#: Addresses that only take an act, and pages that the demo has no way into: another test opens them.
ACTS = {
    "logout", "person_erase", "feed_log", "feed_undo", "round_close", "pail_decide", "look", "member_leave",
}  # fmt: skip
ELSEWHERE = {
    "invitation": "test_day", "start": "test_day", "home": "leads on to the programme",
    "password_reset_confirm": "test_password", "password_reset_done": "test_password",
    "password_reset_complete": "test_password",
}  # fmt: skip
OPENED: dict[str, set[str]] = {}
ORGANISER, STEWARD, SECOND, AUDITOR, HOLDER = (email for _, email, _, _ in SIGN_INS)


@pytest.mark.parametrize("email", [ORGANISER, STEWARD, AUDITOR, HOLDER])
def test_every_page_is_in_order_on_a_phone_and_on_a_laptop(
    demo: str, somebody: Callable[..., Visitor], email: str
) -> None:
    phone, wide = somebody(demo, PHONE, email), somebody(demo, WIDE, email)
    opened, flaws = OPENED.setdefault(email, set()), []
    known = set().union(*(names for who, names in OPENED.items() if who != email))
    for name in walk(phone, each=2 if email == ORGANISER else 1):
        opened.add(name)
        flaws += flaws_of(phone)
        if name not in known:  # what others were shown was looked at on the laptop
            wide.go(phone.page.url)
            flaws += flaws_of(wide)
    assert not flaws, "\n".join(flaws)


def flaws_of(visitor: Visitor) -> list[str]:
    """What breaks the rules on the page that is open, so that one run tells all."""
    try:
        visitor.look()
    except AssertionError as flaw:
        visitor.problems.clear()
        return [str(flaw)]
    return []
