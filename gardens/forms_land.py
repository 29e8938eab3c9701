"""Forms on gardens, plots, beds and tenancies."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from gardens.folding import folded, rank
from gardens.forms import ActForm, AreaField, DayField, MeasureField, insert_after
from gardens.models import Feeding, Garden, Person, Programme

MOST_CANDIDATES = 12


class SeasonForm(ActForm):
    """The year of a garden."""

    last_frost = DayField(label=_("Last frost of spring"), help_text=_("In a usual year. As in 20 April."))
    first_frost = DayField(label=_("First frost of autumn"), help_text=_("As in 20 October."))
    first_feed = DayField(label=_("First feeding week"), help_text=_("Any day in it. As in 4 May."))
    last_feed = DayField(label=_("Last feeding week"), help_text=_("Any day in it. As in 14 September."))


class GardenForm(SeasonForm):
    name = forms.CharField(label=_("Name of the garden"), max_length=120)
    field_order = ("name",)

    @classmethod
    def of(cls, garden: Garden, data: Any = None, *, near: dt.date) -> GardenForm:
        return cls(data, near=near, initial={name: getattr(garden, name) for name in cls.base_fields})


class PlotForm(ActForm):
    label = forms.CharField(
        label=_("Number of the plot"), max_length=40, widget=forms.TextInput(attrs={"short": True})
    )
    size = AreaField(
        label=_("Size of the whole plot"), required=False, max_length=80,
        help_text=_("Only used where no bed is known. As in 3 x 6 m or 300 sq ft."),
    )  # fmt: skip


DRAINS = [("yes", _("Yes, open soil")), ("no", _("No, lined or wicking: half the dose, flush once a month"))]


class BedForm(ActForm):
    size = MeasureField(
        label=_("Size of the bed"), max_length=80, short=False,
        help_text=_("As you would say it: 4 x 8 ft, 1.2 × 3 m, 6 ft circle. 2 × 4 x 8 ft makes two."),
    )  # fmt: skip
    name = forms.CharField(
        label=_("Name"), max_length=70, required=False, help_text=_("Left empty, beds are numbered."),
        widget=forms.TextInput(attrs={"short": True}),
    )  # fmt: skip
    drains = forms.ChoiceField(
        label=_("Does water drain out below?"), choices=DRAINS, initial="yes", widget=forms.RadioSelect
    )


class BedChangeForm(BedForm):
    name = forms.CharField(label=_("Name"), max_length=80, widget=forms.TextInput(attrs={"short": True}))


class FeedingForm(ActForm):
    feeding = forms.ChoiceField(
        label=_("What goes on here"),
        choices=[
            (Feeding.BLEND, _("The shared blend")),
            (Feeding.NONE, _("None of it, for the reason below")),
            (Feeding.NOTHING, _("Nothing grows here")),
        ],
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        label=_("Reason"),
        max_length=200,
        required=False,
        help_text=_("As in “organic only” or “rich already”."),
    )


class DayForm(ActForm):
    """An act that needs its day only."""

    day = DayField(label=_("From which day on?"))


class WhoForm(ActForm):
    """A person by name: whoever is known here by it, or by part of it, is asked about and never guessed.

    After `is_valid()`, `person` is the one meant, or None for somebody new.
    """

    name = forms.CharField(
        label=_("Name"), max_length=160, help_text=_("A part of it will do for people known here.")
    )
    contact = forms.CharField(
        label=_("E-mail or telephone"), max_length=254, required=False, help_text=_("For somebody new.")
    )

    def __init__(self, *args: Any, programme: Programme, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.candidates = self._candidates(programme) if self.is_bound else {}
        if self.candidates:
            choices = [
                (str(p.pk), f"{p.name}, {p.contact}" if p.contact else p.name)
                for p in self.candidates.values()
            ]
            new = _("Somebody new: %s") % self.written("name")
            insert_after(self.fields, "contact", "who", forms.ChoiceField(
                label=_("Which of these?"), choices=[*choices, ("new", new)], widget=forms.RadioSelect,
                error_messages={"required": _("Say who is meant; nothing is guessed.")},
            ))  # fmt: skip

    def _candidates(self, programme: Programme) -> dict[str, Person]:
        said, contact = self.written("name"), self.written("contact")
        if not said:
            return {}
        here = Person.objects.filter(programme=programme, erased_at=None)
        fits = [p for p in here if rank(said, p.name) is not None]
        fits.sort(key=lambda p: (folded(p.name) != folded(said), p.contact != contact, p.name, p.pk))
        return {str(p.pk): p for p in fits[:MOST_CANDIDATES]}

    def ask_about(self, others: str) -> None:
        """The household holds ``others`` ("plot 18") too: whoever joins shares them, which is confirmed."""
        self.fields["all_plots"] = forms.BooleanField(
            label=_("Also for %s") % others,
            required=False,
            help_text=_("A household is the same persons on all its plots."),
        )

    @property
    def person(self) -> Person | None:
        return self.candidates.get(self.cleaned_data.get("who", ""))


class HolderForm(WhoForm):
    """Who holds a plot, and from which day on."""

    day = DayField(label=_("From which day on?"), help_text=_("As in 1 March."))
    field_order = ("name", "contact", "who", "day")
