"""Drawings as data: a picture is a list of marks with the page's own classes, put on a page by one template.

Pure geometry in pixels, y downwards. Words in a picture are never under 14 px, so a drawing is not scaled
down: where a phone needs it, there is an upright one. Black is happened or known, outline is to come, hatch
is assumed or worked in.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor, log10, sqrt
from typing import Literal, TypedDict

from gardens.figures import NBSP, kilograms, length, mass, number

Number = int | Decimal | Fraction
CHAR_PX = 8.2
"""Width of an average character of the face at 14 px, on the generous side."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One SVG element: its tag, its attributes in order, its words."""

    tag: Literal["rect", "line", "path", "text", "circle"]
    attrs: tuple[tuple[str, str], ...]
    text: str = ""


@dataclass(frozen=True, slots=True)
class Drawing:
    """`beside`: the same words stand beside it, so a screen reader may pass it by."""

    width: int
    height: int
    title: str
    desc: str
    marks: tuple[Mark, ...]
    css: str = ""
    beside: bool = False


# ---------- marks ----------


def _px(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _rect(css: str, x: float, y: float, width: float, height: float) -> Mark:
    """An outline is drawn with a 2 px line inside its box."""
    inset = 1 if css == "open" else 0
    box = {"x": x + inset, "y": y + inset, "width": width - 2 * inset, "height": height - 2 * inset}
    return Mark("rect", (("class", css), *((name, _px(max(size, 0))) for name, size in box.items())))


def _line(css: str, x1: float, y1: float, x2: float, y2: float) -> Mark:
    return Mark("line", (("class", css), ("x1", _px(x1)), ("y1", _px(y1)), ("x2", _px(x2)), ("y2", _px(y2))))


def _path(css: str, d: str) -> Mark:
    return Mark("path", (("class", css), ("d", d)))


def _circle(css: str, x: float, y: float, radius: float) -> Mark:
    return Mark("circle", (("class", css), ("cx", _px(x)), ("cy", _px(y)), ("r", _px(radius))))


def _text(words: str, x: float, y: float, css: str = "", anchor: str = "") -> Mark:
    attrs = (("class", css), ("x", _px(x)), ("y", _px(y)), ("text-anchor", anchor))
    return Mark("text", tuple((name, value) for name, value in attrs if value), words)


def _hatch(x: float, y: float, width: float, height: float, step: float = 8) -> list[Mark]:
    """An outlined box with slanted strokes that stay inside it."""
    marks = [_rect("open", x, y, width, height)]
    left, right, top, bottom = x + 1, x + width - 1, y + 1, y + height - 1
    lean = (bottom - top) * 0.45
    foot = left - lean + step
    while foot < right:
        x1, y1, x2, y2 = foot, bottom, foot + lean, top
        slope = (bottom - top) / lean if lean else 0
        if x1 < left:
            x1, y1 = left, bottom - (left - foot) * slope
        if x2 > right:
            x2, y2 = right, bottom - (right - foot) * slope
        if y1 > y2:
            marks.append(_line("fine", x1, y1, x2, y2))
        foot += step
    return marks


def _wide(words: str, size: float = 14) -> float:
    return len(words) * CHAR_PX * size / 14


# ---------- known and assumed ----------


def known_assumed(known_mg: int, assumed_mg: int, scale_mg: int, *, width: int = 214) -> Drawing:
    """A bar whose length compares with `scale_mg`, the longest of its table: black known, hatched assumed."""
    scale = max(scale_mg, known_mg + assumed_mg, 1)
    known, assumed = width * known_mg / scale, width * assumed_mg / scale
    marks = [_rect("solid", 0, 3, known, 20)] if known else []
    if assumed_mg:
        marks += _hatch(known, 3, max(assumed, 4), 20)
    words = f"{kilograms(known_mg)}{NBSP}kg known, {kilograms(assumed_mg)}{NBSP}kg assumed"
    return Drawing(width, 26, words, "Black is known, hatched is assumed.", tuple(marks))


# ---------- scoops ----------

SCOOPS_DRAWN = 16


def scoops(quarters: int) -> Drawing:
    """Level scoops, the last part filled; more than sixteen are one scoop and its number."""
    whole, part = divmod(max(quarters, 0), 4)
    fills = [4] * whole + ([part] if part else [])
    title = scoop_words(quarters)
    if len(fills) > SCOOPS_DRAWN:
        marks = [*_scoop(0, 0, 4), _text(f"× {whole}", 46, 20, "tb")]
        return Drawing(96, 26, title, "", tuple(marks), beside=True)
    columns, pitch = 8, 38
    marks = [
        mark for i, fill in enumerate(fills) for mark in _scoop(i % columns * pitch, i // columns * 30, fill)
    ]
    rows = max(ceil(len(fills) / columns), 1)
    return Drawing(
        max(min(len(fills), columns), 1) * pitch, 30 * rows - 4, title, "", tuple(marks), beside=True
    )


def scoop_words(quarters: int) -> str:
    """`2¾ level scoops`, `1 level scoop`, `½ level scoop`."""
    whole, part = divmod(quarters, 4)
    words = (str(whole) if whole or not part else "") + ("", "¼", "½", "¾")[part]
    return f"{words} level {'scoop' if quarters <= 4 else 'scoops'}"


def _scoop(x: float, y: float, quarters: int) -> list[Mark]:
    rim, top, middle = x + 2, y + 6, y + 12
    bowl = f"M{_px(rim)} {_px(top)} h24 v6 a12 12 0 0 1 -24 0z"
    marks = [_path("open", bowl), _line("bar", rim + 23, top, rim + 35, top)]
    level = top + 18 * (4 - quarters) / 4
    if quarters >= 4:
        marks.append(_path("solid", bowl))
    elif level <= middle:
        marks.append(_path("solid", f"M{_px(rim)} {_px(level)} h24 V{_px(middle)} a12 12 0 0 1 -24 0z"))
    elif quarters:
        half = sqrt(144 - (level - middle) ** 2)
        centre = x + 14
        marks.append(
            _path(
                "solid", f"M{_px(centre + half)} {_px(level)} A12 12 0 0 1 {_px(centre - half)} {_px(level)}z"
            )
        )
    return marks


# ---------- pails ----------


class Pail(TypedDict, total=False):
    name: str
    mg: int
    litres: Number | None
    capacity_litres: Number | None
    fill_limit_litres: Number | None


def pail(item: Pail, units: str = "") -> Drawing:
    """One pail from the side, filled to its volume (60 % where that is not known), its fill limit dashed."""
    capacity = Fraction(item.get("capacity_litres") or 0)
    litres = item.get("litres")
    known = litres is not None and capacity > 0
    fill = min(Fraction(litres or 0) / capacity, Fraction(1)) if known else Fraction(6, 10)
    limit = item.get("fill_limit_litres")
    top, bottom = 12.0, 118.0

    def side(y: float) -> float:
        return 16 + 12 * (y - top) / (bottom - top)

    level = bottom - float(fill) * (bottom - top)
    left, right = _px(side(level)), _px(160 - side(level))
    words = str(mass(item["mg"], units))
    marks = [
        _path("line", "M16 12 L28 118 H132 L144 12"),
        _path("solid", f"M{left} {_px(level)} L28 118 H132 L{right} {_px(level)}z"),
        _line("bar", 10, top, 150, top),
    ]
    if limit is not None and capacity:
        y = bottom - min(float(Fraction(limit) / capacity), 1) * (bottom - top)
        marks.append(_line("dash" if y < level else "tear", side(y) + 3, y, 157 - side(y), y))
    full = level < 92
    inked = max(100, (level + bottom) / 2 + 7)
    marks.append(_text(words, 80, inked if full else level - 10, "t20 on" if full else "t20", "middle"))
    inside = full and level > 44
    marks.append(_text(item["name"], 80, level - 8 if inside else 136, "t2", "middle"))
    volume = f", {_plain(litres)} litres of {_plain(capacity)}" if known and litres is not None else ""
    height = 126 if inside else 142
    return Drawing(160, height, f"{item['name']}: {words}{volume}", "", tuple(marks))


def _plain(value: Number) -> str:
    text = number(value, 1)
    return text.removesuffix(".0")


# ---------- the rule with a band ----------


def rule_band(
    *,
    target: Number,
    low: Number,
    high: Number,
    reading: Number | None,
    digits: int,
    unit: str,
    title: str,
    width: int = 358,
    plus: bool = False,
) -> Drawing:
    """Ticks, a black band for what is good, a pointer with its figure; off the rule an arrow and words.

    All numbers are in `unit`. `plus` writes the sign of positive figures, for differences.
    """
    left, right = 14.0, width - 14.0
    half = max(Fraction(high) - Fraction(target), Fraction(target) - Fraction(low), Fraction(1, 10**digits))
    step = _nice(half * 5 / 6)
    # Round figures on the ticks, and the target among them where it is round enough itself.
    centre = Fraction(target) if Fraction(target) * 5 % step == 0 else round(Fraction(target) / step) * step
    around = ceil(2 * half / step)
    start, stop = centre - around * step, centre + around * step

    def at(value: Number) -> float:
        return left + (right - left) * float((Fraction(value) - start) / (stop - start))

    def words(value: Number) -> str:
        text = number(value, digits)
        return f"+{text}" if plus and value > 0 else text.replace("\u202f", "") if value < 0 else text

    marks = [_rect("solid", at(low), 34, max(at(high) - at(low), 3), 10), _line("line", left, 44, right, 44)]
    places = max(digits, 0)
    every = ceil(_wide(number(stop, places)) * 1.25 / ((right - left) / float((stop - start) / step)))
    for i in range(int((stop - start) / step * 5) + 1):
        tick = start + step * Fraction(i, 5)
        if i % 5:
            marks.append(_line("hair", at(tick), 44, at(tick), 51))
        else:
            marks.append(_line("line", at(tick), 44, at(tick), 58))
            if (i // 5 - around) % every == 0:
                marks.append(_text(words(tick), at(tick), 75, "t2", "middle"))
    marks.append(_line("tear", at(target), 33, at(target), 43))
    pointer: float | None = None
    said = "no reading yet"
    if reading is not None:
        said = f"reading {words(reading)}{NBSP}{unit}"
        if reading > stop:
            marks += [
                _path("solid", f"M{_px(right - 2)} 1 l12 7 l-12 7z"),
                _line("bar", right - 60, 8, right - 2, 8),
            ]
            marks.append(_text(f"{words(reading)}, off the rule", right - 68, 13, "tb", "end"))
            pointer = right - 60
        elif reading < start:
            marks += [
                _path("solid", f"M{_px(left + 2)} 1 l-12 7 l12 7z"),
                _line("bar", left + 2, 8, left + 60, 8),
            ]
            marks.append(_text(f"{words(reading)}, off the rule", left + 68, 13, "tb"))
            pointer = left + 60
        else:
            pointer = at(reading)
            marks.append(_path("solid", f"M{_px(pointer - 9)} 16 h18 l-9 15z"))
            room = _wide(words(reading)) / 2
            marks.append(_text(words(reading), min(max(pointer, room), width - room), 11, "tb", "middle"))
    for value, anchor, offset in ((low, "end", -4), (high, "start", 4)):
        x, room = at(value), _wide(words(value)) / 2
        middle = x + offset + (room if offset > 0 else -room)
        if pointer is None or abs(middle - pointer) > room + 12:
            marks.append(_text(words(value), x + offset, 29, "t2", anchor))
    good = f"good from {words(low)} to {words(high)}{NBSP}{unit}"
    return Drawing(width, 80, title, f"Target {words(target)}{NBSP}{unit}, {good}; {said}.", tuple(marks))


def _nice(at_least: Fraction) -> Fraction:
    """The next of 1, 2, 5 times a power of ten."""
    power = Fraction(10) ** floor(log10(float(at_least)))
    return next(step for factor in (1, 2, 5, 10) if (step := factor * power) >= at_least)


# ---------- the season by weeks ----------


class Week(TypedDict):
    start: dt.date
    grams: Number
    state: Literal["given", "now", "plan", "worked", "rest"]


MONTHS = ("Jan", "Feb", "March", "April", "May", "June", "July", "Aug", "Sept", "Oct", "Nov", "Dec")


def week_strip(weeks: Sequence[Week], *, title: str, unit: str = "g", width: int = 358) -> Drawing:
    """A bar a week: black given, half black this week, outlined to come, hatched worked in at planting."""
    if not weeks:
        return Drawing(width, 30, title, "No weeks.", (_text("no weeks", 0, 20),))
    slot = min(width / len(weeks), 34.0)
    most = float(max((week["grams"] for week in weeks), default=0) or 1)
    base, tall, gap = 118.0, 84.0, min(4.0, slot / 4)
    marks: list[Mark] = []
    last_label = -99.0
    month = 0
    for i, week in enumerate(weeks):
        x, wide = i * slot + gap / 2, slot - gap
        high = float(week["grams"]) / most * tall if week["grams"] else 0.0
        marks.append(_line("hair", x + wide / 2, base, x + wide / 2, base + 5))
        if high:
            marks += _week_bar(week["state"], x, base - max(high, 3), wide, max(high, 3))
            if week["state"] == "worked" and high > 40:
                words = f"{_plain(week['grams'])}{NBSP}{unit} worked in"
                reach = weeks[i + 1 : i + 2 + int(_wide(words) / slot)]
                if all(float(near["grams"]) / most * tall < high - 44 for near in reach):
                    marks.append(_text(words, x + wide + 7, base - high + 11))
        if week["state"] == "now":
            centre, tip = x + wide / 2, base - max(high, 3) - 6
            marks.append(_path("solid", f"M{_px(centre - 8)} {_px(tip - 13)} h16 l-8 13z"))
            words = (
                f"this week: {_plain(week['grams'])}{NBSP}{unit}" if week["grams"] else "this week: nothing"
            )
            room = _wide(words) / 2
            marks.append(_text(words, min(max(centre, room), width - room), tip - 19, "tb", "middle"))
        if week["start"].month != month:
            month = week["start"].month
            if not i and any(near["start"].month != month for near in weeks[1:2]):
                continue  # one week of a month has no room for its name
            if i * slot - last_label > _wide(MONTHS[month - 1]) + 10 or last_label < 0:
                last_label = i * slot
                marks.append(_line("line", i * slot, base, i * slot, base + 26))
                if i * slot + 4 + _wide(MONTHS[month - 1]) < width + 4:
                    marks.append(_text(MONTHS[month - 1], i * slot + 4, base + 22, "t2"))
    marks.append(_line("line", 0, base, slot * len(weeks), base))
    return Drawing(width, 146, title, _weeks_said(weeks, unit), tuple(marks))


def _week_bar(state: str, x: float, y: float, wide: float, high: float) -> list[Mark]:
    if state == "given":
        return [_rect("solid", x, y, wide, high)]
    if state == "worked":
        return _hatch(x, y, wide, high, step=6)
    if state == "now":
        return [_rect("open", x, y, wide, high), _rect("solid", x, y + high / 2, wide, high / 2)]
    return [_rect("open", x, y, wide, high)]


def _weeks_said(weeks: Sequence[Week], unit: str) -> str:
    """`3 weeks given, 12 to come, last on 7 September; most 18 g.`"""
    given = sum(1 for week in weeks if week["state"] == "given" and week["grams"])
    coming = [week for week in weeks if week["state"] in ("now", "plan") and week["grams"]]
    most = max((week["grams"] for week in weeks), default=0)
    fed = [week for week in weeks if week["grams"]]
    last = (
        f", the last in the week of {fed[-1]['start'].day} {MONTHS[fed[-1]['start'].month - 1]}"
        if fed
        else ""
    )
    return f"{given} weeks given, {len(coming)} to come{last}; at most {_plain(most)}{NBSP}{unit} in a week."


# ---------- the mass tape ----------


class Piece(TypedDict, total=False):
    words: str
    mg: int
    kind: Literal["open", "solid", "hatch"]


def mass_tapes(came_in: Sequence[Piece], is_now: Sequence[Piece], *, title: str) -> tuple[Drawing, Drawing]:
    """Two tapes of one length, in and where now: lying for a wide page, upright for a phone."""
    desc = (
        f"Came in: {_pieces_said(came_in)}. Is now: {_pieces_said(is_now)}. The table has the same figures."
    )
    return _tape_wide(came_in, is_now, title, desc), _tape_upright(came_in, is_now, title, desc)


def _pieces_said(pieces: Sequence[Piece]) -> str:
    return (
        ", ".join(f"{kilograms(piece['mg'])}{NBSP}kg {piece['words']}" for piece in pieces if piece["mg"])
        or "0 kg"
    )


def _lengths(pieces: Sequence[Piece], whole: int, long: float) -> list[float]:
    """To scale, but nothing thinner than 2.5 px; the largest gives what the small ones take."""
    true = [long * max(piece["mg"], 0) / max(whole, 1) for piece in pieces]
    shown = [max(size, 2.5) if piece["mg"] else 0.0 for size, piece in zip(true, pieces, strict=True)]
    if shown:
        largest = shown.index(max(shown))
        shown[largest] -= sum(shown) - sum(true)
    return shown


def _piece_marks(kind: str, x: float, y: float, wide: float, high: float) -> list[Mark]:
    if kind == "hatch" and min(wide, high) > 6:
        return _hatch(x, y, wide, high, step=9)
    return [_rect("open" if kind == "open" and min(wide, high) > 4 else "solid", x, y, wide, high)]


def _tape_wide(came_in: Sequence[Piece], is_now: Sequence[Piece], title: str, desc: str) -> Drawing:
    width, thick, y = 822, 46, 0.0
    whole = max(sum(p["mg"] for p in came_in), sum(p["mg"] for p in is_now), 1)
    marks: list[Mark] = []
    for head, pieces in (("Came in", came_in), ("Is now", is_now)):
        marks.append(_text(head, 0, y + 14, "tb"))
        marks.append(_text(f"{kilograms(sum(p['mg'] for p in pieces))} kg", width, y + 14, "tb", "end"))
        top, x = y + 24, 0.0
        leaders: list[tuple[float, str]] = []
        for piece, wide in zip(pieces, _lengths(pieces, whole, width), strict=True):
            if not wide:
                continue
            kind = piece.get("kind", "open")
            marks += _piece_marks(kind, x, top, max(wide - 1, 2), thick)
            figure, words = kilograms(piece["mg"]), piece["words"]
            if kind != "hatch" and wide > _wide(f"{figure} {words}", 17) + 24:
                on = " on" if kind == "solid" else ""
                marks.append(_text(figure, x + 14, top + 29, f"t17 tb{on}"))
                marks.append(_text(words, x + 14 + _wide(figure, 17) + 6, top + 29, f"t17{on}"))
            else:
                leaders.append((x + wide / 2, f"{figure} {words}"))
            x += wide
        y = top + thick
        y += _leaders(marks, leaders, y, width) + 24
    return Drawing(width, round(y - 12), title, desc, tuple(marks), css="only-wide")


def _leaders(marks: list[Mark], leaders: Sequence[tuple[float, str]], y: float, width: int) -> float:
    """Words below the tape on elbows that never cross; gives back the height they take."""
    right = [item for item in leaders if item[0] - _wide(item[1]) - 20 > 0]
    left = [item for item in reversed(leaders) if item not in right]
    for row, (x, words) in enumerate(right):
        down = y + 19 + 18 * row
        marks.append(_path("fine", f"M{_px(x)} {_px(y)} V{_px(down)} h-14"))
        marks.append(_text(words, x - 18, down + 5, "", "end"))
    for row, (x, words) in enumerate(left):
        down = y + 19 + 18 * (row + len(right))
        marks.append(_path("fine", f"M{_px(x)} {_px(y)} V{_px(down)} h14"))
        marks.append(_text(words, x + 18, down + 5))
    return 18.0 * len(leaders) + (8 if leaders else 0)


def _tape_upright(came_in: Sequence[Piece], is_now: Sequence[Piece], title: str, desc: str) -> Drawing:
    width, thick, top, long, pitch = 358, 44, 30.0, 300.0, 40.0
    rows = max(sum(1 for p in came_in if p["mg"]), sum(1 for p in is_now if p["mg"]), 1)
    long = max(long, pitch * rows)
    whole = max(sum(p["mg"] for p in came_in), sum(p["mg"] for p in is_now), 1)
    marks: list[Mark] = []
    for x, head, pieces in ((0.0, "Came in", came_in), (184.0, "Is now", is_now)):
        marks.append(_text(head, x, 16, "tb"))
        y = top
        centres: list[float] = []
        shown = [piece for piece in pieces if piece["mg"]]
        for piece, high in zip(shown, _lengths(shown, whole, long), strict=True):
            marks += _piece_marks(piece.get("kind", "open"), x, y, thick, max(high - 1, 2))
            centres.append(y + high / 2)
            y += high
        for piece, centre, label in zip(
            shown, centres, _spread(centres, pitch, top, top + long), strict=True
        ):
            marks.append(
                _path("fine", f"M{_px(x + thick)} {_px(centre)} L{_px(x + thick + 10)} {_px(label)}")
            )
            marks.append(_text(kilograms(piece["mg"]), x + thick + 14, label - 2, "tb"))
            marks.append(_text(piece["words"], x + thick + 14, label + 15))
    return Drawing(width, round(top + long + 6), title, desc, tuple(marks), css="only-phone")


def _spread(centres: Sequence[float], pitch: float, top: float, bottom: float) -> list[float]:
    """Heights at least `pitch` apart, as near to their centres as that allows, inside top and bottom."""
    placed: list[float] = []
    for centre in centres:
        placed.append(max(centre, placed[-1] + pitch if placed else top + pitch / 2))
    limit = bottom - pitch / 2 + 4
    for i in range(len(placed) - 1, -1, -1):
        placed[i] = min(placed[i], limit)
        limit = placed[i] - pitch
    return placed


# ---------- the bed to scale ----------


def bed(
    *,
    shape: str,
    a_mm: int,
    b_mm: int,
    units: str = "",
    plants: int = 0,
    title: str = "The bed",
    count: int = 1,
) -> Drawing:
    """A bed to scale with its measures, a plain ring a plant. A circle has its diameter in `a_mm`."""
    if shape in ("circle", "pot"):
        return _round_bed(a_mm, units, plants, title, count)
    long, short = max(a_mm, b_mm, 1), max(min(a_mm, b_mm), 1)
    wide, high = 290.0, max(min(290.0 * short / long, 150.0), 18.0)
    if 290.0 * short / long > 150:
        wide = 150.0 * long / short
    marks = [_rect("open", 1, 1, wide, high)]
    columns = max(round(sqrt(plants * wide / high)), 1) if plants else 0
    for i in range(min(plants, 60)):
        per_row = min(columns, plants)
        lines = ceil(plants / per_row)
        radius = min(wide / per_row, high / lines) * 0.3
        x = 1 + wide * (i % per_row + 0.5) / per_row
        y = 1 + high * (i // per_row + 0.5) / lines
        marks += _plant(x, y, max(radius, 2.5))
    marks += [_line("line", 1, high + 14, 1 + wide, high + 14)]
    marks += [_line("line", x, high + 9, x, high + 19) for x in (1.0, 1 + wide)]
    marks.append(_text(_both(long, units), 1 + wide / 2, high + 34, "", "middle"))
    marks.append(_line("line", wide + 14, 1, wide + 14, 1 + high))
    marks += [_line("line", wide + 9, y, wide + 19, y) for y in (1.0, 1 + high)]
    marks.append(_text(str(length(short, units)), wide + 24, 6 + high / 2))
    said = f"{_both(long, units)} by {_both(short, units)}" + (f", {plants} plants" if plants else "")
    return Drawing(358, round(high + 42), title, said, tuple(marks))


IN_A_RING = ((0.0, 0.0), (0.58, 0.0), (-0.58, 0.0), (0.29, 0.5), (-0.29, -0.5), (0.29, -0.5), (-0.29, 0.5))


def _round_bed(diameter_mm: int, units: str, plants: int, title: str, count: int) -> Drawing:
    across = 120.0
    shown = min(max(count, 1), 1 if count == 1 else 5)
    if shown > 1:
        across = min(across, 300 / shown - 8)
    marks: list[Mark] = []
    for i in range(shown):
        centre = 1 + across / 2 + i * (across + 8)
        marks.append(_circle("open", centre, 1 + across / 2, across / 2 - 1))
        each = ceil(plants / max(count, 1)) if plants else 0
        for k in range(min(each, len(IN_A_RING))):
            dx, dy = ((0.0, 0.0), (0.5, 0.0), (-0.5, 0.0), (0.0, 0.5), (0.0, -0.5), (0.4, 0.4), (-0.4, -0.4))[
                k
            ]
            marks += _plant(centre + dx * across / 2, 1 + across / 2 + dy * across / 2, across * 0.09)
    marks.append(_line("line", 1, across + 14, 1 + across, across + 14))
    marks += [_line("line", x, across + 9, x, across + 19) for x in (1.0, 1 + across)]
    words = f"{_both(diameter_mm, units)} across" + (f", {count} of them" if count > 1 else "")
    marks.append(_text(words, 1, across + 34))
    return Drawing(358, round(across + 42), title, words, tuple(marks))


def _plant(x: float, y: float, radius: float) -> list[Mark]:
    arm = radius * 0.5
    return [
        _circle("line", x, y, radius),
        _line("fine", x - arm, y, x + arm, y),
        _line("fine", x, y - arm, x, y + arm),
    ]


def _both(mm: int, units: str) -> str:
    other = "" if units == "us" else "us"
    return f"{length(mm, units)} ({length(mm, other)})"


# ---------- nutrients on a scale of tens ----------

NUTRIENT_STATES = ("supplied", "atleast", "trace", "none", "unknown")


def nutrient_bar(percent: Number | None, state: str) -> Drawing:
    """Its share in per cent on a scale of tens from 0.0001 to 100; an arrow where there may be more."""
    marks = [_line("hair", 8 + 100 * i / 3, -9, 8 + 100 * i / 3, 31) for i in range(7)]
    x = 8.0
    if percent is not None and percent > 0:
        x = 8 + 200 * min(max((log10(float(percent)) + 4) / 6, 0.01), 1.0)
    if state == "unknown":
        marks.append(_line("dots", 8, 11, 208, 11))
    elif state == "none" or not percent:
        marks += [_rect("open", 1, 4, 14, 14), _line("line", 2, 17, 14, 5)]
    elif state == "trace":
        marks += [_rect("open", 8, 7.5, x - 8, 7), _line("bar", x, 2, x, 20)]
    else:
        marks += [_rect("solid", 8, 5, x - 8, 12), _line("bar", x, 2, x, 20)]
        if state == "atleast":
            marks.append(_path("solid", f"M{_px(x + 3)} 4 l10 7 l-10 7z"))
    return Drawing(216, 22, "Share of the blend on a scale of tens", "", tuple(marks), beside=True)


def nutrient_scale() -> Drawing:
    """The head of the column of `nutrient_bar`s."""
    marks = [
        _text("0.0001", 0, 13, "t2"),
        _text("0.01", 74.7, 13, "t2", "middle"),
        _text("1", 141.3, 13, "t2", "middle"),
        _text(f"100{NBSP}%", 216, 13, "t2", "end"),
    ]
    return Drawing(216, 16, "Share of the blend on a scale of tens, in per cent", "", tuple(marks))
