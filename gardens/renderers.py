"""How forms look everywhere: label, hint, error, then the box with its unit, then what was understood."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django import forms
from django.forms.boundfield import BoundField
from django.forms.renderers import TemplatesSetting
from django.urls import NoReverseMatch, reverse

OWN_ATTRS = ("unit", "reading", "echo", "short", "note", "plain")


class PaperField(BoundField):
    """A field with its drawing instructions, which ride on the widget's attrs and are not printed as HTML.

    unit: text of the cell inside the box. reading: a scale's reading, large, numeric keyboard. echo: the kind
    of quantity the server reads back under the box. short: a narrow box. note: small words beside a checkbox.
    plain: nothing is said about its staying empty.
    """

    def build_widget_attrs(self, attrs: dict[str, Any], widget: forms.Widget | None = None) -> dict[str, Any]:
        widget = widget or self.field.widget
        built = super().build_widget_attrs(attrs, widget)
        built.update({name: False for name in OWN_ATTRS if name in widget.attrs})
        built.pop("required", None)  # our own sentence at the field says it better than a browser's bubble
        if self.echo:
            query = urlencode({"kind": self.echo, "field": self.html_name})
            at_once = ", load" if self.value() and not self.errors else ""
            built |= {
                "hx-get": f"{_echo_url()}?{query}",
                "hx-trigger": f"input changed delay:300ms{at_once}",
                "hx-target": f"#{self.auto_id}_echo",
                "hx-sync": "this:queue last",
            }
        if self.reading:
            usual: dict[str, Any] = {"inputmode": "decimal", "autocomplete": "off", "enterkeyhint": "done"}
            built = usual | built
        if self.shape in ("radios", "ticks"):
            built.pop("aria-describedby", None)
        return built

    @property
    def aria_describedby(self) -> str | None:
        names = super().aria_describedby
        return f"{names or ''} {self.auto_id}_echo".strip() if self.echo and self.auto_id else names

    @property
    def unit(self) -> str:
        return str(self.field.widget.attrs.get("unit", ""))

    @property
    def reading(self) -> bool:
        return bool(self.field.widget.attrs.get("reading"))

    @property
    def echo(self) -> str:
        return str(self.field.widget.attrs.get("echo", ""))

    @property
    def short(self) -> bool:
        return bool(self.field.widget.attrs.get("short"))

    @property
    def plain(self) -> bool:
        return bool(self.field.widget.attrs.get("plain"))

    @property
    def note(self) -> str:
        return str(self.field.widget.attrs.get("note", ""))

    @property
    def shape(self) -> str:
        """Which of the four drawings: a box, one tick, a list of radio buttons, a list of ticks."""
        widget = self.field.widget
        if isinstance(widget, forms.CheckboxInput):
            return "tick"
        if isinstance(widget, forms.CheckboxSelectMultiple):
            return "ticks"
        if isinstance(widget, forms.RadioSelect):
            return "radios"
        return "box"


class PaperRenderer(TemplatesSetting):
    form_template_name = "shared/form.html"
    field_template_name = "shared/field.html"
    formset_template_name = "shared/formset.html"
    bound_field_class = PaperField


def _echo_url() -> str:
    try:
        return reverse("echo")
    except NoReverseMatch:
        return "/echo/"
