"""The way to the mixing day, step by step, and the one next act for who is looking."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from blends.views.pages import link
from gardens import figures
from gardens.access import Seat
from schedules.models import Round
from schedules.queries.front import Front


@dataclass(frozen=True)
class Way:
    """``steps`` for the punched way; ``say`` the page's sentence, ``under`` a line below it; the act and its
    rest.
    """

    say: str
    under: str
    steps: list[dict[str, str]]
    at: int
    act: str = ""
    url: str = ""
    note: str = ""
    others: tuple[tuple[str, str], ...] = ()


def way(front: Front, seat: Seat) -> Way:
    """Steps that are done, the one that is now, those to come."""
    p = {"programme": seat.programme.pk}
    round, need = _current(front), front.need
    frozen = round is not None and round.state != "open"
    day = round.mixing_day if round is not None else None
    served = front.served
    steps = [
        _step(
            "Programme named", _setting(seat), link("programme_settings", **p) if seat.organises else "", True
        ),
        _step(
            "A garden and its plots",
            f"{_many(front.gardens, 'garden')}, {_many(front.plots, 'plot')}"
            if front.has_land
            else "from a spreadsheet, or typed",
            link("land", **p),
            front.has_land,
        ),
        _step("What a week needs", _need_words(front), "", front.has_land),
        _step(
            "A blend",
            str(front.revision) if front.revision else "what goes into it, and what it feeds",
            link("blends", **p),
            front.revision is not None,
        ),
        _step(
            "A round, its need frozen",
            _round_words(front),
            link("round", **p, round=round.pk) if round is not None else "",
            frozen,
        ),
        _step(
            "A day and a place",
            f"{day.day:%A} {day.day.day} {day.day:%B}, {day.garden.name}" if day else "",
            link("day", **p, day=day.pk) if day else "",
            day is not None,
        ),
        _step(
            "Weigh, mix, release",
            f"{front.released} of {front.pails} pails released" if front.pails else "",
            link("day", **p, day=day.pk) if day and front.pails else "",
            bool(front.pails) and front.released == front.pails,
        ),
        _step(
            "Hand out",
            f"{served.came} of {served.portions} served" if served else "",
            link("desk", **p, day=day.pk) if day and served else "",
            bool(served and served.portions and served.came == served.portions),
        ),
    ]
    if day is not None and not frozen:
        steps[4], steps[5] = steps[5], steps[4]  # the day was chosen first
    at = next((n for n, step in enumerate(steps) if step["state"] != "done"), len(steps))
    if at < len(steps):
        steps[at]["state"] = "now"
    say, under = _sentence(front, at, need)
    return Way(say, under, steps, at, *_next(front, seat, at))


def _current(front: Front) -> Round | None:
    """The round on the way; one that is closed is behind."""
    return None if front.round is None or front.round.state == "closed" else front.round


def _step(words: str, note: str, url: str, done: bool) -> dict[str, str]:
    return {"words": words, "note": note, "url": url if done else "", "state": "done" if done else "todo"}


def _setting(seat: Seat) -> str:
    units = "metric" if seat.programme.units == "metric" else "US customary"
    return f"{units}, {seat.programme.currency}, {seat.programme.zone.replace('_', ' ')}"


def _many(count: int, thing: str) -> str:
    return f"{count} {thing}{'' if count == 1 else 's'}"


def _need_words(front: Front) -> str:
    if not front.has_land:
        return "worked out for you, assumed until you know better"
    if front.need is None:
        return ""
    units = front.programme.units
    up = "" if front.need.even else "up to "
    return f"{up}{figures.mass(front.need.mg, units)} a week"


def _round_words(front: Front) -> str:
    round = _current(front)
    if round is None:
        return "which weeks one collection covers"
    return f"round {round.number}, {round.get_state_display()}"


def _sentence(front: Front, at: int, need: Any) -> tuple[str, str]:
    units = front.programme.units
    if not front.has_land:
        return (
            "Nothing is here yet. Begin with a garden and its plots.",
            "Bring the spreadsheet you have. Five minutes from now you see how many kilograms a week the "
            "programme needs.",
        )
    if need is not None:
        amount = figures.mass(need.mg, units)
        head = f"A week needs {amount} of blend" if need.even else f"A week needs up to {amount} of blend"
        if not need.mg:
            return (
                "No bed needs anything as things stand.",
                "Look at the feeding weeks, and at who holds the plots.",
            )
        if need.assumed_mg == need.mg:
            return f"{head}, all of it assumed.", _typical(need, units)
        if need.assumed_mg:
            return f"{head}, {figures.mass(need.assumed_mg, units)} of it assumed.", _typical(need, units)
        return f"{head}.", _typical(need, units)
    served, round = front.served, front.round
    assert round is not None and served is not None
    if at <= 5:
        return f"Round {round.number} is frozen. Choose the day and the place.", ""
    if at == 6:
        if not front.pails:
            return f"Round {round.number} is frozen for {served.portions} plots. Make its batch.", ""
        if not front.weighed:
            return f"Batch {round.batch.number} waits to be weighed." if round.batch else "", ""
        if not front.released:
            return f"Weighing has begun; none of {front.pails} pails is released yet.", ""
        return f"{front.released} of {front.pails} pails released; weigh the rest.", ""
    left = served.portions - served.came
    if not left:
        return f"Round {round.number} is handed out: {served.came} plots were served.", ""
    return f"{served.came} of {served.portions} plots are served; {left} to come.", ""


def _typical(need: Any, units: str) -> str:
    season = f"The season comes to {figures.mass(need.season_mg, units)}."
    if need.item.assumed:
        return f"Reckoned with a blend of 13.3 % nitrogen until you have your own. {season}"
    return f"Reckoned with {need.item.blend.name}. {season}"


def _next(front: Front, seat: Seat, at: int) -> tuple[str, str, str, tuple[tuple[str, str], ...]]:
    """The act's words and address, a note, and second choices; for stewards and auditors what they may do."""
    p = {"programme": seat.programme.pk}
    round = _current(front)
    day = round.mixing_day if round is not None else None
    if seat.organises:
        if not front.has_land:
            return (
                "Bring in plots from a sheet",
                link("bring_in", **p),
                "about 5 minutes",
                _there(("Type one garden by hand", link("garden_add", **p))),
            )
        if front.revision is None:
            return (
                "Write the blend",
                link("blends", **p),
                "about 10 minutes",
                _there(
                    ("Say what grows where", link("land", **p)),
                    ("Bring in another sheet", link("bring_in", **p)),
                ),
            )
        if round is None:
            return "Open a round", link("round_add", **p), "", _there(("Everybody’s week", link("week", **p)))
        page = link("round", **p, round=round.pk)
        if round.state == "open":
            return f"Look at round {round.number} and freeze it", page, "", ()
        if day is None:
            return "Choose the mixing day", link("round_change", **p, round=round.pk), "", ()
        if not front.pails:
            return f"Go to round {round.number} and make its batch", page, "", ()
    if day is not None and front.pails and seat.mixes:
        if front.released < front.pails:
            return "Go to the mixing day", link("day", **p, day=day.pk), "", ()
        served = front.served
        if day.is_open and served is not None and served.came < served.portions:
            return "Go to the desk", link("desk", **p, day=day.pk), "", ()
        if day.is_open:
            return "Count and close the day", link("day", **p, day=day.pk), "", ()
        if seat.organises and round is not None:
            return f"Close round {round.number}", link("round", **p, round=round.pk), "", ()
    if seat.reports and not seat.mixes:
        return "Look at the totals", link("totals", **p), "", ()
    return "See everybody’s week", link("week", **p), "", ()


def _there(*choices: tuple[str, str]) -> tuple[tuple[str, str], ...]:
    """Those whose page exists."""
    return tuple(choice for choice in choices if choice[1])
