"""Forms on plantings, and on bringing in a sheet."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from gardens.forms import CHOOSE, ActForm, DayField
from gardens.forms_land import SeasonForm
from gardens.models import Garden
from gardens.sheet import MOST_BYTES, SheetError, decode
from schedules.actions.bring_in import Season

HOW = [("transplanted", _("Transplanted, as a young plant")), ("sown", _("Sown in place"))]
OWN_YEAR = "own"


class PlantingForm(ActForm):
    crop = forms.CharField(
        label=_("Crop"), max_length=80,
        help_text=_("In your words. What the list does not know is kept, and fed as a medium feeder."),
        widget=forms.TextInput(attrs={"echo": "crop", "autocomplete": "off"}),
    )  # fmt: skip
    how = forms.ChoiceField(label=_("How it came here"), choices=HOW, widget=forms.RadioSelect)
    day = DayField(label=_("Sown or transplanted on"), help_text=_("As in 11 May."))
    ends_on = DayField(
        label=_("Expected end"), required=False,
        help_text=_("Last harvest, cut or lifting. Empty: the usual number of days."),
    )  # fmt: skip
    share = forms.IntegerField(
        label=_("How much of the bed"), min_value=1, max_value=100, initial=100,
        widget=forms.NumberInput(attrs={"unit": "%", "short": True}),
    )  # fmt: skip
    feed_on_request = forms.BooleanField(
        label=_("Peas and beans: give the one feed they may ask for"), required=False,
        widget=forms.CheckboxInput(attrs={"note": _("they make their own nitrogen, and get none otherwise")}),
    )  # fmt: skip


class PlantingChangeForm(ActForm):
    ends_on = PlantingForm.base_fields["ends_on"]
    feed_on_request = PlantingForm.base_fields["feed_on_request"]


class SheetForm(forms.Form):
    """A paste, or a file whose text takes its place."""

    sheet = forms.CharField(
        label=_("Paste the sheet here, with its head"), strip=False,
        error_messages={"required": _("Nothing is here yet: paste the sheet, or choose a file.")},
        widget=forms.Textarea(attrs={"rows": 10, "class": "sheet", "spellcheck": "false"}),
    )  # fmt: skip
    file = forms.FileField(
        label=_("Or choose a CSV file"),
        required=False,
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv"}),
    )
    remark = ""
    use_required_attribute = False  # a file does as well

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        upload = cleaned.get("file")
        if upload is not None:
            self.errors.pop("sheet", None)
            try:
                if upload.size > MOST_BYTES:
                    raise SheetError(
                        "too_large", "This file is larger than 2 MB. Bring in a part of it at a time."
                    )
                cleaned["sheet"], self.remark = decode(upload.read())
            except SheetError as error:
                self.add_error("file", error.message)
        elif not str(cleaned.get("sheet") or "").strip() and not self.errors:
            self.add_error(
                "sheet", "There is nothing here yet. Paste the sheet with its head, or choose a file."
            )
        return cleaned


class SinceForm(ActForm):
    since = DayField(
        label=_("Holders hold their plots since"), help_text=_("Weeks before it get no feeds. As in 1 March.")
    )


class NewGardensForm(SeasonForm):
    """The year of the gardens that a sheet names for the first time: as another garden's, or four days."""

    def __init__(self, *args: Any, gardens: Iterable[Garden] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.known = {str(garden.pk): garden for garden in gardens}
        if self.known:
            choices = [(pk, _("As at %s") % garden.name) for pk, garden in self.known.items()]
            self.fields["like"] = forms.ChoiceField(
                label=_("The season there"), choices=[*choices, (OWN_YEAR, _("Another, as written below"))],
                widget=forms.RadioSelect, error_messages={"required": CHOOSE},
            )  # fmt: skip
            self.order_fields(["like"])

    use_required_attribute = False  # the four days matter only for a season of its own

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("like") in self.known:
            for name in SeasonForm.base_fields:
                self.errors.pop(name, None)
        return cleaned

    def days(self) -> list[forms.BoundField]:
        return [self[name] for name in SeasonForm.base_fields]

    @property
    def is_own(self) -> bool:
        """Whether the four days are asked for: no other garden is known, or none is taken as the pattern."""
        return not self.known or self["like"].value() == OWN_YEAR

    def season(self) -> Season:
        if garden := self.known.get(self.cleaned_data.get("like", "")):
            return Season.of(garden)
        days: dict[str, dt.date] = {name: self.cleaned_data[name] for name in SeasonForm.base_fields}
        return Season(**days)
