"""Figures, words and pieces of the look, and what no template may contain."""

from __future__ import annotations

import datetime as dt
import re
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from django import forms
from django.template import Context, Template, TemplateSyntaxError
from django.test import override_settings
from hypothesis import given
from hypothesis import strategies as st

from gardens import drawings, figures
from gardens.templatetags import paper

ROOT = Path(__file__).resolve().parents[2]
TEMPLATES = sorted([*ROOT.glob("templates/**/*.html"), *ROOT.glob("*/templates/**/*.html")])
NBSP, THIN, MINUS = "\u00a0", "\u202f", "\u2212"


def plain(text: object) -> str:
    return str(text).replace(NBSP, " ").replace(THIN, " ").replace(MINUS, "-")


def render(source: str, **context: Any) -> str:
    return Template(source).render(Context(context))


# ---------- figures ----------


@pytest.mark.parametrize(
    ("mg", "units", "said"),
    [
        (0, "", "0 g"),
        (350, "", "350 mg"),
        (4_600, "", "4.6 g"),
        (18_123, "", "18 g"),
        (18_500, "", "18.5 g"),  # read to the tenth, kept
        (38_900, "", "38.9 g"),
        (155_000, "", "155 g"),
        (999_400, "", "999.4 g"),
        (999_499, "", "999 g"),
        (999_501, "", "1.000 kg"),  # never "1 000 g" beside "1.000 kg"
        (1_845_000, "metric", "1.845 kg"),
        (1_234_567_890, "", "1 234.568 kg"),
        (-45_000, "", "- 45 g"),
        (155_000, "us", "5.5 oz"),
        (453_592, "us", "1.00 lb"),
        (1_845_000, "us", "4.07 lb"),
    ],
)
def test_a_mass_shows_no_more_digits_than_a_scale(mg: int, units: str, said: str) -> None:
    assert plain(paper.mass(mg, units)) == said


@pytest.mark.parametrize(
    ("mg", "division_mg", "said"),
    [(39_000, 100, "39.0"), (39_000, 1_000, "39"), (38_940, 20, "38.94"), (2_600_000, 1_000, "2 600")],
)
def test_grams_have_the_digits_of_the_division(mg: int, division_mg: int, said: str) -> None:
    assert plain(paper.grams(mg, division_mg)) == said


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (paper.area(2_972_897), "2.97 m²"),
        (paper.area(2_972_897, "us"), "32 ft²"),
        (paper.area(297_289_728), "297 m²"),
        (paper.measure(1_219), "1.22 m"),
        (paper.measure(1_219, "us"), "4 ft"),
        (paper.measure(300, "us"), "11.8 in"),
        (paper.percent(Decimal("0.13333"), 2), "13.33 %"),
        (paper.percent(Fraction(1, 3)), "33.3 %"),
        (paper.money(2_900, "EUR"), "€ 29.00"),
        (paper.money(123_456, "XYZ"), "XYZ 1 234.56"),
        (paper.money(500, "JPY"), "¥ 500"),
        (paper.money(-50, "USD"), "- $ 0.50"),
        (paper.signed(63_000), "+ 63 g"),
        (paper.signed(-45_000), "- 45 g"),
        (paper.signed(0), "0 g"),
        (paper.number(2_548), "2 548"),
        (paper.kg(1_845_000), "1.845"),
    ],
)
def test_other_figures(said: str, expected: str) -> None:
    assert plain(said) == expected


def test_a_figure_and_its_unit_never_part() -> None:
    assert paper.mass(155_000) == f"155{NBSP}g"
    assert paper.figure(155_000) == f'155<span class="u">{NBSP}g</span>'


def test_nothing_known_prints_nothing() -> None:
    said = [paper.mass(None), paper.kg(None), paper.area(None), paper.day(None), paper.money(None, "EUR")]
    assert said == [""] * 5


@given(st.integers(-(10**13), 10**13), st.sampled_from(["", "us"]))
def test_what_is_printed_is_within_half_of_its_last_digit(mg: int, units: str) -> None:
    said = figures.mass(mg, units)
    digits = said.value.replace(THIN, "").replace(MINUS, "-")
    size = {"mg": 1, "g": 1_000, "kg": 1_000_000, "oz": figures.OZ_MG, "lb": figures.LB_MG}[said.unit]
    places = len(digits.partition(".")[2]) or (1 if said.unit == "oz" else 0)
    assert abs(Fraction(digits) * size - mg) <= Fraction(size) / 2 / 10**places


# ---------- days ----------

JULY = dt.date(2026, 7, 4)


@pytest.mark.parametrize(
    ("form", "said"),
    [("", "Sat 4 July"), ("full", "Saturday 4 July"), ("year", "4 July 2026"), ("short", "4 July")],
)
def test_a_day(form: str, said: str) -> None:
    assert plain(paper.day(JULY, form)) == said


@pytest.mark.parametrize(
    ("last", "said"),
    [
        (dt.date(2026, 8, 2), "4 July to 2 August"),
        (dt.date(2026, 7, 31), "4 to 31 July"),
        (JULY, "4 July"),
        (dt.date(2027, 1, 3), "4 July 2026 to 3 January 2027"),
    ],
)
def test_a_span_of_days(last: dt.date, said: str) -> None:
    assert plain(paper.span(JULY, last)) == said


def test_an_instant_is_told_in_the_active_zone() -> None:
    from django.utils import timezone

    with timezone.override("Europe/Paris"):
        assert plain(paper.at(dt.datetime(2026, 7, 4, 8, 42, tzinfo=dt.UTC))) == "4 July, 10:42"


# ---------- pieces ----------


def test_a_state_has_a_shape_and_a_word() -> None:
    assert render('{% state "held" "Held" %}') == '<span class="tag held">Held</span>'
    with pytest.raises(TemplateSyntaxError):
        render('{% state "red" "Held" %}')


def test_words_are_escaped() -> None:
    html = render(
        "{% sum_column rows %}{% act words %}",
        rows=[{"label": "<b>", "figure": "<i>", "unit": "<u>"}],
        words="<script>",
    )
    assert not re.search(r"<(b|i|u|script)>", html)


def test_a_column_of_figures_has_one_unit() -> None:
    rows = [{"label": "Need", "mg": 5_777_000}, {"label": "Tubs", "mg": 63_000, "sign": "+"}]
    html = plain(render("{% sum_column rows %}", rows=rows))
    assert "5.777" in html
    assert "+ 0.063" in html
    assert html.count("kg</span>") == 2


def test_the_act_that_misses_something_is_off_and_says_what() -> None:
    html = render('{% act "Record" form="weigh" missing="lot not yet confirmed" %}')
    assert "disabled" in html
    assert "Record: lot not yet confirmed" in html
    assert "disabled" not in render('{% act "Record" form="weigh" %}')


def test_an_act_of_its_own_posts_its_hidden_fields() -> None:
    html = render('{% post_act "/freeze/" "Freeze" key="k-1" %}', csrf_token="tok")
    assert 'action="/freeze/"' in html
    assert 'name="key" value="k-1"' in html
    assert 'name="csrfmiddlewaretoken" value="tok"' in html


def test_a_working_reads_the_same_from_objects_and_from_what_was_stored() -> None:
    from schedules.working import Figure, Step, Working

    area = Figure("area", "2.97", "m2")
    step = Step(8, "feed", "Per feed", "rest x area", (area,), Figure("dose", "18", "g"), "house", "DERIVED")
    working = Working("18 g = heavy feeder, 2.97 m2", (step,))
    html = render("{% working w %}", w=working)
    assert html == render("{% working w %}", w=working.as_json())
    assert "<b>Why 18 g</b>: heavy feeder, 2.97 m²" in html
    assert "<i>8</i>" in html
    assert "house (DERIVED)" in html


# ---------- forms ----------


class BedForm(forms.Form):
    size = forms.CharField(
        label="Size of the bed",
        help_text="As you would say it",
        widget=forms.TextInput(attrs={"unit": "m", "echo": "measure", "reading": True}),
    )
    drains = forms.ChoiceField(label="Does it drain?", widget=forms.RadioSelect, choices=[("y", "Yes")])

    def clean_size(self) -> str:
        raise forms.ValidationError("Say the second length too.")


def test_a_field_is_label_hint_error_then_box_with_its_unit() -> None:
    html = str(BedForm({"size": "4 by", "drains": "y"})["size"].as_field_group())
    order = [html.index(part) for part in ("<label", "helptext", "Say the second", "<input", 'class="unit"')]
    assert order == sorted(order)
    assert 'aria-describedby="id_size_helptext id_size_error id_size_echo"' in html
    assert 'aria-invalid="true"' in html
    assert 'value="4 by"' in html


def test_drawing_instructions_are_not_printed_as_attributes() -> None:
    html = str(BedForm()["size"].as_field_group())
    assert not re.search(r"<input[^>]* (unit|echo|reading)[= ]", html)
    assert 'inputmode="decimal"' in html
    assert "kind=measure&amp;field=size" in html


def test_the_summary_links_to_the_fields_and_stands_once() -> None:
    form = BedForm({"size": "4 by"})
    html = render("{% errors form %}{{ form }}", form=form)
    assert '<a href="#id_size">Size of the bed: Say the second length too.</a>' in html
    assert '<a href="#id_drains">Does it drain? ' in html
    assert "Two answers need another look" in html
    assert html.count('class="errors"') == 1


def test_a_form_without_a_summary_of_its_own_draws_it() -> None:
    assert 'class="errors"' in render("{{ form }}", form=BedForm({"size": "4 by"}))
    assert 'class="errors"' not in render("{{ form }}", form=BedForm())


def test_radio_buttons_stand_in_a_fieldset_that_says_what_is_wrong() -> None:
    html = str(BedForm({"size": "4 by"})["drains"].as_field_group())
    assert "<legend>Does it drain?</legend>" in html
    assert 'aria-describedby="id_drains_error"' in html
    assert 'id="id_drains_error"' in html


# ---------- drawings ----------

WEEKS: list[drawings.Week] = [
    {"start": dt.date(2026, 5, 11) + dt.timedelta(7 * i), "grams": 18 * (i > 1), "state": "plan"}
    for i in range(20)
]
BAND: dict[str, Any] = {
    "target": 39,
    "low": Decimal("37.8"),
    "high": Decimal("40.2"),
    "digits": 1,
    "unit": "g",
}
DRAWN = [
    drawings.known_assumed(1_742_000, 871_000, 3_164_000),
    drawings.known_assumed(0, 0, 0),
    drawings.scoops(11),
    drawings.scoops(0),
    drawings.scoops(400),
    drawings.pail(
        {"name": "pail 1", "mg": 3_085_000, "litres": 3, "capacity_litres": 5, "fill_limit_litres": 4}
    ),
    drawings.pail({"name": "pail 1", "mg": 3_085_000}),
    *(drawings.rule_band(**BAND, reading=reading, title="Reading") for reading in (None, 39, 3, 390)),
    drawings.week_strip(WEEKS, title="The season"),
    drawings.week_strip([], title="The season"),
    *drawings.mass_tapes(
        [{"words": "received", "mg": 38_000_000}],
        [{"words": "lost", "mg": 1, "kind": "solid"}, {"words": "in the shed", "mg": 37_999_999}],
        title="Where the mass went",
    ),
    *drawings.mass_tapes([], [], title="Where the mass went"),
    drawings.bed(shape="rectangle", a_mm=2_438, b_mm=1_219, plants=8),
    drawings.bed(shape="circle", a_mm=1_829, b_mm=0, plants=5),
    drawings.nutrient_bar(Decimal("13.3"), "supplied"),
    drawings.nutrient_bar(None, "unknown"),
    drawings.nutrient_scale(),
]


@pytest.mark.parametrize("drawing", DRAWN)
def test_every_drawing_has_a_title_and_stays_in_its_frame(drawing: drawings.Drawing) -> None:
    html = render('{% include "shared/drawing.html" %}', drawing=drawing)
    assert re.search(r"<title>[^<]+</title><desc>", html)
    assert "style=" not in html
    for mark in drawing.marks:
        attrs = dict(mark.attrs)
        x = float(attrs.get("x", attrs.get("x1", "0")))
        assert -1 <= x <= drawing.width + 1, mark
        assert float(attrs.get("width", "0")) >= 0


def test_the_pointer_stands_on_its_figure_and_a_wild_reading_is_off_the_rule() -> None:
    def words(reading: int) -> list[str]:
        return [
            mark.text
            for mark in drawings.rule_band(**BAND, reading=reading, title="Reading").marks
            if mark.text
        ]

    assert "39.0" in words(39)
    assert "390.0, off the rule" in words(390)
    assert "off the rule" not in " ".join(words(39))


def test_the_tape_is_as_long_as_what_came_in() -> None:
    pieces: list[drawings.Piece] = [
        {"words": "a", "mg": 1},
        {"words": "b", "mg": 999},
        {"words": "c", "mg": 0},
    ]
    lengths = drawings._lengths(pieces, 1_000, 800)
    assert sum(lengths) == pytest.approx(800)
    assert lengths[0] >= 2.5
    assert lengths[2] == 0


@given(st.lists(st.floats(0, 400), max_size=8))
def test_labels_never_lie_on_one_another(centres: list[float]) -> None:
    spread = drawings._spread(sorted(centres), 40, 30, 30 + 40 * max(len(centres), 1))
    assert all(below - above >= 40 - 1e-6 for above, below in pairwise(spread))
    assert all(30 <= y <= 30 + 40 * len(centres) + 5 for y in spread)


@pytest.mark.parametrize(
    ("quarters", "said"),
    [
        (1, "¼ level scoop"),
        (4, "1 level scoop"),
        (5, "1¼ level scoops"),
        (11, "2¾ level scoops"),
        (0, "0 level scoop"),
    ],
)
def test_scoops_in_words(quarters: int, said: str) -> None:
    assert drawings.scoop_words(quarters) == said


# ---------- what no template may contain ----------

FORBIDDEN = [
    (r"\sstyle\s*=", "inline style"),
    (r"<style", "inline style sheet"),
    (r"\son[a-z]+\s*=", "inline handler"),
    (r"hx-on", "inline handler"),
    (r"""hx-vals\s*=\s*["']\s*js:""", "evaluated values"),
    (r"javascript:", "script address"),
    (r"<script(?![^>]*\bsrc=)", "inline script"),
    (r"\{%\s*endblock\s*%\}", "unnamed end of a block"),
]


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_template_keeps_the_house_rules(path: Path) -> None:
    text = re.sub(r"\{% comment %\}.*?\{% endcomment %\}", "", path.read_text(), flags=re.DOTALL)
    found = [what for pattern, what in FORBIDDEN if re.search(pattern, text, re.IGNORECASE)]
    assert found == []
    assert text.count("<svg") == len(re.findall(r"<svg[^<]*(?:<(?!svg)[^<]*)*?<title", text))


def test_there_are_templates_to_look_at() -> None:
    assert len(TEMPLATES) > 20


def test_the_style_sheet_names_a_colour_only_in_its_tokens() -> None:
    css = (ROOT / "gardens/static/paper.css").read_text()
    rules = css.split("/* ---------- ground ---------- */")[1].split("/* ---------- paper ---------- */")[0]
    assert re.findall(r"#[0-9a-f]{3,8}\b|\brgba?\(|\bhsla?\(", rules) == []


PAIRS = [
    ("ink", "paper", 13),
    ("ink", "stub", 13),
    ("ink2", "paper", 7),
    ("ink2", "stub", 7),
    ("ink2", "field", 7),
]


@pytest.mark.parametrize("ground", ["light", "dark"])
@pytest.mark.parametrize(("words", "behind", "least"), [*PAIRS, ("on-act", "act", 7)])
def test_words_stand_out(ground: str, words: str, behind: str, least: float) -> None:
    """WCAG 2.2 contrast ratio; 7:1 for all words, 13:1 for ink on what it is printed on."""
    tokens = (ROOT / "gardens/static/paper.css").read_text().split(":root {")[1 if ground == "light" else 2]
    colour = dict(re.findall(r"--([a-z0-9-]+): (#[0-9a-f]{6})", tokens.split("}")[0]))

    def light(name: str) -> float:
        parts = [int(colour[name][i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    above, below = sorted((light(words), light(behind)), reverse=True)
    assert (above + 0.05) / (below + 0.05) >= least


@override_settings(
    STORAGES={"staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}
)
@pytest.mark.parametrize("name", ["400.html", "403.html", "403_csrf.html", "404.html", "500.html"])
def test_pages_of_trouble_need_no_context(name: str) -> None:
    from django.template.loader import render_to_string

    html = render_to_string(name)
    assert html.count('class="act"') == 1
    assert '<h1 class="say">' in html


def test_a_name_with_hyphens_is_not_divided_and_stays_escaped() -> None:
    from gardens.templatetags.paper import whole

    assert whole("Compound 16-16-16") == 'Compound <span class="n">16-16-16</span>'
    assert whole("<b>All-round") == '&lt;b&gt;<span class="n">All-round</span>'
    assert whole("very-long-hyphened-name") == "very-long-hyphened-name"
