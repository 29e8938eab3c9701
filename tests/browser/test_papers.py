"""What is printed: sizes of the pages, and no slip or label whose words do not fit on it."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from schedules.demo import SIGN_INS
from tests.browser.visitor import WIDE, Visitor

ORGANISER = SIGN_INS[0][1]
A4 = (595, 842)  # points
WAYS = {
    "run_sheet": ("Mixing day", "Print the run sheet"),
    "tub_labels": ("Mixing day", "Print the tub labels"),
    "sign_out_list": ("Desk", "Sign-out list on paper"),
    "slips": ("Round 2", "Print a slip per plot"),
}
#: What does not fit: pieces of paper that are cut off, and words beyond the edge of their piece.
SPILT = """pieces => pieces.flatMap(piece => {
  const edge = piece.getBoundingClientRect(), name = piece.innerText.slice(0, 40);
  const much = piece.scrollHeight - piece.clientHeight, over = much > 1 ? [`${name}: ${much} px too high`] : [];
  const beyond = [...piece.querySelectorAll('*')].filter(e => {
    const box = e.getBoundingClientRect();
    return box.width && (box.right > edge.right + 1 || box.bottom > edge.bottom + 1);
  });
  return [...over, ...beyond.slice(0, 2).map(e => `${name}: ${e.tagName} ${e.textContent.slice(0, 30)}`)];
})"""


def paper(demo: str, somebody: Callable[..., Visitor], name: str) -> Visitor:
    """The organiser at a paper of today's round or day, as the printer gets it."""
    visitor = somebody(demo, WIDE, ORGANISER)
    place, words = WAYS[name]
    visitor.goes_to(place, look=False).follow(words, look=False).page.emulate_media(media="print")
    return visitor


def sizes(pdf: bytes) -> set[tuple[int, int]]:
    """The sizes of a PDF's pages, in whole points."""
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)
    return {(int(float(width)), int(float(height))) for width, height in boxes}


@pytest.mark.parametrize("name", WAYS)
def test_papers_are_a4_and_leave_the_screen_behind(
    demo: str, somebody: Callable[..., Visitor], name: str
) -> None:
    visitor = paper(demo, somebody, name)
    pdf = visitor.page.pdf(prefer_css_page_size=True, print_background=True)
    found = sizes(pdf)
    assert found and all(abs(w - A4[0]) <= 1 and abs(h - A4[1]) <= 1 for w, h in found), found
    assert not visitor.page.locator(".act:visible, .btn:visible, .goto:visible").count()


def test_every_slip_fits_on_its_a6_and_says_what_it_must(demo: str, somebody: Callable[..., Visitor]) -> None:
    visitor = paper(demo, somebody, "slips")
    slips = visitor.page.locator(".a6")
    assert slips.count() >= 56  # a slip per plot that is due something; more where beds are many
    assert slips.evaluate_all(SPILT) == []
    boxes = slips.evaluate_all("all => all.map(e => [e.offsetWidth, e.offsetHeight])")
    assert {(round(w / 96 * 25.4), round(h / 96 * 25.4)) for w, h in boxes} == {(105, 148)}
    for words in slips.all_inner_texts():
        said = " ".join(words.split())
        assert re.search(r"Batch, pail 2, ?\d?", said) and re.search(r"In the tub \d", said), said
        assert "Poison line 555 0142" in said and "Emergency 112" in said, said
        assert re.search(r"The scoop holds 14\.1 g", said) and "After " in said and "Left over?" in said, said


def test_every_tub_label_fits(demo: str, somebody: Callable[..., Visitor]) -> None:
    visitor = paper(demo, somebody, "tub_labels")
    labels = visitor.page.locator(".a7")
    assert labels.count() and labels.evaluate_all(SPILT) == []
    said = " ".join(labels.first.inner_text().split()).lower()
    for words in ("not a food container", "13-13-13", "calculated, not guaranteed", "poison line 555 0142"):
        assert words in said


def test_the_run_sheet_has_a_blank_for_every_reading(demo: str, somebody: Callable[..., Visitor]) -> None:
    visitor = paper(demo, somebody, "run_sheet")
    assert visitor.page.locator(".written tbody tr").count() == 2 * 4
    assert visitor.page.locator(".written tbody tr").first.locator("td.hand").count() >= 4
    assert visitor.page.locator(".boxes li").count() >= 9
    assert visitor.page.locator(".sheet").evaluate_all(SPILT) == []


def test_the_sign_out_list_names_everybody_who_is_due(demo: str, somebody: Callable[..., Visitor]) -> None:
    visitor = paper(demo, somebody, "sign_out_list")
    rows = visitor.page.locator(".signout tbody tr")
    assert rows.count() == 56
    assert visitor.page.locator(".sheet").evaluate_all(SPILT) == []
    assert "Lúcia Aguado" in visitor.page.locator(".sheet").inner_text()
