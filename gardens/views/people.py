"""Programme settings, persons, roles and invitations."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from gardens.access import Seat, To, find, take_seat
from gardens.actions import people as acts
from gardens.forms import attempt
from gardens.forms_people import InviteForm, NewPersonForm, PersonForm, ProgrammeForm, RolesForm
from gardens.models import Person, RoleName
from gardens.queries.people import PersonLine, people
from gardens.views.pages import form_page, read_only, use_zone

LINK = "invitation_link"


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def programme_settings(request: HttpRequest, programme: int) -> HttpResponse:
    seat = take_seat(request, programme, to=To.ORGANISE if request.method == "POST" else To.REPORT)
    use_zone(seat)
    form = ProgrammeForm.of(seat.programme, request.POST or None)
    shown = read_only(form, seat)
    if request.method == "POST" and form.is_valid():
        changes = form.changes()
        if attempt(form, lambda: acts.change_programme(programme=seat.programme, by=seat.person, **changes)):
            messages.success(request, "The settings are kept.")
            return redirect("programme_settings", programme)
    asked = seat.programme.authority_asked_on
    return form_page(
        request,
        form,
        title="Settings",
        say="How this programme counts, and whom to call.",
        act="Keep the settings",
        where=("Settings",),
        template="gardens/settings.html",
        shown=shown,
        asked=asked,
    )


# Persons


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def people_list(request: HttpRequest, programme: int) -> HttpResponse:
    seat = take_seat(request, programme, to=To.REPORT)
    day = use_zone(seat)
    lines = people(programme=seat.programme, day=day, now=timezone.now())
    context = {"lines": lines, "never": sum(1 for line in lines if not line.signs_in)}
    return render(request, "gardens/people.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def person_add(request: HttpRequest, programme: int) -> HttpResponse:
    seat = take_seat(request, programme, to=To.ORGANISE)
    form = NewPersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        made = attempt(form, lambda: acts.add_person(programme=seat.programme, by=seat.person, **values))
        if made:
            messages.success(request, f"{made.name} is here.")
            return redirect("person", programme, made.pk)
    return form_page(
        request,
        form,
        title="Add a person",
        say="Who joins the programme?",
        act="Add the person",
        under="A name is enough. Who holds a plot need not sign in.",
        where=("People",),
        back=reverse("people", args=[programme]),
        back_words="All people",
    )


def _person_line(seat: Seat, pk: int) -> PersonLine:
    found = people(programme=seat.programme, day=use_zone(seat), now=timezone.now(), pk=pk)
    if not found:
        raise Http404
    return found[0]


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def person(request: HttpRequest, programme: int, person: int) -> HttpResponse:
    """A person: name and contact, roles, plots, and whether they sign in. Two forms, told apart by `step`."""
    posted = request.method == "POST"
    seat = take_seat(request, programme, to=To.ORGANISE if posted else To.REPORT)
    line = _person_line(seat, person)
    step = request.POST.get("step", "")
    about = PersonForm(
        request.POST if step == "about" else None,
        initial={"name": line.person.name, "contact": line.person.contact},
    )
    roles = RolesForm(request.POST if step == "roles" else None, initial={"roles": line.roles})
    if step == "about" and about.is_valid():
        values = about.cleaned_data
        if attempt(about, lambda: acts.change_person(person=line.person, by=seat.person, **values)):
            return _kept(request, line.person)
    if step == "roles" and roles.is_valid():
        wanted = set(roles.cleaned_data["roles"])
        if attempt(roles, lambda: acts.set_roles(person=line.person, by=seat.person, roles=wanted)):
            return _kept(request, line.person)
    link = request.session.pop(f"{LINK}-{person}", "")
    context = {"line": line, "about": about, "roles": roles, "link": link, "shown": read_only(about, seat)}
    context |= {"also": read_only(roles, seat), "told": link and line.invited}
    return render(request, "gardens/person.html", context)


def _kept(request: HttpRequest, person: Person) -> HttpResponse:
    messages.success(request, "That is kept.")
    return redirect("person", person.programme_id, person.pk)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def invite(request: HttpRequest, programme: int, person: int) -> HttpResponse:
    """Send an invitation. The link is shown once afterwards too, to be passed on by hand."""
    seat = take_seat(request, programme, to=To.ORGANISE)
    invited = find(seat, Person.objects.filter(erased_at=None), person)
    contact = invited.contact if "@" in invited.contact else ""
    role = invited.roles.values_list("name", flat=True).first() or RoleName.HOLDER
    form = InviteForm(request.POST or None, initial={"email": contact, "role": role})
    if request.method == "POST" and form.is_valid():
        values: dict[str, Any] = {**form.cleaned_data, "person": invited, "base": _base(request)}
        made = attempt(form, lambda: acts.invite(programme=seat.programme, by=seat.person, **values))
        if made:
            path = reverse("invitation", args=[made[1]])
            request.session[f"{LINK}-{person}"] = request.build_absolute_uri(path)
            messages.success(request, f"The invitation goes to {made[0].email}.")
            return redirect("person", programme, person)
    return form_page(
        request,
        form,
        title="Invite",
        say=f"Ask {invited.name} to sign in?",
        act="Send the invitation",
        under="The link works once, for 72 hours. An older link of theirs stops working.",
        where=("People", invited.name),
        back=reverse("person", args=[programme, person]),
        back_words=f"Back to {invited.name}",
    )


def _base(request: HttpRequest) -> str:
    return f"{request.scheme}://{request.get_host()}"


@login_required
@require_POST
def person_erase(request: HttpRequest, programme: int, person: int) -> HttpResponse:
    seat = take_seat(request, programme, to=To.ORGANISE)
    erased = find(seat, Person.objects.filter(erased_at=None), person)
    name = erased.name
    acts.erase_person(person=erased, by=seat.person)
    messages.success(request, f"{name} is erased. What they weighed and collected stays, without a name.")
    return redirect("people", programme)
