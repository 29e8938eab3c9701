"""Forms turn text into domain types; after the form nobody parses. What was typed stays.

`attempt(form, act)` runs an act and puts its refusal at the field it names. The quantity fields give the
values of `gardens.quantities`; a text with two readings ("1.500 kg") asks which was meant and takes neither
by itself: an `ActForm` then shows both as radio buttons under the box.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Iterable
from decimal import Decimal, InvalidOperation
from typing import Any, ClassVar, TypeVar, cast

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from gardens import quantities as q
from gardens.days import AmbiguousDay, DayError, in_words, read_day
from gardens.refusals import Refused

T = TypeVar("T")
WHICH = "_reading"
NOTHING, CHOOSE = _("Nothing is written here yet."), _("Choose one of the answers.")


def attempt(form: forms.BaseForm, act: Callable[[], T]) -> T | None:
    """What the act returns, or None with its refusal at the field it names (else on top of the form)."""
    try:
        return act()
    except Refused as refusal:
        form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)
        return None


class Reads(forms.CharField):
    """A field that reads text by a parser; `echo` is the kind that the server reads back under the box."""

    echo: ClassVar[str] = ""
    default_error_messages = {"required": NOTHING}

    def __init__(self, *, echo: str | None = None, unit: str = "", short: bool = True, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 200)
        super().__init__(**kwargs)
        drawn = {"echo": self.echo if echo is None else echo, "unit": unit, "short": short}
        self.widget.attrs = {
            **{k: v for k, v in drawn.items() if v},
            "autocomplete": "off",
        } | self.widget.attrs

    def read(self, text: str) -> Any:
        raise NotImplementedError

    def readings(self, text: str) -> list[tuple[str, str]]:
        """Texts that each mean one thing, with their words, where `text` means two; else nothing."""
        return []

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        return self.read(text) if text not in self.empty_values else None


class QuantityField(Reads):
    """`default_unit` ("g") is for a number without a unit; it is shown in the box's unit cell."""

    takes_default_unit: ClassVar[bool] = True

    def __init__(self, *, default_unit: str | None = None, positive: bool = False, **kwargs: Any) -> None:
        self.default_unit, self.positive = default_unit, positive
        if default_unit:
            kwargs.setdefault("unit", default_unit)
            kwargs.setdefault("echo", f"{self.echo}:{default_unit}")
        super().__init__(**kwargs)

    parse: ClassVar[Callable[..., Any]]
    say: ClassVar[Callable[..., str]]

    def _parsed(self, text: str) -> Any:
        options = {"default_unit": self.default_unit} if self.default_unit and self.takes_default_unit else {}
        return type(self).parse(text, **options)

    def read(self, text: str) -> Any:
        try:
            value = self._parsed(text)
        except q.QuantityError as error:
            raise ValidationError(str(error), code=error.code) from error
        if self.positive and not self.amount(value):
            raise ValidationError(_("More than nothing is needed here."), code="zero")
        return value

    def amount(self, value: Any) -> int:
        return 1

    def readings(self, text: str) -> list[tuple[str, str]]:
        try:
            self._parsed(text)
        except q.AmbiguousQuantity as error:
            return [(said, f"{said}: {type(self).say(self._parsed(said))}") for said in error.readings]
        except q.QuantityError:
            pass
        return []


class MassField(QuantityField):
    """Gives a `quantities.Mass`."""

    echo = "mass"
    parse, say = staticmethod(q.parse_mass), staticmethod(q.echo_mass)

    def amount(self, value: q.Mass) -> int:
        return value.milligrams

    def prepare_value(self, value: Any) -> Any:
        """With a unit cell beside the box, a value in that unit is shown as a bare number."""
        if not isinstance(value, q.Mass):
            return value
        text = q.print_mass(value)
        return text.removesuffix(f" {self.default_unit}") if self.default_unit else text


class LengthField(QuantityField):
    """Gives a `quantities.Length`."""

    echo = "length"
    parse, say = staticmethod(q.parse_length), staticmethod(q.echo_length)

    def amount(self, value: q.Length) -> int:
        return value.millimetres

    def prepare_value(self, value: Any) -> Any:
        return q.print_length(value) if isinstance(value, q.Length) else value


class MeasureField(QuantityField):
    """The measures of beds: gives a `quantities.Measure`, whose count may be more than one."""

    echo = "measure"
    parse: ClassVar[Callable[..., Any]] = staticmethod(q.parse_measure)
    say = staticmethod(q.echo_measure)

    def prepare_value(self, value: Any) -> Any:
        return q.print_measure(value) if isinstance(value, q.Measure) else value


class AreaField(MeasureField):
    """The size of one plot: a `quantities.Measure` of count 1."""

    echo = "area"
    takes_default_unit = False
    parse: ClassVar[Callable[..., Any]] = staticmethod(q.parse_area)


class VolumeField(QuantityField):
    """Gives a `quantities.Volume`."""

    echo = "volume"
    takes_default_unit = False
    parse, say = staticmethod(q.parse_volume), staticmethod(q.echo_volume)

    def amount(self, value: q.Volume) -> int:
        return value.microlitres

    def prepare_value(self, value: Any) -> Any:
        return q.print_volume(value) if isinstance(value, q.Volume) else value


class RateField(QuantityField):
    """Gives a `quantities.Rate`."""

    echo = "rate"
    takes_default_unit = False
    parse, say = staticmethod(q.parse_rate), staticmethod(q.echo_rate)

    def amount(self, value: q.Rate) -> int:
        return value.ug_per_m2

    def prepare_value(self, value: Any) -> Any:
        return q.print_rate(value) if isinstance(value, q.Rate) else value


class DayField(Reads):
    """A date, from "11 May", "2026-05-11" and the like. Without a year: the one closest to `near`."""

    echo = "day"

    def __init__(self, *, near: dt.date | None = None, **kwargs: Any) -> None:
        self.near = near
        kwargs.setdefault("max_length", 60)
        super().__init__(**kwargs)

    def lie_near(self, near: dt.date) -> None:
        """The echo must guess the year as the field does."""
        self.near = near
        if self.widget.attrs.get("echo"):
            self.widget.attrs["echo"] = f"{self.echo}:{near.isoformat()}"

    def read(self, text: str) -> dt.date:
        try:
            return read_day(text, near=self.near or timezone.localdate())
        except DayError as error:
            raise ValidationError(error.message, code=error.code) from error

    def readings(self, text: str) -> list[tuple[str, str]]:
        try:
            read_day(text, near=self.near or timezone.localdate())
        except AmbiguousDay as error:
            return [(day.isoformat(), in_words(day)) for day in error.readings]
        except DayError:
            pass
        return []

    def prepare_value(self, value: Any) -> Any:
        return in_words(value) if isinstance(value, dt.date) else value


class MoneyField(forms.CharField):
    """An amount such as "29.00" or "29,50"; gives whole minor units. `decimals` is what the currency has."""

    def __init__(self, *, currency: str = "", decimals: int = 2, **kwargs: Any) -> None:
        self.decimals = decimals
        kwargs.setdefault("max_length", 20)
        super().__init__(**kwargs)
        drawn = {"short": True, "inputmode": "decimal", "autocomplete": "off"} | (
            {"unit": currency} if currency else {}
        )
        self.widget.attrs = drawn | self.widget.attrs

    def clean(self, value: Any) -> int | None:
        text = str(super().clean(value)).replace("\u00a0", "").replace("\u202f", "").replace(" ", "")
        if not text:
            return None
        whole, mark, part = text.replace(",", ".").rpartition(".")
        if not mark:
            whole, part = part, ""
        digits = (whole + part).isascii() and (whole + part).isdigit()
        if not digits or len(part) > self.decimals:
            raise ValidationError(self._wrong(text), code="money")
        try:
            amount = Decimal(f"{whole or 0}.{part or 0}").scaleb(self.decimals)
        except InvalidOperation as error:
            raise ValidationError(self._wrong(text), code="money") from error
        if amount > 10**12:
            raise ValidationError(f"“{text}” is more than anybody pays here. As in “29.00”.", code="too_much")
        return int(amount)

    def _wrong(self, text: str) -> str:
        example = "29.00" if self.decimals else "2900"
        return f"“{text}” is not an amount of money known here. As in “{example}”."


class KeyField(forms.UUIDField):
    """The hidden key by which one form sent twice is one act; made when the form is first shown."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("initial", uuid.uuid4)
        kwargs.setdefault("widget", forms.HiddenInput)
        kwargs.setdefault("label", "")
        kwargs.setdefault(
            "error_messages",
            {"invalid": _("Open this page afresh."), "required": _("Open this page afresh.")},
        )
        super().__init__(**kwargs)


class ActForm(forms.Form):
    """A form whose ambiguous answers are asked back: two readings under the box, none preselected.

    `near` is the day that days without a year lie near: today in the programme's zone. `written(name)` is the
    text as it was typed (or the reading that was chosen), for what is kept as written.
    """

    def __init__(self, *args: Any, near: dt.date | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if field.error_messages.get("required") == forms.Field.default_error_messages["required"]:
                chosen = isinstance(field, forms.ChoiceField)
                field.error_messages["required"] = CHOOSE if chosen else NOTHING
            if isinstance(field, DayField) and near:
                field.lie_near(near)
        if self.is_bound:
            self.data: Any = cast(Any, self.data).copy()  # a QueryDict's copy may be changed
            self.ask_back()

    def ask_back(self) -> None:
        """Put the two readings under each ambiguous answer; a form that adds fields calls it again."""
        if self.is_bound:
            for name, field in list(self.fields.items()):
                if isinstance(field, Reads):
                    self._ask_back(name, field)

    def _ask_back(self, name: str, field: Reads) -> None:
        place = self.add_prefix(name)
        readings = field.readings(str(self.data.get(place) or ""))
        if not readings:
            return
        chosen = self.data.get(place + WHICH)
        if chosen in dict(readings):
            self.data[place] = chosen
            return
        which = forms.ChoiceField(
            label=_("Which did you mean?"), choices=readings, widget=forms.RadioSelect, required=False
        )
        insert_after(self.fields, name, name + WHICH, which)

    def written(self, name: str) -> str:
        return str(self.data.get(self.add_prefix(name)) or "").strip()


def insert_after(fields: dict[str, forms.Field], name: str, new: str, field: forms.Field) -> None:
    """Put one more field into a form, right below another."""
    items: Iterable[tuple[str, forms.Field]] = list(fields.items())
    fields.clear()
    for key, value in items:
        fields[key] = value
        if key == name:
            fields[new] = field
