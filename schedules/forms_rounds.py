"""Forms of rounds, of what is said about feeding, of own rates and lifted caps."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Max
from django.utils.translation import gettext_lazy as _

from blends.models import DayState, MixingDay, Revision
from gardens import quantities as q
from gardens.clock import today, week_of
from gardens.forms import ActForm, DayField, LengthField, MassField
from gardens.models import Garden, Planting, Programme
from schedules import rates
from schedules.models import OwnRate, Round
from schedules.specs import DoseError


class RoundForm(ActForm):
    """The weeks, gardens and blend of a round; its mixing day and the time it freezes by itself may wait."""

    gardens = forms.MultipleChoiceField(label=_("Gardens"), widget=forms.CheckboxSelectMultiple)
    first_day = DayField(
        label=_("First day"), help_text=_("The first day that the tubs are for, such as 6 July.")
    )
    weeks = forms.IntegerField(
        label=_("Weeks"),
        min_value=1,
        max_value=12,
        initial=4,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "short": True, "unit": "weeks"}),
        help_text=_("One collection lasts this long; four is usual."),
    )
    revision = forms.ChoiceField(label=_("Blend"), widget=forms.RadioSelect)
    reserve = forms.IntegerField(
        label=_("Reserve for walk-ins"),
        min_value=0,
        max_value=100,
        initial=5,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "short": True, "unit": "%"}),
        help_text=_("Mixed on top of the portions."),
    )
    mixing_day = forms.ChoiceField(label=_("Mixing day"), required=False)
    freeze_day = DayField(
        label=_("Freeze by itself on"),
        required=False,
        help_text=_("The need is then fixed at 18:00; by hand it can be frozen at any time before."),
    )

    def __init__(self, *args: Any, programme: Programme, round: Round | None = None, **kwargs: Any) -> None:
        self.programme, self.round = programme, round
        self.all_gardens = {str(g.pk): g for g in Garden.objects.filter(programme=programme)}
        revisions = Revision.objects.filter(programme=programme).select_related("blend")
        self.revisions = {
            str(r.pk): r for r in revisions.order_by("-blend__is_default", "blend__name", "-number")
        }
        days = MixingDay.objects.filter(programme=programme, state=DayState.OPEN, round=None)
        if round is not None and round.mixing_day is not None:
            days = days | MixingDay.objects.filter(pk=round.mixing_day.pk)
        self.days = {str(d.pk): d for d in days.select_related("garden").order_by("day")}
        kwargs["initial"] = {**self._initial(), **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)
        self._choices("gardens", [(pk, g.name) for pk, g in self.all_gardens.items()])
        self._choices("revision", [(pk, str(r)) for pk, r in self.revisions.items()])
        self._choices(
            "mixing_day",
            [("", _("not chosen yet"))]
            + [(pk, f"{d.day:%A} {d.day.day} {d.day:%B %Y}, {d.garden.name}") for pk, d in self.days.items()],
        )
        if not self.days:
            self.fields["mixing_day"].widget = forms.HiddenInput()

    def _choices(self, name: str, choices: list[Any]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices

    def _initial(self) -> dict[str, Any]:
        if self.round is not None:
            r = self.round
            return {
                "gardens": [str(pk) for pk in r.round_gardens.values_list("garden_id", flat=True)],
                "first_day": r.first_day,
                "weeks": r.weeks,
                "revision": str(r.revision_id),
                "reserve": r.reserve_percent,
                "mixing_day": str(r.mixing_day_id or ""),
                "freeze_day": r.freeze_at.astimezone(ZoneInfo(self.programme.zone)).date()
                if r.freeze_at
                else None,
            }
        return {
            "gardens": list(self.all_gardens),
            "first_day": self._next_first_day(),
            "revision": next(iter(self.revisions), ""),
            "mixing_day": next(iter(self.days), ""),
        }

    def _next_first_day(self) -> dt.date:
        """The day after the last round, else the coming week, else the first feeding week."""
        last = Round.objects.filter(programme=self.programme).order_by("-first_day").first()
        coming = week_of(self.programme, today(self.programme) + dt.timedelta(days=6))
        season = Garden.objects.filter(programme=self.programme).aggregate(first=Max("first_feed"))["first"]
        starts = [coming, *([last.until_day] if last else []), *([season] if season else [])]
        return max(d for d in starts if isinstance(d, dt.date))

    def clean_weeks(self) -> int:
        return int(self.cleaned_data["weeks"])

    def values(self) -> dict[str, Any]:
        """What ``open_round`` and ``change_round`` take."""
        data = self.cleaned_data
        by_hand = {"freeze_by_hand": True} if self.round is not None and not data["freeze_day"] else {}
        return by_hand | {
            "gardens": [self.all_gardens[pk] for pk in data["gardens"]],
            "first_day": data["first_day"],
            "weeks": data["weeks"],
            "revision": self.revisions[data["revision"]],
            "mixing_day": self.days.get(data["mixing_day"]),
            "freeze_at": self._freeze_at(data["freeze_day"]),
            "reserve_percent": data["reserve"],
        }

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        freeze, first = data.get("freeze_day"), data.get("first_day")
        was = self.initial.get("freeze_day")
        if freeze and freeze < today(self.programme) and freeze != was:
            self.add_error("freeze_day", _("That day is past. Choose one to come, or freeze it by hand."))
        elif freeze and first and freeze > first:
            self.add_error(
                "freeze_day", _("It is frozen before its first day, so that there is time to mix.")
            )
        return data

    def _freeze_at(self, day: dt.date | None) -> dt.datetime | None:
        if day is None:
            return None
        return dt.datetime.combine(day, dt.time(18), tzinfo=ZoneInfo(self.programme.zone)).astimezone(dt.UTC)


class BlendForm(ActForm):
    """Another revision for a round."""

    revision = forms.ChoiceField(label=_("Blend"), widget=forms.RadioSelect)

    def __init__(self, *args: Any, round: Round, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = Revision.objects.filter(programme=round.programme).select_related("blend")
        self.revisions = {str(r.pk): r for r in rows.order_by("blend__name", "-number")}
        field = self.fields["revision"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [
            (pk, f"{r}{' (as now)' if r.pk == round.revision_id else ''}") for pk, r in self.revisions.items()
        ]

    @property
    def chosen(self) -> Revision:
        return self.revisions[self.cleaned_data["revision"]]


class ExtraForm(ActForm):
    """Something that was put on beside the plan."""

    on = forms.ChoiceField(label=_("Where"))
    mass = MassField(label=_("How much blend"), default_unit="g", positive=True)
    day = DayField(label=_("When"))

    def __init__(self, *args: Any, grounds: list[tuple[str, str]], day: dt.date, **kwargs: Any) -> None:
        kwargs["initial"] = {"day": day, **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)
        field = self.fields["on"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = grounds
        if len(grounds) == 1:
            field.widget = forms.HiddenInput()
            self.initial["on"] = grounds[0][0]


class OwnRateForm(ActForm):
    """A rate as people state one, brought to the planting's area."""

    PER = [
        ("area", _("on an area, such as “15 g/m²” or “3 lb/1000 ft²”")),
        ("row", _("on each metre of the row, such as “10 g”")),
        ("plant", _("for each plant, such as “5 g”")),
        ("litre", _("for each litre of potting mix, such as “1 g”")),
    ]
    of = forms.ChoiceField(
        label=_("The rate is of"),
        choices=[("blend", _("the blend")), ("nitrogen", _("nitrogen"))],
        widget=forms.RadioSelect,
        initial="blend",
    )
    per = forms.ChoiceField(label=_("It is for"), choices=PER, widget=forms.RadioSelect, initial="area")
    rate = forms.CharField(
        label=_("Rate at each feed"),
        max_length=80,
        widget=forms.TextInput(attrs={"short": True, "autocomplete": "off"}),
        help_text=_("As “15 g/m²” for an area, else as a mass such as “10 g”."),
    )
    row_width = LengthField(
        label=_("Width of the row"), required=False, help_text=_("For a rate per metre of row.")
    )
    plants = forms.IntegerField(
        label=_("Number of plants"),
        required=False,
        min_value=1,
        max_value=100_000,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "short": True}),
    )
    litres = forms.DecimalField(
        label=_("Litres of mix"),
        required=False,
        min_value=Decimal("0.1"),
        max_value=Decimal(100_000),
        widget=forms.TextInput(attrs={"inputmode": "decimal", "short": True, "unit": "L"}),
    )
    first_day = DayField(label=_("First feed"))
    feeds = forms.IntegerField(
        label=_("Number of feeds"),
        min_value=1,
        max_value=60,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "short": True}),
    )
    every_weeks = forms.IntegerField(
        label=_("Weeks from one to the next"),
        min_value=1,
        max_value=26,
        initial=1,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "short": True, "unit": "weeks"}),
    )
    reason = forms.CharField(label=_("Why"), max_length=400)

    def __init__(self, *args: Any, planting: Planting, row: OwnRate | None, **kwargs: Any) -> None:
        self.planting = planting
        bed = planting.bed
        first: dict[str, Any] = {"first_day": planting.day + dt.timedelta(weeks=2)}
        if bed.shape == "row" and bed.b_mm:
            first["row_width"] = q.Length(bed.b_mm)
        if row is not None:
            first |= {
                "of": row.of,
                "per": row.per,
                "rate": row.written,
                "first_day": row.first_day,
                "feeds": row.feeds,
                "every_weeks": row.every_weeks,
                "reason": row.reason,
            }
        kwargs["initial"] = {**first, **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if self.errors:
            return data
        try:
            data["ug_m2"] = self._per_area(data)
        except q.QuantityError as error:
            self.add_error("rate", ValidationError(str(error), code=error.code))
        except DoseError as error:
            field = {"own_rate": "rate", "row_width": "row_width"}.get(error.field, error.field)
            self.add_error(field if field in self.fields else "rate", error.message)
        return data

    def _per_area(self, data: dict[str, Any]) -> Fraction:
        per, text = data["per"], data["rate"]
        if per == "area":
            return Fraction(q.parse_rate(text).ug_per_m2)
        grams = q.parse_mass(text, default_unit="g").grams
        width = data["row_width"].millimetres if data["row_width"] else 0
        basis = {"row": rates.Basis.ROW, "plant": rates.Basis.PLANT, "litre": rates.Basis.LITRE}[per]
        made = rates.own_rate(
            grams,
            basis,
            of_nitrogen=data["of"] == "nitrogen",
            text=text,
            reason=data["reason"],
            area_mm2=self.planting.bed.area_mm2 * self.planting.share // 100,
            row_width_mm=width,
            plants=data["plants"] or 0,
            litres=data["litres"] or Decimal(0),
        )
        return made.ug_per_m2

    def values(self) -> dict[str, Any]:
        data = self.cleaned_data
        names = ("of", "per", "first_day", "feeds", "every_weeks", "reason")
        return {"written": self.written("rate"), "ug_m2": data["ug_m2"], **{n: data[n] for n in names}}


class LiftForm(ActForm):
    cap = forms.ChoiceField(
        label=_("Which cap"),
        widget=forms.RadioSelect,
        choices=[
            ("feed_n", _("most nitrogen in one feed: 2.44 g/m²")),
            ("feed_mass", _("most blend in one feed: 25 g/m², half on salt-sensitive crops")),
            ("soil_n", _("most nitrogen on the soil in 48 weeks: 14.65 g/m²; lifted, 22.4 g/m²")),
            ("soil_b", _("most boron on the soil in 48 weeks: 1.1 kg/ha; lifted, 3.4 kg/ha")),
        ],
    )
    reason = forms.CharField(label=_("Why"), max_length=400, help_text=_("It stands beside the dose."))
