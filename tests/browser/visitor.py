"""Somebody at a browser: clicks, types, looks; every page they are shown is held to the house's rules.

``visitor.look()`` after anything that changes the page: no script error, nothing the content policy refused, no
unexpected answer, nothing sideways on a phone, one strong act, no axe violation. Set ``LOOK=folder`` to keep pictures.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Locator, Page, Response

PHONE, WIDE = 390, 1280
#: The rules of axe we hold every page to; the strictest contrast (7:1) is one of them.
AXE = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "rules": {"color-contrast-enhanced": {"enabled": True}, "color-contrast": {"enabled": False}},
    "resultTypes": ["violations"],
}
_REFUSED = """document.addEventListener('securitypolicyviolation',
  e => console.error('content policy: ' + e.violatedDirective + ' ' + e.blockedURI))"""
_SIDEWAYS = """() => {
  const page = document.documentElement, wide = page.clientWidth;
  if (page.scrollWidth <= wide) return [];
  const beyond = [...document.querySelectorAll('body *')]
    .filter(e => e.getBoundingClientRect().right > wide + 1 && !e.closest('.vh, details:not([open])'));
  return [page.scrollWidth + ' px', ...beyond.slice(0, 5).map(e => e.tagName + '.' + e.className)];
}"""
_SMALL = """() => [...document.querySelectorAll('.act, .btn, .links > a, label.tick, .in, .finder a, details.goto summary')]
    .filter(e => { const b = e.getBoundingClientRect(); return b.height && b.height < 44; })
    .slice(0, 5).map(e => e.tagName + '.' + e.className + ' ' + e.textContent.trim().slice(0, 30))"""


@dataclass
class Visitor:
    page: Page
    site: str
    name: str = "somebody"
    problems: list[str] = field(default_factory=list)
    seen: list[str] = field(default_factory=list)  # paths looked at
    excused: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        self.page.set_default_timeout(15_000)
        self.page.add_init_script(_REFUSED)
        self.page.on("console", self._console)
        self.page.on("pageerror", lambda error: self.problems.append(f"script: {error}"))
        self.page.on("requestfailed", lambda request: self._failed(request.url, request.failure))
        self.page.on("response", self._answered)

    # What the page says about itself ---------------------------------------------------------------------------------

    def _console(self, message: ConsoleMessage) -> None:
        told = "Failed to load resource" in message.text  # by the answer
        left = message.text.startswith(
            ("htmx:sendAbort", "htmx:afterRequest")
        )  # the page, before the echo came
        if message.type == "error" and not told and not left:
            self.problems.append(f"console: {message.text}")

    def _failed(self, url: str, why: str | None) -> None:
        if why != "net::ERR_ABORTED":  # left before it came
            self.problems.append(f"{url}: {why}")

    def _answered(self, response: Response) -> None:
        if response.status >= 400 and response.status not in self.excused:
            self.problems.append(f"{response.status} {response.request.method} {response.url}")

    @contextmanager
    def expecting(self, *statuses: int) -> Iterator[None]:
        """Answers that are right here: a refusal shown in the form."""
        self.excused = statuses
        try:
            yield
        finally:
            self.excused = ()

    def look(self, *, axe: bool = True, acts: bool = True) -> None:
        """Hold the page as it is now to the rules."""
        where = (
            f"{self.name} at {self.page.url.removeprefix(self.site)} ({self.page.viewport_size['width']} px)"  # type: ignore[index]
        )
        self.seen.append(self.page.url.removeprefix(self.site))
        self._keep_picture()
        sideways = self.page.evaluate(_SIDEWAYS)
        assert not sideways, f"{where} scrolls sideways: {sideways}"
        if acts:
            strong = self.page.locator(".act:visible").count()
            assert strong <= 1, f"{where} has {strong} strong buttons"
        small = self.page.evaluate(_SMALL)
        assert not small, f"{where}: too small for a thumb: {small}"
        if axe:
            found = Axe().run(self.page, options=AXE).response["violations"]
            assert not found, f"{where}:\n" + "\n".join(_told(each) for each in found)
        assert not self.problems, f"{where}: {self.problems}"

    def _keep_picture(self) -> None:
        if folder := os.environ.get("LOOK"):
            size = self.page.viewport_size or {"width": 0}
            path = (
                re.sub(r"[^a-z0-9]+", "-", self.page.url.removeprefix(self.site).lower()).strip("-")
                or "front"
            )
            name = f"{size['width']}-{self.name}-{len(self.seen):03d}-{path[:60]}.png"
            Path(folder).mkdir(parents=True, exist_ok=True)
            self.page.screenshot(path=Path(folder) / name, full_page=True)

    # What people do --------------------------------------------------------------------------------------------------

    def go(self, path: str) -> Visitor:
        """Open an address of the site, as a link from elsewhere would."""
        answer = self.page.goto(self.site + path if path.startswith("/") else path)
        assert answer is not None
        return self

    def follow(self, words: str | re.Pattern[str], *, exact: bool = False, look: bool = True) -> Visitor:
        """Click the link with these words."""
        self.page.get_by_role("link", name=words, exact=exact).first.click()
        self._settle()
        if look:
            self.look()
        return self

    def press(self, words: str | re.Pattern[str], *, look: bool = True) -> Visitor:
        """Press the button (or the tag that is a link) with these words."""
        named = self.page.get_by_role("button", name=words).or_(self.page.get_by_role("link", name=words))
        named.first.click()
        self._settle()
        if look:
            self.look()
        return self

    def act(self, *, look: bool = True) -> Visitor:
        """Press the one strong act, whatever it says."""
        self.page.locator(".act:visible").click()
        self._settle()
        if look:
            self.look()
        return self

    def goes_to(self, words: str, *, look: bool = True) -> Visitor:
        """By the contents page that every head strip opens."""
        self.page.locator("details.goto summary").click()
        self.page.locator("nav.contents").get_by_role("link", name=words, exact=True).click()
        self._settle()
        if look:
            self.look()
        return self

    def both_widths(self) -> None:
        """The page as it stands, once more at the other width: nothing sideways, everything within a thumb's reach."""
        size = self.page.viewport_size
        assert size is not None
        self.page.set_viewport_size(
            {"width": WIDE if size["width"] == PHONE else PHONE, "height": size["height"]}
        )
        self.look(axe=False)
        self.page.set_viewport_size(size)

    def write(self, label: str | re.Pattern[str], text: str) -> Visitor:
        """Type into the box with this label."""
        box = self.box(label)
        if box.evaluate("e => e.tagName") == "SELECT":
            box.select_option(label=text)
        else:
            box.fill(text)
        return self

    def box(self, label: str | re.Pattern[str]) -> Locator:
        return self.page.get_by_label(label).and_(self.page.locator("input, select, textarea")).first

    def tick(self, label: str | re.Pattern[str]) -> Visitor:
        self.page.get_by_label(label).first.check()
        return self

    def says(self) -> str:
        """The sentence of the page."""
        return " ".join(self.page.locator("h1.say").first.inner_text().split())

    def text(self) -> str:
        return " ".join(self.page.locator("main").inner_text().split())

    def _settle(self) -> None:
        self.page.wait_for_load_state("load")
        assert not self.problems, f"{self.name} at {self.page.url}: {self.problems}"


def _told(violation: dict[str, Any]) -> str:
    nodes = "\n".join(
        f"    {node['html'][:200]}  {node.get('failureSummary', '')[:300]}" for node in violation["nodes"][:4]
    )
    return f"  {violation['id']}: {violation['help']}\n{nodes}"


def open_context(browser: Browser, width: int, **more: Any) -> BrowserContext:
    """A phone in a hand (touch) or a laptop."""
    if width == PHONE:
        more = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True, **more}
    else:
        more = {"viewport": {"width": width, "height": 900}, **more}
    return browser.new_context(
        **{"locale": "en-GB", "timezone_id": "Europe/Lisbon", "reduced_motion": "reduce", **more}
    )


def sign_in(visitor: Visitor, email: str, password: str) -> Visitor:
    visitor.go("/sign-in/")
    visitor.write(re.compile("E-mail"), email).write("Password", password).act(look=False)
    return visitor
