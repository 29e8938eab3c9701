"""The one shape of a plain form page: a sentence, the fields, the next act on the stub, and a way out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from gardens.access import Seat
from gardens.clock import today

FORM_PAGE = "gardens/form.html"


def form_page(
    request: HttpRequest,
    form: forms.BaseForm,
    *,
    title: str,
    say: str,
    act: str,
    under: str = "",
    care: str = "",
    note: str = "nothing is saved yet",
    where: Sequence[str] = (),
    cells: Sequence[dict[str, str]] = (),
    back: str = "",
    back_words: str = "",
    template: str = FORM_PAGE,
    **more: Any,
) -> HttpResponse:
    """`back` is the address of the way out. After an error the page is the same, with what was typed."""
    context = {
        "form": form,
        "title": title,
        "say": say,
        "act_words": act,
        "under": under,
        "care": care,
        "note": note,
        "steps": where,
        "cells": cells,
        "back": back,
        "back_words": back_words,
    }
    return render(request, template, context | more)


def read_only(form: forms.BaseForm, seat: Seat) -> bool:
    """Whether the form is only shown: to who reads all and changes nothing."""
    if seat.organises:
        return False
    for field in form.fields.values():
        field.disabled = True
    return True


def use_zone(seat: Seat) -> Any:
    """Instants on the page stand in the programme's zone. Returns its date of today."""
    timezone.activate(seat.programme.zone)
    return today(seat.programme)


def whole(text: str) -> int | None:
    """The number that an address or a button names; None for anything else, digits of other kinds among it."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= 18 else None
