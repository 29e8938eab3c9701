"""Filters and tags of the look: figures, days, state words, the one act, sums, workings, drawings, errors."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django import template
from django.forms import BaseForm, BaseFormSet
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString, mark_safe

from gardens import drawings, figures

register = template.Library()

STATES = ("todo", "part", "done", "held", "none", "unknown", "wait", "sent")
HYPHENED = re.compile(r"\w+(?:-\w+)+")
COUNTS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten")

# ---------- figures ----------


@register.filter
def mass(mg: int | None, units: str = "") -> str:
    return "" if mg is None else str(figures.mass(mg, units))


@register.filter
def figure(mg: int | None, units: str = "") -> str:
    """A mass whose unit is set small, for the figures of a column."""
    if mg is None:
        return ""
    said = figures.mass(mg, units)
    return format_html('{}<span class="u">\u00a0{}</span>', said.value, said.unit)


@register.filter
def whole(text: object) -> SafeString:
    """Names in a sentence: no line ends within "16-16-16" or "All-round"."""
    return mark_safe(HYPHENED.sub(_kept_whole, conditional_escape(str(text))))  # escaped just now


def _kept_whole(found: re.Match[str]) -> str:
    return f'<span class="n">{found[0]}</span>' if len(found[0]) <= 18 else found[0]


@register.filter
def kg(mg: int | None) -> str:
    return "" if mg is None else figures.kilograms(mg)


@register.filter
def grams(mg: int | None, division_mg: int | None = None) -> str:
    return "" if mg is None else figures.grams(mg, division_mg)


@register.filter
def signed(mg: int | None, units: str = "") -> str:
    return "" if mg is None else figures.signed(mg, units)


@register.filter
def area(mm2: int | None, units: str = "") -> str:
    return "" if mm2 is None else str(figures.area(mm2, units))


@register.filter
def measure(mm: int | None, units: str = "") -> str:
    """A length; not called `length`, which is Django's own filter."""
    return "" if mm is None else str(figures.length(mm, units))


@register.filter
def percent(share: figures.Number | None, places: int = 1) -> str:
    return "" if share is None else figures.percent(share, places)


@register.filter
def money(minor: int | None, currency: str = "") -> str:
    return "" if minor is None else figures.money(minor, currency)


@register.filter
def number(value: figures.Number | None, places: int = 0) -> str:
    return "" if value is None else figures.number(value, places)


# ---------- days ----------

DAYS = {"": "D j F", "full": "l j F", "year": "j F Y", "short": "j F"}


@register.filter
def day(value: dt.date | None, form: str = "") -> str:
    """`Sat 4 July`; full `Saturday 4 July`; year `4 July 2026`; short `4 July`."""
    if not value:
        return ""
    if isinstance(value, dt.datetime):
        value = timezone.localtime(value).date()
    return _joined(date_format(value, DAYS[form], use_l10n=False))


@register.filter
def at(value: dt.datetime | None) -> str:
    """`4 July, 10:42` in the active time zone."""
    return _joined(date_format(timezone.localtime(value), "j F, H:i", use_l10n=False)) if value else ""


@register.filter
def span(first: dt.date | None, last: dt.date | None) -> str:
    """`6 July to 2 August`; `6 to 31 July`; years only where they differ."""
    if not first or not last:
        return ""
    if first.year != last.year:
        return f"{day(first, 'year')} to {day(last, 'year')}"
    if first == last:
        return day(first, "short")
    if first.month == last.month:
        return f"{first.day} to {day(last, 'short')}"
    return f"{day(first, 'short')} to {day(last, 'short')}"


def _joined(text: str) -> str:
    """The number of a day stays with its month."""
    words = text.split(" ")
    for i, word in enumerate(words[:-1]):
        if word.isdigit() and len(word) <= 2:
            words[i] = f"{word}\u00a0{words.pop(i + 1)}"
            break
    return " ".join(words)


# ---------- words and shapes ----------


@register.simple_tag
def state(shape: str, words: str) -> SafeString:
    """A state: its shape (one of STATES), then its word."""
    if shape not in STATES:
        raise template.TemplateSyntaxError(f"{shape!r} is no state's shape; there are {', '.join(STATES)}")
    return format_html('<span class="tag {}">{}</span>', shape, words)


@register.inclusion_tag("shared/docket.html")
def docket(cells: Sequence[Mapping[str, object]]) -> dict[str, object]:
    return {"cells": cells}


@register.inclusion_tag("shared/stub_head.html")
def stub_head(number: object = "", note: str = "", state: str = "", word: str = "") -> dict[str, object]:
    return {"number": number, "note": note, "state": state, "word": word}


@register.inclusion_tag("shared/act.html")
def act(
    words: str, *, form: str = "", name: str = "", value: object = "", href: str = "", missing: str = ""
) -> dict[str, object]:
    """The one next act. `missing` turns it off and says what is missing."""
    return {"words": words, "form": form, "name": name, "value": value, "href": href, "missing": missing}


@register.inclusion_tag("shared/post.html")
def post_act(url: str, words: str, missing: str = "", **hidden: object) -> dict[str, object]:
    return {"url": url, "words": words, "missing": missing, "hidden": hidden, "css": "act"}


@register.inclusion_tag("shared/post.html")
def post_btn(url: str, words: str, missing: str = "", **hidden: object) -> dict[str, object]:
    return {"url": url, "words": words, "missing": missing, "hidden": hidden, "css": "btn"}


@register.inclusion_tag("shared/post.html")
def post_link(url: str, words: str, missing: str = "", **hidden: object) -> dict[str, object]:
    return {"url": url, "words": words, "missing": missing, "hidden": hidden, "css": "link"}


@register.inclusion_tag("shared/sum.html")
def sum_column(rows: Sequence[Mapping[str, Any]], size: str = "", units: str = "") -> dict[str, object]:
    """A column of figures; its masses share one unit, that of the largest."""
    masses = [row["mg"] for row in rows if row.get("mg") is not None and not row.get("unit")]
    unit = figures.mass(max(map(abs, masses)), units).unit if masses else ""
    if unit == "mg":
        unit = "g"
    return {"size": size, "rows": [_sum_row(row, unit, size) for row in rows]}


def _sum_row(row: Mapping[str, Any], unit: str, size: str) -> dict[str, object]:
    sign = {"+": "+\u202f", "-": "\u2212\u202f", "−": "\u2212\u202f"}.get(row.get("sign", ""), "")
    if row.get("mg") is not None:
        said = figures.mass(row["mg"], unit=row.get("unit") or unit)
        if row.get("division_mg") and said.unit == "g":
            said = figures.Figure(figures.grams(row["mg"], row["division_mg"]), "g")
        if not row["mg"]:
            said, sign = figures.Figure("0", said.unit), ""
    else:
        said = figures.Figure(str(conditional_escape(row.get("figure", ""))), row.get("unit", ""))
    css = ""
    if size == "xl" and row.get("total") and len(said.value) > 4:
        css = "long"
    elif not said.unit and len(said.value) > 9:
        css = "word"
    value = SafeString(said.value)
    return {
        "label": row["label"],
        "note": row.get("note", ""),
        "total": row.get("total", False),
        "href": row.get("href", ""),
        "sign": sign,
        "value": value,
        "unit": said.unit,
        "css": css,
    }


# ---------- working ----------


@register.inclusion_tag("shared/working.html")
def working(w: Any, open: bool = False) -> dict[str, object]:
    """A working as data (`line`, `steps`), from objects or from what was stored of them."""
    head, separator, rest = str(_of(w, "line")).partition(" = ")
    if not separator:
        head, rest = "", head
    steps = [_step(step, i) for i, step in enumerate(_of(w, "steps") or (), 1)]
    return {"head": _pretty(head), "rest": _pretty(rest), "steps": steps, "open": open}


def _step(step: Any, position: int) -> dict[str, object]:
    inputs = _of(step, "inputs")
    if isinstance(inputs, Mapping):
        given = [f"{name} {_quantity(value)}" for name, value in inputs.items()]
    elif isinstance(inputs, str) or not isinstance(inputs, Iterable):
        given = [str(inputs)] if inputs else []
    else:
        given = [f"{_of(item, 'name')} {_quantity(item)}".strip() for item in inputs]
    formula = str(_of(step, "formula") or "")
    source, confidence = str(_of(step, "source") or ""), str(_of(step, "confidence") or "")
    small = ": ".join(part for part in (formula, ", ".join(given)) if part)
    note = str(_of(step, "note") or "")
    return {
        "number": _of(step, "number") or position,
        "name": _pretty(str(_of(step, "name"))),
        "result": _pretty(_quantity(_of(step, "result"))),
        "small": _pretty(". ".join(part for part in (small, note) if part)),
        "source": f"{source} ({confidence})" if source and confidence else source or confidence,
    }


def _of(thing: Any, name: str) -> Any:
    return thing.get(name) if isinstance(thing, Mapping) else getattr(thing, name, None)


def _quantity(value: Any) -> str:
    if _of(value, "value") is not None:
        return f"{_of(value, 'value')} {_of(value, 'unit') or ''}".strip()
    return "" if value is None else str(value)


PRETTY = (
    ("/m2", "/m²"),
    (" m2", " m²"),
    ("/ft2", "/ft²"),
    (" ft2", " ft²"),
    ("P2O5", "P₂O₅"),
    ("K2O", "K₂O"),
)


def _pretty(text: str) -> str:
    for plain, printed in PRETTY:
        text = text.replace(plain, printed)
    return text


@register.inclusion_tag("shared/punch.html")
def punch(steps: Sequence[Mapping[str, object]]) -> dict[str, object]:
    return {"steps": steps}


# ---------- forms ----------


@register.inclusion_tag("shared/errors.html")
def errors(*forms: BaseForm | BaseFormSet[Any] | None) -> dict[str, object]:
    """The summary of what needs another look, each line a link to its field; empty when all is well."""
    lines: list[dict[str, str]] = []
    for form in forms:
        if not form:
            continue
        if isinstance(form, BaseFormSet):
            lines += [{"message": str(message)} for message in form.non_form_errors()]
            members = list(form.forms)
        else:
            members = [form]
        for member in members:
            lines += _error_lines(member)
    many = len(lines)
    return {"lines": lines, "count_words": COUNTS[many] if many < len(COUNTS) else str(many)}


def _error_lines(form: BaseForm) -> list[dict[str, str]]:
    form.summary_shown = True  # type: ignore[attr-defined]
    lines = [{"message": str(message)} for message in form.non_field_errors()]
    for field in form:
        target = str(field.id_for_label or field.auto_id)
        label, goal = str(field.label), "" if field.is_hidden else target
        label += "" if label.endswith((":", "?", ".", "!")) else ":"
        lines += [{"label": label, "message": str(message), "target": goal} for message in field.errors]
    return lines


# ---------- drawings ----------


def _drawn(*items: drawings.Drawing, css: str = "") -> dict[str, object]:
    return {"drawings": items, "css": css}


@register.inclusion_tag("shared/drawing.html")
def known_assumed(known: int, assumed: int, scale: int) -> dict[str, object]:
    return {"drawing": drawings.known_assumed(known, assumed, scale)}


@register.inclusion_tag("shared/drawing.html")
def scoops(quarters: int) -> dict[str, object]:
    return {"drawing": drawings.scoops(quarters)}


@register.filter
def scoop_words(quarters: int | None) -> str:
    return "" if quarters is None else drawings.scoop_words(quarters)


@register.inclusion_tag("shared/drawings.html")
def pails(items: Sequence[drawings.Pail], units: str = "") -> dict[str, object]:
    return _drawn(*(drawings.pail(item, units) for item in items), css="pails")


@register.inclusion_tag("shared/drawings.html")
def rule_band(
    target: figures.Number,
    low: figures.Number,
    high: figures.Number,
    reading: figures.Number | None = None,
    *,
    digits: int = 0,
    unit: str = "g",
    title: str = "Reading against target",
    width: int = 358,
    plus: bool = False,
) -> dict[str, object]:
    return _drawn(
        drawings.rule_band(
            target=target,
            low=low,
            high=high,
            reading=reading,
            digits=digits,
            unit=unit,
            title=title,
            width=width,
            plus=plus,
        )
    )


@register.inclusion_tag("shared/drawings.html")
def week_strip(
    weeks: Sequence[drawings.Week], title: str = "The season by weeks", unit: str = "g"
) -> dict[str, object]:
    return _drawn(drawings.week_strip(weeks, title=title, unit=unit))


@register.inclusion_tag("shared/drawings.html")
def mass_tape(
    came_in: Sequence[drawings.Piece], is_now: Sequence[drawings.Piece], title: str = "Where the mass went"
) -> dict[str, object]:
    return _drawn(*drawings.mass_tapes(came_in, is_now, title=title))


@register.inclusion_tag("shared/drawings.html")
def bed_drawing(
    shape: str,
    length_mm: int,
    width_mm: int,
    units: str = "",
    plants: int = 0,
    title: str = "The bed",
    count: int = 1,
) -> dict[str, object]:
    return _drawn(
        drawings.bed(
            shape=shape, a_mm=length_mm, b_mm=width_mm, units=units, plants=plants, title=title, count=count
        )
    )


@register.inclusion_tag("shared/drawing.html")
def nutrient_bar(share_percent: Decimal | None, state: str) -> dict[str, object]:
    """`share_percent` is in per cent, not a share of one."""
    return {"drawing": drawings.nutrient_bar(share_percent, state)}


@register.inclusion_tag("shared/drawing.html")
def nutrient_scale() -> dict[str, object]:
    return {"drawing": drawings.nutrient_scale()}
