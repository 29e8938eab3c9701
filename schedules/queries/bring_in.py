"""What a sheet of plots would bring in: a verdict for every cell, questions where in doubt, and the plan.

Nothing is guessed: a text with two readings, a date with two orders, one name without the same contact are
asked. What is here already is recognised, so that the same sheet twice changes nothing.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

from django.db.models import Prefetch, Q

from gardens.actions.land import bed_size, plot_size, size_of_each
from gardens.clock import today
from gardens.days import AmbiguousDay, DayError, in_words, read_day
from gardens.models import Bed, Garden, Member, Person, Plot, Programme, Tenancy
from gardens.quantities import (
    AmbiguousQuantity,
    Measure,
    QuantityError,
    echo_measure,
    parse_area,
    parse_measure,
)
from gardens.refusals import Refused
from gardens.sheet import LONGEST_CELL, Column, SheetError, SheetRow, read_sheet
from schedules import crops
from schedules.actions.plantings import no_room, stand_of
from schedules.crops import Crop
from schedules.growing import Stand, in_the_way, stand
from schedules.queries.plans import season_of
from schedules.seasons import GardenSeason


class Verdict(StrEnum):
    GOOD = "good"
    SAME = "same"  # stands here already
    ASK = "ask"
    BAD = "bad"


@dataclass(frozen=True)
class Cell:
    column: Column
    text: str
    verdict: Verdict
    words: str = ""


@dataclass(frozen=True)
class Choice:
    value: str
    words: str


@dataclass(frozen=True)
class Question:
    """`answer` is one of the choices' values, or "" while it is open."""

    key: str
    words: str
    choices: tuple[Choice, ...]
    answer: str = ""


@dataclass(frozen=True)
class JudgedRow:
    number: int
    cells: tuple[Cell, ...]

    @property
    def bad(self) -> tuple[Cell, ...]:
        return tuple(cell for cell in self.cells if cell.verdict is Verdict.BAD)


@dataclass(eq=False)
class PlannedPerson:
    name: str
    contact: str
    row: int
    existing: Person | None = None
    made: bool = False  # `existing` was made by bringing the sheet in
    plots: list[str] = field(default_factory=list)

    @property
    def gets_contact(self) -> bool:
        return bool(self.existing and self.contact and not self.existing.contact)


@dataclass(frozen=True)
class PlannedCrop:
    name: str
    crop: Crop | None
    sown: bool
    day: dt.date


@dataclass(eq=False)
class PlannedBed:
    measure: Measure
    text: str
    existing: Bed | None = None
    crops: list[PlannedCrop] = field(default_factory=list)
    stands: list[Stand] = field(default_factory=list)


@dataclass(eq=False)
class PlannedPlot:
    garden: str
    label: str
    existing: Plot | None = None
    size_text: str = ""
    area_mm2: int | None = None  # only where it is news
    holders: list[PlannedPerson] = field(default_factory=list)  # only where nobody holds it yet
    beds: list[PlannedBed] = field(default_factory=list)


@dataclass(frozen=True)
class Counts:
    rows: int
    gardens: int
    plots: int
    persons: int
    beds: int
    plantings: int
    other: int  # sizes and contacts added, plots that get a holder

    @property
    def any(self) -> bool:
        return bool(self.gardens + self.plots + self.persons + self.beds + self.plantings + self.other)


@dataclass(frozen=True)
class Preview:
    """`rows` are all rows as judged; `plots` and `persons` come in, bad rows left out if so said."""

    columns: tuple[Column, ...]
    unused: tuple[str, ...]
    rows: tuple[JudgedRow, ...]
    questions: tuple[Question, ...]
    new_gardens: tuple[str, ...]
    plots: tuple[PlannedPlot, ...]
    persons: tuple[PlannedPerson, ...]
    counts: Counts
    leaves_out: bool

    @property
    def bad(self) -> tuple[tuple[JudgedRow, Cell], ...]:
        return tuple((row, cell) for row in self.rows for cell in row.bad)

    @property
    def bad_rows(self) -> int:
        return sum(1 for row in self.rows if row.bad)

    @property
    def open_questions(self) -> tuple[Question, ...]:
        return tuple(question for question in self.questions if not question.answer)

    @property
    def ready(self) -> bool:
        """All cells good (or their rows left out), all questions answered, and something new."""
        return (self.leaves_out or not self.bad) and not self.open_questions and self.counts.any


def preview(
    *, programme: Programme, text: str, answers: Mapping[str, str] | None = None, day: dt.date | None = None
) -> Preview:
    """Judge a sheet. `answers` are values by question key; `leave_out` = "yes" drops bad rows."""
    try:
        sheet = read_sheet(text)
    except SheetError as error:
        raise Refused(error.code, error.message, "sheet") from error
    answers = answers or {}
    day = day or today(programme)
    known = _load(programme, day)
    judge = _Judge(known, sheet.rows, sheet.columns, answers, day)
    judged = judge
    leaves_out = answers.get("leave_out") == "yes"
    while leaves_out and judge.bad_rows:
        kept = [row for row in judge.rows if row.number not in judge.bad_rows]
        judge = _Judge(known, kept, sheet.columns, answers, day)
    return Preview(
        columns=sheet.columns,
        unused=sheet.unused,
        rows=tuple(judged.judged()),
        questions=tuple(judge.questions.values()),
        new_gardens=tuple(judge.new_gardens.values()),
        plots=tuple(judge.plots.values()),
        persons=tuple(judge.persons),
        counts=judge.counts(),
        leaves_out=leaves_out,
    )


# What is here -----------------------------------------------------------------------------------------------


@dataclass
class _Known:
    gardens: dict[str, Garden]
    plots: dict[tuple[str, str], Plot]
    persons: dict[str, list[Person]]
    held: dict[int, Tenancy]  # by plot: what runs today or later
    holds: dict[int, list[str]]  # by person: plots, for words


def _load(programme: Programme, day: dt.date) -> _Known:
    gardens = {fold(g.name): g for g in Garden.objects.filter(programme=programme)}
    beds = Prefetch("beds", Bed.objects.filter(until_day=None).prefetch_related("plantings").order_by("id"))
    plots = Plot.objects.filter(programme=programme).select_related("garden").prefetch_related(beds)
    persons: dict[str, list[Person]] = {}
    for person in Person.objects.filter(programme=programme, erased_at=None).order_by("id"):
        persons.setdefault(fold(person.name), []).append(person)
    members = Prefetch(
        "household__members", Member.objects.filter(until_day=None).select_related("person").order_by("id")
    )
    held: dict[int, Tenancy] = {}
    holds: dict[int, list[str]] = {}
    running = Q(until_day=None) | Q(until_day__gt=day)
    tenancies = Tenancy.objects.filter(running, programme=programme).select_related("plot", "household")
    for tenancy in tenancies.prefetch_related(members):
        held.setdefault(tenancy.plot_id, tenancy)
        for member in tenancy.household.members.all():
            holds.setdefault(member.person_id, []).append(tenancy.plot.label)
    return _Known(gardens, {(fold(p.garden.name), fold(p.label)): p for p in plots}, persons, held, holds)


def fold(text: str) -> str:
    """One spelling for comparing names: case and spaces do not matter."""
    return " ".join(text.casefold().split())


# Judging ----------------------------------------------------------------------------------------------------

_SOWN = {"sown", "sow", "seed", "seeds", "seeded", "direct", "direct sown", "sown in place", "s", "from seed"}
_TRANSPLANTED = {
    "transplanted", "transplant", "transplants", "planted", "planted out", "plant", "plants", "seedling",
    "seedlings", "plug", "plugs", "start", "starts", "t", "p", "set", "sets",
}  # fmt: skip


@dataclass
class _Read:
    """A row with what its cells mean."""

    number: int
    garden: str = ""
    label: str = ""
    size: Measure | None = None
    bed: Measure | None = None
    crop: PlannedCrop | None = None


class _Judge:
    """Goes through the rows once, cell by cell, and keeps what they come to."""

    def __init__(
        self,
        known: _Known,
        rows: Sequence[SheetRow],
        columns: Sequence[Column],
        answers: Mapping[str, str],
        day: dt.date,
    ) -> None:
        self.known, self.rows, self.columns, self.answers, self.day = known, rows, columns, answers, day
        self.cells: dict[int, dict[Column, Cell]] = {}
        self.extra: dict[int, Cell] = {}
        self.questions: dict[str, Question] = {}
        self.new_gardens: dict[str, str] = {}  # folded name: name as written
        self.plots: dict[tuple[str, str], PlannedPlot] = {}
        self.persons: list[PlannedPerson] = []
        self.named: dict[str, list[PlannedPerson]] = {}
        self.read: list[_Read] = [self._read(row) for row in rows]
        self._used: set[int] = set()  # existing beds that a row stands for
        for row, read in zip(rows, self.read, strict=True):
            if read.label and not self._is_bad(row, Column.GARDEN):
                self._place(row, read)

    # verdicts

    def mark(self, row: SheetRow, column: Column, verdict: Verdict, words: str = "") -> None:
        """The last word on a cell; bad stays bad."""
        cells = self.cells.setdefault(row.number, {})
        if column not in cells or cells[column].verdict is not Verdict.BAD:
            cells[column] = Cell(column, row.cells.get(column, ""), verdict, words)

    def _is_bad(self, row: SheetRow, column: Column) -> bool:
        cell = self.cells.get(row.number, {}).get(column)
        return cell is not None and cell.verdict is Verdict.BAD

    def ask(self, kind: str, about: str, words: str, choices: Iterable[tuple[str, str]]) -> str:
        """The answer, or "" while it is open. One question for all cells that raise the same doubt."""
        key = "q" + hashlib.sha256(f"{kind}|{about}".encode()).hexdigest()[:12]
        offered = tuple(Choice(value, said) for value, said in choices)
        answer = self.answers.get(key, "")
        if answer not in {choice.value for choice in offered}:
            answer = ""
        self.questions.setdefault(key, Question(key, words, offered, answer))
        return answer

    @property
    def bad_rows(self) -> set[int]:
        return {
            number
            for number, cells in self.cells.items()
            if any(cell.verdict is Verdict.BAD for cell in cells.values())
        }

    def judged(self) -> Iterable[JudgedRow]:
        for row in self.rows:
            cells = self.cells.get(row.number, {})
            yield JudgedRow(row.number, tuple(cells[column] for column in Column if column in cells))

    # one row by itself

    def _read(self, row: SheetRow) -> _Read:
        read = _Read(row.number)
        self._garden(row, read)
        self._label(row, read)
        read.size = self._measure(row, Column.SIZE)
        read.bed = self._measure(row, Column.BED)
        self._crop(row, read)
        holder, contact = row.cells.get(Column.HOLDER, ""), row.cells.get(Column.CONTACT, "")
        if holder:
            long = len(holder) > 160
            self.mark(
                row, Column.HOLDER, Verdict.BAD if long else Verdict.GOOD, "Too long for a name." * long
            )
        if contact:
            self.mark(row, Column.CONTACT, Verdict.GOOD)
            if not holder:
                self.mark(row, Column.CONTACT, Verdict.BAD, "Whose contact is this? The holder is empty.")
        for column, text in row.cells.items():
            if len(text) > LONGEST_CELL:
                self.mark(row, column, Verdict.BAD, "Too long. Is a quotation mark left open?")
        if row.extra:
            words = (
                f"This row has more cells than the head: “{row.extra[0][:40]}”. Is there a comma in a cell?"
            )
            self.mark(row, Column.PLOT, Verdict.BAD, words)
        return read

    def _garden(self, row: SheetRow, read: _Read) -> None:
        name = row.cells.get(Column.GARDEN, "")
        if not name and Column.GARDEN not in self.columns and len(self.known.gardens) == 1:
            name = next(iter(self.known.gardens.values())).name
            self.cells.setdefault(row.number, {})[Column.GARDEN] = Cell(
                Column.GARDEN, name, Verdict.SAME, "the only garden"
            )
            read.garden = name
            return
        if not name:
            self.mark(row, Column.GARDEN, Verdict.BAD, "Which garden?")
        elif len(name) > 120:
            self.mark(row, Column.GARDEN, Verdict.BAD, "Too long for a name.")
        elif garden := self.known.gardens.get(fold(name)):
            read.garden = garden.name
            self.mark(row, Column.GARDEN, Verdict.SAME)
        else:
            read.garden = self.new_gardens.setdefault(fold(name), name)
            self.mark(row, Column.GARDEN, Verdict.GOOD, "new garden")

    def _label(self, row: SheetRow, read: _Read) -> None:
        label = row.cells.get(Column.PLOT, "")
        if not label:
            self.mark(row, Column.PLOT, Verdict.BAD, "Which plot? Write its number in every row.")
        elif len(label) > 40:
            self.mark(row, Column.PLOT, Verdict.BAD, "Too long for a plot's number.")
        else:
            read.label = label
            self.mark(row, Column.PLOT, Verdict.GOOD)

    def _measure(self, row: SheetRow, column: Column) -> Measure | None:
        text = row.cells.get(column, "")
        if not text:
            return None
        parse = parse_area if column is Column.SIZE else parse_measure
        try:
            parse(text)
        except AmbiguousQuantity as error:
            choices = [(said, f"{said}: {echo_measure(parse(said))}") for said in error.readings]
            text = self.ask("size", text, f"What does “{text}” mean?", choices)
            if not text:
                self.mark(row, column, Verdict.ASK, "Two readings; see the question.")
                return None
        except QuantityError:
            pass
        try:
            size = plot_size(text) if column is Column.SIZE else bed_size(text)
        except Refused as refusal:
            self.mark(row, column, Verdict.BAD, refusal.message)
            return None
        if size is not None:
            row.cells[column] = text
            self.mark(row, column, Verdict.GOOD, echo_measure(size))
        return size

    def _crop(self, row: SheetRow, read: _Read) -> None:
        name = row.cells.get(Column.CROP, "")
        garden = self.known.gardens.get(fold(read.garden))
        day, sown = self._day(row, garden.first_feed if garden else self.day), self._sown(row)
        if not name:
            for column in (Column.DAY, Column.HOW):
                if row.cells.get(column):
                    self.mark(row, column, Verdict.BAD, "Of which crop? The crop is empty.")
            return
        if len(name) > 80:
            self.mark(row, Column.CROP, Verdict.BAD, "Too long for a crop's name.")
            return
        crop = crops.find(name)
        kind = f"{crop.name}, {crop.needs.value}" if crop else "not in the catalogue: kept, fed as medium"
        self.mark(row, Column.CROP, Verdict.GOOD, kind)
        if not row.cells.get(Column.DAY):
            self.mark(
                row, Column.DAY, Verdict.BAD, "When was it planted? Without a day, leave the crop empty too."
            )
        if day is not None and sown is not None:
            read.crop = PlannedCrop(name, crop, sown, day)

    def _day(self, row: SheetRow, near: dt.date) -> dt.date | None:
        """Without a year: the one closest to the garden's season."""
        text = row.cells.get(Column.DAY, "")
        if not text:
            return None
        try:
            day = read_day(text, near=near)
        except AmbiguousDay as error:
            first, second = (in_words(d) for d in error.readings)
            choices = [
                ("day_first", f"{first}: the day comes first"),
                ("month_first", f"{second}: the month comes first"),
            ]
            order = self.ask(
                "days", "", f"Which day is “{text}”? It settles the sheet's other days too.", choices
            )
            if not order:
                self.mark(row, Column.DAY, Verdict.ASK, "Two readings; see the question.")
                return None
            day = read_day(text, near=near, day_first=order == "day_first")
        except DayError as error:
            self.mark(row, Column.DAY, Verdict.BAD, error.message)
            return None
        if day > self.day + dt.timedelta(days=730):
            self.mark(row, Column.DAY, Verdict.BAD, f"{in_words(day)} is too far away. Look at the year.")
            return None
        self.mark(row, Column.DAY, Verdict.GOOD, in_words(day))
        return day

    def _sown(self, row: SheetRow) -> bool | None:
        text = fold(row.cells.get(Column.HOW, ""))
        if text in _SOWN:
            self.mark(row, Column.HOW, Verdict.GOOD, "sown in place")
            return True
        if text in _TRANSPLANTED:
            self.mark(row, Column.HOW, Verdict.GOOD, "transplanted")
            return False
        if text:
            self.mark(
                row,
                Column.HOW,
                Verdict.BAD,
                f"“{text[:40]}” is not known here. As in “sown” or “transplanted”.",
            )
            return None
        if row.cells.get(Column.CROP):
            words = "Sown in place, or transplanted?"
            choices = [("sown", "All of them sown in place"), ("transplanted", "All of them transplanted")]
            answer = self.ask(
                "how", "", "Some crops do not say whether they were sown or transplanted.", choices
            )
            if answer:
                self.mark(row, Column.HOW, Verdict.GOOD, answer)
                return answer == "sown"
            self.mark(row, Column.HOW, Verdict.ASK, words)
        return None

    # rows together

    def _place(self, row: SheetRow, read: _Read) -> None:
        key = (fold(read.garden), fold(read.label))
        plot = self.plots.get(key)
        if plot is None:
            existing = self.known.plots.get(key)
            plot = self.plots[key] = PlannedPlot(read.garden, read.label, existing)
        if plot.existing:
            self.mark(row, Column.PLOT, Verdict.SAME)
            if plot.existing.until_day:
                self.mark(
                    row, Column.PLOT, Verdict.BAD, f"This plot ended on {in_words(plot.existing.until_day)}."
                )
        self._size(row, read, plot)
        self._holder(row, read, plot)
        beds = self._beds(row, read, plot)
        self._plantings(row, read, plot, beds)

    def _size(self, row: SheetRow, read: _Read, plot: PlannedPlot) -> None:
        if read.size is None:
            return
        here = plot.existing.area_mm2 if plot.existing else None
        stands = plot.area_mm2 or here
        if stands and stands != read.size.area_mm2:
            said = plot.size_text or (plot.existing.size_text if plot.existing else "")
            where = "here" if stands == here else "further up"
            self.mark(row, Column.SIZE, Verdict.BAD, f"The plot stands {where} with {said}.")
        elif here:
            self.mark(row, Column.SIZE, Verdict.SAME)
        else:
            plot.size_text, plot.area_mm2 = row.cells[Column.SIZE], read.size.area_mm2

    # who

    def _holder(self, row: SheetRow, read: _Read, plot: PlannedPlot) -> None:
        name, contact = row.cells.get(Column.HOLDER, ""), row.cells.get(Column.CONTACT, "")
        if not name or self._is_bad(row, Column.HOLDER):
            return
        tenancy = self.known.held.get(plot.existing.pk) if plot.existing else None
        if tenancy:
            self._already_held(row, tenancy, name, contact)
            return
        again = [p for p in plot.holders if fold(p.name) == fold(name)]
        person = next(
            (p for p in again if not contact or not p.contact or fold(p.contact) == fold(contact)), None
        )
        if person is not None:
            person.contact = person.contact or contact
            return
        person = self._person(row, name, contact, f"{plot.garden} {plot.label}")
        if person is not None:
            person.plots.append(plot.label)
            plot.holders.append(person)

    def _already_held(self, row: SheetRow, tenancy: Tenancy, name: str, contact: str) -> None:
        members = [m.person for m in tenancy.household.members.all()]
        same = [p for p in members if fold(p.name) == fold(name)]
        if any(not contact or fold(p.contact) == fold(contact) for p in same):
            self.mark(row, Column.HOLDER, Verdict.SAME)
            if contact:
                self.mark(row, Column.CONTACT, Verdict.SAME)
        elif same and not same[0].contact:
            person = self._person(row, name, contact, "", only=same)
            if person is not None and person.existing is None:
                self.mark(row, Column.HOLDER, Verdict.BAD, self._pass_on(tenancy))
        elif same:
            words = f"{name} is here with another contact, {same[0].contact}. Change it at their page."
            self.mark(row, Column.CONTACT, Verdict.BAD, words)
        else:
            self.mark(row, Column.HOLDER, Verdict.BAD, self._pass_on(tenancy))

    def _pass_on(self, tenancy: Tenancy) -> str:
        return f"The plot is held by {tenancy.household.name}. Pass it on at its page, or leave this empty."

    def _person(
        self, row: SheetRow, name: str, contact: str, place: str, only: Sequence[Person] | None = None
    ) -> PlannedPerson | None:
        """The person meant, new or known; None while that is asked."""
        here = list(only) if only is not None else self.known.persons.get(fold(name), [])
        before = self.named.get(fold(name), [])
        if contact:
            for planned in before:
                if fold(planned.contact) == fold(contact):
                    return planned
            for person in here:
                if fold(person.contact) == fold(contact):
                    return self._planned(name, contact, row, person)
        choices = [(f"row-{p.row}", f"The same as in row {p.row}{_at(p.plots)}") for p in before]
        taken = {p.existing.pk for p in before if p.existing}
        choices += [(f"person-{p.pk}", self._who(p)) for p in here if p.pk not in taken]
        if not choices:
            return self._planned(name, contact, row, None)
        return self._asked(row, name, contact, place, choices)

    def _asked(
        self, row: SheetRow, name: str, contact: str, place: str, choices: list[tuple[str, str]]
    ) -> PlannedPerson | None:
        with_contact = f" ({contact})" if contact else ", without a contact"
        words = f"Row {row.number}: {name}{with_contact}. The same person, or another?"
        choices = [*choices, ("another", "Another person of the same name")]
        answer = self.ask("person", f"{fold(name)}|{fold(contact)}|{fold(place)}", words, choices)
        if not answer:
            self.mark(row, Column.HOLDER, Verdict.ASK, "The same person, or another? See the question.")
            return None
        if answer == "another":
            return self._planned(name, contact, row, None)
        kind, _, number = answer.partition("-")
        if kind == "row":
            planned = next(p for p in self.named[fold(name)] if p.row == int(number))
            planned.contact = planned.contact or contact
            return planned
        person = next(p for p in self.known.persons[fold(name)] if p.pk == int(number))
        return self._planned(name, contact, row, person)

    def _planned(self, name: str, contact: str, row: SheetRow, existing: Person | None) -> PlannedPerson:
        before = self.named.setdefault(fold(name), [])
        found = next((p for p in before if existing is not None and p.existing == existing), None)
        if found is not None:
            found.contact = found.contact or contact
            return found
        planned = PlannedPerson(name, contact, row.number, existing)
        self.persons.append(planned)
        before.append(planned)
        return planned

    def _who(self, person: Person) -> str:
        contact = f", {person.contact}" if person.contact else ", no contact"
        return f"The same as {person.name}{contact}{_at(self.known.holds.get(person.pk, []))}"

    # beds and what grows

    def _beds(self, row: SheetRow, read: _Read, plot: PlannedPlot) -> list[PlannedBed]:
        """The beds that the row means: its own measures, else the bed above, else the plot's only one."""
        if read.bed is None:
            if row.cells.get(Column.BED):
                return []
            if plot.beds:
                return plot.beds[-1:]
            standing = list(plot.existing.beds.all()) if plot.existing else []
            if len(standing) == 1 and read.crop:
                return [self._existing(plot, standing[0])]
            return []
        pots = read.bed.shape == "pot"
        one = read.bed if pots else replace(read.bed, count=1)
        text = size_of_each(read.bed, row.cells[Column.BED])
        beds = [self._bed(one, text, plot, read.crop) for _ in range(1 if pots else read.bed.count)]
        if all(bed.existing for bed in beds):
            self.mark(row, Column.BED, Verdict.SAME, echo_measure(read.bed))
        return beds

    def _bed(self, one: Measure, text: str, plot: PlannedPlot, crop: PlannedCrop | None) -> PlannedBed:
        """A bed of this measure here that no row has used, best with this crop on it; else a new one."""
        free = [
            bed
            for bed in (plot.existing.beds.all() if plot.existing else ())
            if bed.pk not in self._used and _is_of(bed, one)
        ]
        fits = [bed for bed in free if crop and _grows(bed, crop)]
        if free:
            return self._existing(plot, (fits or free)[0])
        bed = PlannedBed(one, text)
        plot.beds.append(bed)
        return bed

    def _existing(self, plot: PlannedPlot, bed: Bed) -> PlannedBed:
        self._used.add(bed.pk)
        season = season_of(plot.existing.garden) if plot.existing else None
        stands = [stand_of(p, season) for p in bed.plantings.all()] if season else []
        measure = Measure("area", 1, bed.area_mm2, None, None)
        planned = PlannedBed(measure, bed.size_text, bed, stands=stands)
        plot.beds.append(planned)
        return planned

    def _plantings(self, row: SheetRow, read: _Read, plot: PlannedPlot, beds: list[PlannedBed]) -> None:
        if read.crop is None:
            return
        if not beds:
            if not row.cells.get(Column.BED):
                self.mark(row, Column.BED, Verdict.BAD, "On which bed? Write its measures. As in “4 x 8 ft”.")
            return
        garden = self.known.gardens.get(fold(plot.garden))
        for bed in beds:
            if bed.existing and _grows(bed.existing, read.crop):
                self.mark(row, Column.CROP, Verdict.SAME)
                continue
            new = stand(
                read.crop.crop,
                sown=read.crop.sown,
                day=read.crop.day,
                season=season_of(garden) if garden else _any_season(read.crop.day),
                name=read.crop.name,
            )
            if full := in_the_way(new, bed.stands):
                self.mark(row, Column.CROP, Verdict.BAD, no_room(full))
                continue
            bed.stands.append(new)
            bed.crops.append(read.crop)

    # sums

    def counts(self) -> Counts:
        plots = list(self.plots.values())
        beds = [bed for plot in plots for bed in plot.beds]
        used = {fold(plot.garden) for plot in plots}
        return Counts(
            rows=len(self.rows),
            gardens=len(used & self.new_gardens.keys()),
            plots=sum(1 for plot in plots if plot.existing is None),
            persons=sum(1 for person in self.persons if person.existing is None),
            beds=sum(1 for bed in beds if bed.existing is None),
            plantings=sum(len(bed.crops) for bed in beds),
            other=sum(1 for p in plots if p.existing and (p.area_mm2 or p.holders))
            + sum(1 for person in self.persons if person.gets_contact),
        )


def _at(plots: Sequence[str]) -> str:
    if not plots:
        return ""
    return f", plot{'s' if len(plots) > 1 else ''} {', '.join(plots)}"


def _is_of(bed: Bed, one: Measure) -> bool:
    pots = one.shape == "pot"
    return (bed.shape, bed.a_mm, bed.b_mm, bed.area_mm2, bed.count) == (
        one.shape, one.a_mm, one.b_mm, one.total_mm2 if pots else one.area_mm2, one.count if pots else 1,
    )  # fmt: skip


def _grows(bed: Bed, crop: PlannedCrop) -> bool:
    code = crop.crop.code if crop.crop else ""
    return any(
        p.day == crop.day
        and p.sown == crop.sown
        and p.crop_code == code
        and (code or fold(p.crop_name) == fold(crop.name))
        for p in bed.plantings.all()
    )


def _any_season(day: dt.date) -> GardenSeason:
    """For a garden whose year is not told yet: only an unknown crop's end hangs on it."""
    return GardenSeason(None, None, dt.date(day.year, 1, 1), dt.date(day.year, 12, 31))
