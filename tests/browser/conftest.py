"""Browsers and the sites they open. Needs Chromium (``CHROMIUM`` names another one than the system's)."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, sync_playwright

from tests.browser.site import copy_site, demo_site, empty_site, served
from tests.browser.visitor import Visitor, open_context, sign_in

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


def chromium() -> str | None:
    """The system's Chromium; None is playwright's own, where it was installed."""
    return os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=chromium(), args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def played(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's folder, built once and served by nobody."""
    return demo_site(tmp_path_factory.mktemp("played"))


@pytest.fixture(scope="module")
def demo_folder(played: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A demo of this module's own: its data folder."""
    return copy_site(played, tmp_path_factory.mktemp("demo") / "data")


@pytest.fixture(scope="module")
def demo(demo_folder: Path) -> Iterator[str]:
    """The address of this module's own demo."""
    with served(demo_folder) as address:
        yield address


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A site where nobody has signed up yet."""
    with served(empty_site(tmp_path_factory.mktemp("bare") / "data")) as address:
        yield address


@pytest.fixture
def somebody(browser: Browser) -> Iterator[Callable[..., Visitor]]:
    """``somebody(site, width)`` opens a browser of their own; with ``email`` they sign in."""
    from schedules.demo import PASSWORD

    contexts: list[BrowserContext] = []

    def open_for(site: str, width: int, email: str = "", password: str = PASSWORD, **more: Any) -> Visitor:
        context = open_context(browser, width, **more)
        contexts.append(context)
        visitor = Visitor(context.new_page(), site, email.partition("@")[0] or "somebody")
        return sign_in(visitor, email, password) if email else visitor

    yield open_for
    for context in contexts:
        context.close()
