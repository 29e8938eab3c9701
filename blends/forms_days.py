"""Forms of the mixing day: opening it, weighing, deciding, counting scoops."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from blends.forms import RowField, reading_unit
from blends.models import Blend, Component, Lot, Revision, Scale
from blends.wording import step_words
from gardens.figures import mass
from gardens.forms import WHICH, ActForm, DayField, KeyField, MassField, Reads
from gardens.models import Garden, Person, Programme


class DayForm(ActForm):
    garden = forms.ModelChoiceField(Garden.objects.none(), label="Where", empty_label=None)
    day = DayField(label="On which day", help_text="As in 4 July")
    starts_at = forms.TimeField(
        label="From",
        required=False,
        help_text="As in 10:00",
        widget=forms.TimeInput(format="%H:%M", attrs={"short": True, "inputmode": "numeric"}),
        input_formats=["%H:%M", "%H.%M", "%H", "%I %p", "%I:%M %p", "%I%p", "%I:%M%p"],
        error_messages={"invalid": "That is no time of day. Write 10:00."},
    )
    crew = forms.ModelMultipleChoiceField(
        Person.objects.none(),
        label="Who helps",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Two at least: one weighs, another witnesses the trace elements.",
    )

    def __init__(self, *args: Any, programme: Programme, helpers: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["garden"].queryset = Garden.objects.filter(programme=programme)  # type: ignore[attr-defined]
        self.fields["crew"].queryset = helpers  # type: ignore[attr-defined]


class CrewForm(ActForm):
    person = forms.ModelChoiceField(Person.objects.none(), label="Who helps", empty_label="Choose one")

    def __init__(self, *args: Any, helpers: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = helpers  # type: ignore[attr-defined]


class BatchForm(ActForm):
    revision = forms.ModelChoiceField(Revision.objects.none(), label="Blend", empty_label=None)
    mass = MassField(label="How much of it", positive=True, help_text="As in 12 kg, or 26 lb")

    def __init__(self, *args: Any, programme: Programme, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        newest = [r.pk for b in Blend.objects.filter(programme=programme) if (r := b.latest())]
        rows = (
            Revision.objects.filter(pk__in=newest)
            .select_related("blend")
            .order_by("-blend__is_default", "pk")
        )
        self.fields["revision"].queryset = rows  # type: ignore[attr-defined]


class ScoopsForm(ActForm):
    def __init__(self, *args: Any, programme: Programme, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["ten_scoops"] = field = MassField(
            label="Ten struck scoops together",
            positive=True,
            default_unit=reading_unit(programme),
            short=False,
            help_text="Fill, strike level with a knife, ten times; weigh all ten.",
            widget=forms.TextInput(attrs={"reading": True, "autofocus": True}),
        )
        if self.is_bound:
            self._ask_back("ten_scoops", field)


def lot_words(lot: Lot, units: str) -> str:
    """A bag as one sees it: its mark, what is in it, how much the book says is left."""
    left = getattr(lot, "in_store_mg", lot.mass_mg)
    book = f"{mass(left, units)} by the book" if left > 0 else "empty by the book"
    return f"{lot.code}: {lot.material.name}, {book}"


class WeighForm(ActForm):
    """One reading. The lot is chosen among all lots of the day and none is preselected."""

    key = KeyField()
    question_reason = forms.CharField(required=False, max_length=400, widget=forms.HiddenInput)
    part = forms.BooleanField(
        label="Only part of it",
        required=False,
        widget=forms.CheckboxInput(attrs={"note": "the rest follows from another bag"}),
    )

    def __init__(
        self,
        *args: Any,
        component: Component,
        programme: Programme,
        lots: Sequence[Lot],
        scales: Sequence[Scale],
        scale: Scale,
        hands: Sequence[Person],
        **kwargs: Any,
    ) -> None:
        units = programme.units
        kwargs.setdefault("initial", {})
        kwargs["initial"].setdefault("scale", scale.pk)
        super().__init__(*args, **kwargs)
        unit = reading_unit(programme)
        self.fields["lot"] = RowField(
            lots,
            words=lambda lot: lot_words(lot, units),
            label="The bag says",
            widget=forms.RadioSelect,
            error_messages={"required": "Read the mark on the bag and choose it here."},
        )
        reading = {"reading": True}
        self.fields["gross"] = MassField(
            label="Reading, with its vessel",
            default_unit=unit,
            positive=True,
            short=False,
            echo="",
            widget=forms.TextInput(attrs=reading),
        )
        self.fields["tare"] = MassField(
            label="The empty vessel",
            default_unit=unit,
            required=False,
            echo="",
            help_text="0 if the scale was zeroed with it",
            widget=forms.TextInput(attrs={"plain": True}),
        )
        self.fields["scale"] = RowField(scales, words=lambda row: scale_words(row, units), label="Scale")
        self.witnessed = component.material.is_trace or self._names_trace(lots)
        if self.witnessed:
            self.fields["witness"] = RowField(
                hands,
                empty="Nobody yet",
                label="Witness, a second person",
                required=False,
                widget=forms.Select(attrs={"plain": True}),
                help_text="Reads the bag, the scale and the figure for themselves.",
            )
            self.fields["alone"] = forms.BooleanField(
                label="I am alone",
                required=False,
                widget=forms.CheckboxInput(
                    attrs={
                        "note": "the pail is held until a second person has looked at bag, scale and reading"
                    }
                ),
            )
        self.order_fields(
            ["key", "lot", "scale", "gross", "tare", "part", "witness", "alone", "question_reason"]
        )
        self._ask_back_late("gross", "tare")

    def _ask_back_late(self, *names: str) -> None:
        """Boxes that were made after the form: a figure with two readings is asked back here too."""
        for name in names:
            if self.is_bound and isinstance(field := self.fields[name], Reads):
                self._ask_back(name, field)

    @property
    def boxes(self) -> list[forms.BoundField]:
        """The reading and its vessel, each with the choice between two readings where there is one."""
        return [field for field in self if field.name.split("_")[0] in ("gross", "tare")]

    def _names_trace(self, lots: Sequence[Lot]) -> bool:
        chosen = self.data.get(self.add_prefix("lot")) if self.is_bound else None
        return any(str(lot.pk) == chosen and lot.material.is_trace for lot in lots)

    def reading(self) -> dict[str, Any]:
        """The keywords of ``weigh_out``."""
        data = self.cleaned_data
        return {
            "lot": data["lot"],
            "scale": data["scale"],
            "gross_mg": data["gross"].milligrams,
            "tare_mg": data["tare"].milligrams if data.get("tare") else 0,
            "key": data["key"],
            "witness": data.get("witness"),
            "alone": bool(data.get("alone")) and not data.get("witness"),
            "part": data.get("part", False),
            "question_reason": data.get("question_reason", ""),
        }


class CorrectForm(WeighForm):
    """What was really read, and why the first entry was wrong."""

    reason = forms.CharField(
        label="What was wrong", max_length=400, help_text="Such as typed the gross of pail 2"
    )
    question_reason = forms.CharField(
        label="Why a doubtful figure stays", required=False, max_length=400, widget=forms.HiddenInput
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["part"]
        self.order_fields(
            ["key", "lot", "scale", "gross", "tare", "witness", "alone", "reason", "question_reason"]
        )
        for name in ("gross", "tare"):
            self.fields.pop(name + WHICH, None)
        self._ask_back_late("gross", "tare")

    def doubtful(self) -> None:
        """Show the box for why a doubtful figure stays."""
        self.fields["question_reason"].widget = forms.TextInput()


def scale_words(scale: Scale, units: str) -> str:
    """As people tell scales apart: name, step, largest load."""
    return f"{scale.name}, to {step_words(scale.division_mg, units)}, up to {mass(scale.max_mg, units)}"


class ReleaseForm(ActForm):
    """The organiser's word for a pail that lies outside."""

    reason = forms.CharField(label="Why it may be handed out as it is", max_length=400, required=False)


class HoldForm(ActForm):
    reason = forms.CharField(label="Why", max_length=400, required=False, help_text="Can be told later.")
