"""The README's pictures, taken from a fresh demo: ``python -m tests.browser.pictures``.

They are PNGs of few colours (one ink, a few papers, one orange), small enough to lie in the repository.
"""

from __future__ import annotations

import base64
import os
import re
import struct
import sys
import tempfile
import zlib
from collections.abc import Callable
from pathlib import Path

import django
import numpy as np
from numpy.typing import NDArray
from playwright.sync_api import Browser, sync_playwright

from tests.browser.conftest import FLAGS, chromium
from tests.browser.site import ROOT, demo_site, served
from tests.browser.visitor import PHONE, WIDE, Visitor, open_context, sign_in

FOLDER = ROOT / "fixtures" / "pictures"
MOST_BYTES = 120_000


def front(visitor: Visitor) -> None:
    visitor.goes_to("How far we are", look=False)


def the_round(visitor: Visitor) -> None:
    visitor.goes_to("Round 2", look=False)
    visitor.page.wait_for_selector("text=Weigh-outs, the same for each pail")


def weigh(visitor: Visitor) -> None:
    """The first reading of the second pail, typed and within."""
    visitor.goes_to("Mixing day", look=False).press(re.compile("^Weigh for pail"), look=False)
    _type(visitor, "C-01", _figure(visitor.says()) + 311)


def weigh_question(visitor: Visitor) -> None:
    """Another component, a digit too many."""
    visitor.goes_to("Mixing day", look=False).follow("Pail 2", look=False)
    visitor.follow(re.compile("^Magnesium"), look=False)
    _type(visitor, "M-01", _figure(visitor.says()) * 10 + 310)
    visitor.act(look=False)


def _type(visitor: Visitor, lot: str, grams: int) -> None:
    visitor.page.get_by_role("radio", name=re.compile(lot)).check()
    visitor.write(re.compile("empty vessel"), "310").write(re.compile("^Reading"), str(grams))
    visitor.page.wait_for_selector(f".act:has-text('lot {lot}')")


def desk(visitor: Visitor) -> None:
    """Somebody's portion, less what is still at home."""
    visitor.goes_to("Desk", look=False).write("Name or plot", "margit")
    visitor.page.get_by_role("link", name=re.compile("Margit Holloway Chapel")).click()
    visitor.page.wait_for_selector("#desk")
    visitor.write("Still at home?", "45")
    visitor.page.wait_for_selector("#say:has-text('549')")
    visitor.write(re.compile("^Reading"), "549")
    visitor.page.wait_for_selector(".act:has-text('549')")


def plot(visitor: Visitor) -> None:
    visitor.go("/")
    if visitor.page.locator("ul.finder").count():
        visitor.page.locator("ul.finder a").first.click()


def totals(visitor: Visitor) -> None:
    visitor.goes_to("Totals", look=False)


def slip(visitor: Visitor) -> None:
    the_round(visitor)
    visitor.follow("Print a slip per plot", look=False)
    visitor.page.emulate_media(media="print")


#: Name, who looks, how wide, how they come there, and what of the page is kept: its first so many pixels, or an element.
SHOTS: tuple[tuple[str, str, int, Callable[[Visitor], None], int | str], ...] = (
    ("front", "organiser", WIDE, front, 0),
    ("round", "organiser", WIDE, the_round, 1700),
    ("weigh", "steward", PHONE, weigh, 1300),
    ("weigh-question", "steward", PHONE, weigh_question, 1000),
    ("desk", "steward", PHONE, desk, 1100),
    ("plot", "holder", PHONE, plot, 1500),
    ("totals", "organiser", WIDE, totals, 1400),
    ("slip", "organiser", WIDE, slip, ".a6"),
)


def _figure(words: str) -> int:
    """The grams in a sentence, whole."""
    found = re.search(r"(\d[\d\s\u202f]*)", words)
    assert found, words
    return int(re.sub(r"\D", "", found[1]))


_PIXELS = """async png => {
  const bitmap = await createImageBitmap(await (await fetch('data:image/png;base64,' + png)).blob());
  const canvas = new OffscreenCanvas(bitmap.width, bitmap.height), pen = canvas.getContext('2d');
  pen.drawImage(bitmap, 0, 0);
  const bytes = pen.getImageData(0, 0, bitmap.width, bitmap.height).data;
  let text = '';
  for (let at = 0; at < bytes.length; at += 32768) text += String.fromCharCode(...bytes.subarray(at, at + 32768));
  return [bitmap.width, bitmap.height, btoa(text)];
}"""


def small(browser: Browser, png: bytes, most: int) -> bytes:
    """The picture in few colours, cut to its first ``most`` pixels (0: whole)."""
    blank = browser.new_page()
    width, height, data = blank.evaluate(_PIXELS, base64.b64encode(png).decode())
    blank.close()
    pixels = np.frombuffer(base64.b64decode(data), np.uint8).reshape(height, width, 4)[:, :, :3]
    return palette_png(pixels[: most or height])


def palette_png(pixels: NDArray[np.uint8], colours: int = 40) -> bytes:
    """A PNG with a palette of the most used colours; every other pixel takes the nearest of them."""
    wide = pixels.astype(np.int64)
    fine = (wide[:, :, 0] >> 3 << 10 | wide[:, :, 1] >> 3 << 5 | wide[:, :, 2] >> 3).ravel()
    _, where, counts = np.unique(fine, return_inverse=True, return_counts=True)
    flat = wide.reshape(-1, 3)
    means = np.stack([np.bincount(where, flat[:, c]) / counts for c in range(3)], axis=1)
    kept = means[np.argsort(-counts)[:colours]]
    nearest = ((means[:, None, :] - kept[None, :, :]) ** 2).sum(axis=2).argmin(axis=1).astype(np.uint8)
    lines = nearest[where].reshape(pixels.shape[:2])
    rows = np.hstack([np.zeros((len(lines), 1), np.uint8), lines]).tobytes()
    head = struct.pack(">IIBBBBB", pixels.shape[1], pixels.shape[0], 8, 3, 0, 0, 0)
    parts = [
        (b"IHDR", head),
        (b"PLTE", kept.round().astype(np.uint8).tobytes()),
        (b"IDAT", zlib.compress(rows, 9)),
    ]
    chunks = [
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        for name, body in [*parts, (b"IEND", b"")]
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


def take(browser: Browser, address: str, folder: Path) -> list[str]:
    """All of them; the names and sizes of what was written."""
    from schedules.demo import PASSWORD, SIGN_INS

    emails = {role: email for role, email, _, _ in reversed(SIGN_INS)}
    told = []
    for name, role, width, come, kept in SHOTS:
        context = open_context(browser, width)
        visitor = sign_in(Visitor(context.new_page(), address, name), emails[role], PASSWORD)
        come(visitor)
        visitor.page.wait_for_load_state("networkidle")
        visitor.page.evaluate("document.activeElement && document.activeElement.blur()")
        if isinstance(kept, str):
            png = small(browser, visitor.page.locator(kept).first.screenshot(), 0)
        else:
            height = visitor.page.evaluate("document.documentElement.scrollHeight")
            visitor.page.set_viewport_size({"width": width, "height": height})  # nothing sticks in mid-page
            png = small(browser, visitor.page.screenshot(), kept)
        assert len(png) < MOST_BYTES, f"{name}: {len(png)} bytes"
        (folder / f"{name}.png").write_bytes(png)
        told.append(f"{name}.png {len(png) // 1000} kB")
        context.close()
    return told


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "gardens.settings")
    django.setup()  # the demo names its people
    FOLDER.mkdir(parents=True, exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as data,
        served(demo_site(Path(data))) as address,
        sync_playwright() as play,
    ):
        browser = play.chromium.launch(executable_path=chromium(), args=FLAGS)
        sys.stdout.write("\n".join(take(browser, address, FOLDER)) + "\n")
        browser.close()


if __name__ == "__main__":
    main()
