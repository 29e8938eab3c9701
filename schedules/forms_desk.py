"""Forms of the desk and of what is settled afterwards."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from blends.models import Place
from gardens import figures
from gardens.forms import ActForm, DayField, KeyField, MassField
from gardens.models import Household, Person, Programme
from schedules.models import Collection
from schedules.queries.desk import PailChoice, PortionState, find_persons

OTHER = "other"


def scale_unit(programme: Programme) -> str:
    """What a bare number on the desk scale means."""
    return "oz" if programme.units == "us" else "g"


def reading_field(programme: Programme, label: str, **kwargs: Any) -> MassField:
    field = MassField(
        label=label,
        default_unit=scale_unit(programme),
        echo="",
        short=False,
        positive=True,
        max_length=40,
        error_messages={"required": "Type what the scale shows, as in “155”."},
        **kwargs,
    )
    field.widget.attrs |= {"reading": True}
    return field


def _in_unit(mass_mg: int, programme: Programme) -> str:
    return figures.mass(mass_mg, unit=scale_unit(programme)).value


def _pail_choices(pails: Sequence[PailChoice]) -> list[tuple[str, str]]:
    return [(str(p.pail.pk), p.words) for p in pails]


class DeskForm(ActForm):
    """What is typed at the desk. ``live`` is the address that says what is due while one types."""

    key = KeyField()
    question_reason = forms.CharField(required=False, max_length=300, label="Why that is right")

    def __init__(
        self,
        *args: Any,
        state: PortionState,
        told: bool = False,
        someone: bool = False,
        live: str = "",
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        programme = state.portion.programme
        self.state, self.told, self.zone = state, told, ZoneInfo(programme.zone)
        self.fields["home"] = MassField(
            label="Still at home, same blend?",
            required=False,
            default_unit=scale_unit(programme),
            echo="",
            max_length=40,
            initial=_in_unit(state.home_mg, programme) if state.home_mg else None,
        )
        words = "What was handed over, without the tub" if told else "Reading, without the tub"
        self.fields["reading"] = reading_field(programme, words)
        if told:
            self.fields["when"] = forms.DateTimeField(
                label="When",
                initial=timezone.now().astimezone(self.zone).replace(tzinfo=None, second=0, microsecond=0),
                widget=forms.DateTimeInput(
                    attrs={"type": "datetime-local", "short": True}, format="%Y-%m-%dT%H:%M"
                ),
                input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"],
                error_messages={
                    "invalid": "Write day and time as in “2026-07-04T10:42”.",
                    "required": "Say when it was, as in “2026-07-04T10:42”.",
                },
            )
        self._ask_who(someone)
        pails = state.pails_told if told else state.pails
        self.fields["pail"] = forms.ChoiceField(label="Out of", choices=_pail_choices(pails), required=False)
        self.fields["pail"].widget.attrs["form"] = "desk"  # it stands below the act
        if len(pails) < 2:
            self.fields["pail"].widget = forms.HiddenInput()
        self.fields["pail"].initial = str(pails[0].pail.pk) if pails else ""
        if live:
            for name in ("home", "reading"):
                self.fields[name].widget.attrs |= {
                    "hx-get": live,
                    "hx-trigger": "input changed delay:200ms",
                    "hx-include": "[name=home],[name=reading],[name=collector]",
                    "hx-target": "#understood",
                    "hx-sync": "closest form:queue last",
                }
        self.fields["reading"].widget.attrs["autofocus"] = True
        self.order_fields(["key", "home", "reading", "when", "collector", "other", "consent", "pail"])
        self.ask_back()

    def _ask_who(self, someone: bool) -> None:
        members = self.state.members
        choices = [(str(p.pk), p.name) for p in members]
        if someone or not members:
            choices.append((OTHER, "Somebody else of the programme"))
        self.fields["collector"] = forms.ChoiceField(
            label="Who collects", choices=choices, widget=forms.RadioSelect
        )
        self.fields["collector"].initial = choices[0][0]
        if not someone and members:
            self.fields["collector"].widget = forms.HiddenInput()
            return
        self.fields["other"] = forms.CharField(
            label="Their name", required=False, max_length=160, help_text="or name and plot, as in “Jan 23”"
        )
        self.fields["consent"] = forms.CharField(
            label="Who of the household agreed, and where that stands",
            required=False,
            max_length=200,
            help_text="as in “Odile's letter of 1 May, in the folder”",
        )

    def clean_when(self) -> dt.datetime | None:
        when = self.cleaned_data["when"]
        return when.replace(tzinfo=self.zone) if when else None

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("collector") == OTHER and "other" not in self.errors:
            data["collected_by"] = self._neighbour(data.get("other") or "")
        elif data.get("collector"):
            data["collected_by"] = next(p for p in self.state.members if str(p.pk) == data["collector"])
        pails = {str(p.pail.pk): p.pail for p in [*self.state.pails_told, *self.state.pails]}
        data["pail"] = pails.get(data.get("pail") or "")
        if data["pail"] is None and "pail" not in self.errors:
            self.add_error(
                "pail" if "pail" in self.fields else None, "There is no released pail of this blend."
            )
        return data

    def _neighbour(self, text: str) -> Person | None:
        found = find_persons(self.state.portion.programme, text)
        if len(found) == 1:
            return found[0][0]
        if not text.strip():
            self.add_error("other", "Type the name of who collects.")
        elif not found:
            self.add_error("other", f"Nobody here is called “{text}”. Part of the name is enough.")
        else:
            named = ", ".join(
                f"{p.name} (plot {', '.join(plots)})" if plots else p.name for p, plots in found[:6]
            )
            self.add_error(
                "other", f"{len(found)} persons fit: {named}. Add the plot, as in “{found[0][0].name} 23”."
            )
        return None

    @property
    def home_mg(self) -> int:
        home = self.cleaned_data.get("home")
        return int(home.milligrams) if home else 0


class CorrectForm(ActForm):
    """What really happened in place of a ticket; or, ``act`` = reverse, that it did not happen."""

    key = KeyField()
    reason = forms.CharField(
        label="What was wrong", max_length=400, error_messages={"required": "Say why, in a few words."}
    )

    def __init__(
        self, *args: Any, collection: Collection, state: PortionState, reversing: bool = False, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        programme = state.portion.programme
        self.members = {str(p.pk): p for p in [*state.members, collection.collected_by]}
        self.pails = {str(p.pail.pk): p.pail for p in state.pails_told} | {
            str(collection.pail_id): collection.pail
        }
        self.fields["reading"] = reading_field(programme, "What the scale really showed")
        self.fields["with_tub"] = forms.BooleanField(label="The tub stood on the scale", required=False)
        self.fields["home"] = MassField(
            label="Was at home, same blend",
            required=False,
            default_unit=scale_unit(programme),
            echo="",
            max_length=40,
        )
        self.fields["collector"] = forms.ChoiceField(
            label="Who collected",
            choices=[(pk, p.name) for pk, p in self.members.items()],
            widget=forms.RadioSelect,
        )
        self.fields["pail"] = forms.ChoiceField(
            label="Out of",
            choices=[(pk, f"batch {p.batch.number}, pail {p.number}") for pk, p in self.pails.items()],
        )
        self.initial = {
            "reading": _in_unit(collection.reading_mg, programme),
            "with_tub": collection.tare_mg > 0,
            "home": _in_unit(collection.home_mg, programme) if collection.home_mg else "",
            "collector": str(collection.collected_by_id),
            "pail": str(collection.pail_id),
        }
        if reversing:
            for name in ("reading", "collector", "pail"):
                self.fields[name].required = False
        self.order_fields(["key", "reading", "with_tub", "home", "collector", "pail", "reason"])
        self.ask_back()


class TakeBackForm(ActForm):
    key = KeyField()
    reason = forms.CharField(
        label="Why it comes back",
        max_length=400,
        help_text="as in “got wet”, “moves away”",
        error_messages={"required": "Say why it comes back, in a few words."},
    )

    def __init__(self, *args: Any, programme: Programme, tubs: Sequence[Place], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.batches = {str(t.batch_id): t.batch for t in tubs if t.batch}
        self.fields["reading"] = reading_field(programme, "What comes back, without the tub")
        self.fields["batch"] = forms.ChoiceField(
            label="Out of the tub of", choices=[(pk, str(batch)) for pk, batch in self.batches.items()]
        )
        if len(self.batches) < 2:
            self.fields["batch"].widget = forms.HiddenInput()
        self.fields["batch"].initial = next(iter(self.batches), "")
        self.order_fields(["key", "reading", "batch", "reason"])
        self.ask_back()


class HandOverForm(TakeBackForm):
    def __init__(self, *args: Any, takers: Sequence[Household], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reading"].label = "What is in the tub, without the tub"
        self.fields["reason"].label = "Said by"
        self.fields["reason"].help_text = "who says so; may stay empty"
        self.fields["reason"].required = False
        self.takers = {str(h.pk): h for h in takers}
        self.fields["taker"] = forms.ChoiceField(
            label="Who takes the plot over",
            choices=[(pk, h.name) for pk, h in self.takers.items()],
            widget=forms.RadioSelect,
        )
        self.order_fields(["key", "reading", "batch", "taker", "reason"])


class SettleForm(forms.Form):
    reason = forms.CharField(
        label="What is known about it",
        max_length=400,
        error_messages={"required": "Say what is known about it, in a few words."},
    )


class ReverseForm(forms.Form):
    key = KeyField()
    reason = forms.CharField(
        label="Why it is taken back", max_length=400, error_messages={"required": "Say why, in a few words."}
    )


class SpanForm(ActForm):
    """From and to, both days included; empty: from the first ticket, until today."""

    first = DayField(label="From", required=False, echo="")
    last = DayField(label="To", required=False, echo="")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("first") and data.get("last") and data["last"] < data["first"]:
            raise ValidationError("The last day comes before the first.")
        return data
