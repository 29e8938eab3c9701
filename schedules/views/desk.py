"""The desk: find a holder, hand out, see that it stands, correct it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_http_methods

from blends.models import MixingDay, Ticket
from gardens import quantities
from gardens.access import Seat, To, find, take_seat
from gardens.clock import today
from gardens.folding import rank
from gardens.forms import attempt
from gardens.models import Household, Person
from gardens.refusals import Refused
from schedules import portions
from schedules.actions import desk as acts
from schedules.forms_desk import CorrectForm, DeskForm, HandOverForm, TakeBackForm, scale_unit
from schedules.models import Collection, Portion, RoundState
from schedules.queries.desk import PortionState, desk_list, is_reversed, portion_state, still_owed


@login_required
@require_GET
def desk(request: HttpRequest, programme: int, day: int) -> HttpResponse:
    """Find a holder by part of a name or plot; see who is still to come."""
    seat = take_seat(request, programme, to=To.READ)
    mixing_day = find(seat, MixingDay.objects.select_related("garden"), day)
    text = request.GET.get("q", "")[:80]
    context = {"day": mixing_day, "found": desk_list(mixing_day, text), "q": text}
    if request.headers.get("HX-Request"):
        return render(request, "schedules/_finder.html", context)
    return render(request, "schedules/desk.html", context)


@login_required
@require_GET
def sign_out_list(request: HttpRequest, programme: int, day: int) -> HttpResponse:
    """Paper for the desk, should every phone fail."""
    seat = take_seat(request, programme, to=To.READ)
    mixing_day = find(seat, MixingDay.objects.select_related("garden"), day)
    return render(
        request, "schedules/sign_out_list.html", {"day": mixing_day, "found": desk_list(mixing_day)}
    )


@login_required
@require_http_methods(["GET", "POST"])
def desk_plot(request: HttpRequest, programme: int, portion: int) -> HttpResponse:
    """One portion: hand it out (asked), or tell that it was (told)."""
    seat = take_seat(request, programme, to=To.MIX)
    sent = request.POST if request.method == "POST" else None
    asked_for = sent or request.GET
    state = _who_stands_here(_state(seat, portion), asked_for.get("collector", ""), asked_for.get("q", ""))
    if asked_for.get("live"):
        return _live(request, state)
    told, someone = bool(asked_for.get("told")), bool(asked_for.get("someone"))
    form = DeskForm(sent, state=state, told=told, someone=someone, live=f"{request.path}?live=1")
    if sent and sent.get("answer") == "again":
        return _desk_page(request, state, _afresh(form), told=told, someone=someone)
    if form.is_valid():
        try:
            return redirect("collection", programme, _hand_out(seat, state, form, request).pk)
        except acts.TubQuestion as asked:
            return _ask(request, state, form, asked.question, told, someone)
        except Refused as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)
            if refusal.field == "question_reason" and (question := _worth_asking(form)):
                return _ask(request, state, form, question, told, someone)
            state = _state(seat, portion)  # as it is now: somebody may have been first
    return _desk_page(request, state, form, told=told, someone=someone)


def _who_stands_here(state: PortionState, pk: str, text: str) -> PortionState:
    """The member who was chosen, or whose name was looked for, comes first."""

    def order(person: Person) -> tuple[bool, int]:
        fits = rank(text, "", person.name) if text.strip() else None
        return str(person.pk) != pk, 9 if fits is None else fits

    return replace(state, members=sorted(state.members, key=order))


def _hand_out(seat: Seat, state: PortionState, form: DeskForm, request: HttpRequest) -> Collection:
    data, answer = form.cleaned_data, request.POST.get("answer", "")
    reading_mg = data["reading"].milligrams
    told = form.told
    reason = data["question_reason"].strip() if answer == "reason" else ""
    if told and not answer and (question := _worth_asking(form)) and question.tub_explains:
        raise acts.TubQuestion(question, "")
    if answer == "reason" and not reason:
        raise Refused("reason_wanted", "Say why, in a few words.", "question_reason")
    return acts.hand_out(
        portion=state.portion,
        by=seat.person,
        pail=data["pail"],
        reading_mg=reading_mg,
        collected_by=data["collected_by"],
        key=data["key"],
        home_mg=form.home_mg,
        with_tub=answer == "tub",
        question_reason=reason,
        consent=data.get("consent") or "",
        told=told,
        happened_at=data.get("when"),
        device=_device(request.headers.get("User-Agent", "")),
    )


def _device(agent: str) -> str:
    """What somebody typed on, in words for the ticket: "a phone, Android"; empty where no browser says so."""
    known = {
        "Android": "Android",
        "iPhone": "iPhone",
        "iPad": "iPad",
        "Windows": "Windows",
        "Mac OS": "Mac",
        "Linux": "Linux",
    }
    made = next((words for mark, words in known.items() if mark in agent), "")
    kind = "a phone" if "Mobi" in agent else "a computer" if "Mozilla" in agent else ""
    return ", ".join(part for part in (kind, made) if part)


def _worth_asking(form: DeskForm) -> portions.Question | None:
    """A told reading is never refused; but where the tub would explain it, asking costs one tap."""
    state, portion = form.state, form.state.portion
    return portions.question(
        reading_mg=form.cleaned_data["reading"].milligrams,
        portion_mg=portion.due_mg,
        left_mg=state.left_mg(form.home_mg),
        tub_mg=portion.programme.tub_mass_mg,
        home_mg=max(form.home_mg, state.home_mg),
    )


def _afresh(form: DeskForm) -> DeskForm:
    """Weigh again: what was typed stays, but for the reading."""
    typed = form.data.copy()
    typed["reading"] = ""
    fresh = DeskForm(state=form.state, told=form.told, someone=bool(typed.get("someone")))
    for name, field in fresh.fields.items():
        if name in typed and name != "reading":
            field.initial = typed[name]
        field.widget.attrs |= {k: v for k, v in form.fields[name].widget.attrs.items() if k.startswith("hx-")}
    return fresh


def _desk_page(
    request: HttpRequest, state: PortionState, form: DeskForm, *, told: bool, someone: bool
) -> HttpResponse:
    day = state.portion.round.mixing_day
    closed = bool(day and not day.is_open) or state.portion.round.state == RoundState.CLOSED
    home_mg = _typed_mg(str(form["home"].value() or ""), state)
    serving = told or (not closed and state.left_mg() > 0)
    if not form.is_bound:  # what was typed before somebody was first comes along
        form.initial = {n: request.GET[n] for n in ("home", "reading") if request.GET.get(n)}
        home_mg = _typed_mg(str(form["home"].value() or ""), state)
    context = {
        **_said(state, home_mg, _typed_mg(str(form["reading"].value() or ""), state)),
        "form": form,
        "state": state,
        "day": day,
        "told": told,
        "someone": someone,
        "closed": closed,
        "serving": serving,
        "refused": "" if serving else " ".join(str(e) for errors in form.errors.values() for e in errors),
        "tell": urlencode({"told": 1, **{n: form.data[n] for n in ("home", "reading") if form.data.get(n)}}),
        "pail": _pail_words(state, form),
    }
    return render(request, "schedules/desk_plot.html", context)


def _pail_words(state: PortionState, form: DeskForm) -> str:
    chosen = str(form["pail"].value() or "")
    return next((p.words for p in [*state.pails, *state.pails_told] if str(p.pail.pk) == chosen), "no pail")


def _live(request: HttpRequest, state: PortionState) -> HttpResponse:
    home_mg = _typed_mg(request.GET.get("home", ""), state)
    reading_mg = _typed_mg(request.GET.get("reading", ""), state)
    return render(
        request,
        "schedules/_desk_live.html",
        {**_said(state, home_mg, reading_mg), "state": state, "live": True},
    )


def _typed_mg(text: str, state: PortionState) -> int:
    try:
        return quantities.parse_mass(text, default_unit=scale_unit(state.portion.programme)).milligrams
    except quantities.QuantityError:
        return 0


def _said(state: PortionState, home_mg: int, reading_mg: int) -> dict[str, Any]:
    """What the page says about what was typed so far: the column, what was understood, the tag."""
    portion = state.portion
    home_mg = max(home_mg, state.home_mg)
    left_mg = state.left_mg(home_mg)
    rows: list[dict[str, Any]] = [
        {"label": "Portion", "mg": portion.due_mg, "note": _until(portion)},
        *([{"label": "Had already", "mg": state.had_mg, "sign": "-"}] if state.had_mg else []),
        *([{"label": "Still at home", "mg": home_mg, "sign": "-", "note": "same blend"}] if home_mg else []),
        {"label": "Hand out", "mg": left_mg, "total": True},
    ]
    off = reading_mg - left_mg
    return {
        "portion": portion,
        "rows": rows,
        "left_mg": left_mg,
        "reading_mg": reading_mg,
        "echo": quantities.echo_mass(quantities.Mass(reading_mg)) if reading_mg else "",
        "over_mg": off if off > 0 else 0,
        "under_mg": -off if off < 0 else 0,
    }


def _until(portion: Portion) -> str:
    words = {
        1: "one week",
        2: "two weeks",
        3: "three weeks",
        4: "four weeks",
        5: "five weeks",
        6: "six weeks",
    }
    last = portion.round.last_day
    weeks = words.get(portion.round.weeks, f"{portion.round.weeks} weeks")
    return f"{weeks}, to {last.day}\u00a0{last:%B}"


def _ask(
    request: HttpRequest,
    state: PortionState,
    form: DeskForm,
    question: portions.Question,
    told: bool,
    someone: bool,
) -> HttpResponse:
    """Nothing is recorded; the question stands alone, with the typing in it."""
    rows = [
        {"label": "On the scale", "mg": question.reading_mg},
        *([{"label": "Empty tub", "mg": question.tub_mg, "sign": "-"}] if question.tub_mg else []),
        *([{"label": "Was in it already", "mg": question.home_mg, "sign": "-"}] if question.home_mg else []),
        {"label": "Handed out", "mg": question.net_mg, "total": True},
    ]
    kept = ["key", "home", "when", "collector", "other", "consent", "pail"]
    context = {
        "form": form,
        "state": state,
        "portion": state.portion,
        "day": state.portion.round.mixing_day,
        "question": question,
        "over_mg": question.reading_mg - question.left_mg,
        "rows": rows,
        "told": told,
        "someone": someone,
        "kept": [(name, form.data.get(name, "")) for name in kept if name in form.data],
        "pail": _pail_words(state, form),
        "echo": quantities.echo_mass(quantities.Mass(question.reading_mg)),
    }
    return render(request, "schedules/desk_tub.html", context)


@login_required
@require_GET
def collection(request: HttpRequest, programme: int, pk: int) -> HttpResponse:
    """The stamp: this hand-out stands, or was taken back."""
    seat = take_seat(request, programme, to=To.READ)
    rows = Collection.objects.select_related(
        "ticket__by",
        "ticket__reversed_by__by",
        "collected_by",
        "pail__batch__day",
        "pail__place",
        "portion__plot__garden",
        "portion__household",
        "portion__revision",
        "portion__round__mixing_day",
        "programme",
    )
    stands = find(seat, rows, pk)
    state = portion_state(stands.portion)
    to_come = still_owed(stands.portion.round)
    instead = (
        Collection.objects.filter(portion=stands.portion, ticket__id__gt=stands.ticket.reversed_by.pk).first()
        if is_reversed(stands)
        else None
    )
    owed = {r.portion_id: r for r in to_come}
    context = {
        "collection": stands,
        "portion": stands.portion,
        "day": stands.portion.round.mixing_day or stands.pail.batch.day,
        "state": state,
        "reversed": getattr(stands.ticket, "reversed_by", None),
        "instead": instead,
        "flags": list(stands.ticket.flags.filter(settled_at=None)),
        "in_tub_mg": state.had_mg + state.home_mg,
        "to_come": len(to_come),
        "neighbours": [owed[p.pk] for p in state.neighbours if p.pk in owed],
    }
    return render(request, "schedules/collection.html", context)


@login_required
@require_http_methods(["GET", "POST"])
def collection_correct(request: HttpRequest, programme: int, pk: int) -> HttpResponse:
    """Put right what was recorded: a reversal and a new ticket, or the reversal alone."""
    seat = take_seat(request, programme, to=To.MIX)
    wrong = find(
        seat, Collection.objects.select_related("ticket", "collected_by", "pail__batch", "portion"), pk
    )
    state = _state(seat, wrong.portion_id)
    sent = request.POST if request.method == "POST" else None
    reversing = bool(sent and sent.get("act") == "reverse")
    form = CorrectForm(sent, collection=wrong, state=state, reversing=reversing)
    if form.is_valid():
        stands = attempt(form, lambda: _correct(seat, wrong, form, reversing))
        if stands:
            return redirect("collection", programme, stands.pk)
    context = {"form": form, "collection": wrong, "state": state, "portion": state.portion}
    return render(
        request, "schedules/collection_correct.html", context | {"day": state.portion.round.mixing_day}
    )


def _correct(seat: Seat, wrong: Collection, form: CorrectForm, reversing: bool) -> Collection:
    data = form.cleaned_data
    if reversing:
        acts.reverse_collection(collection=wrong, by=seat.person, key=data["key"], reason=data["reason"])
        return wrong
    return acts.correct_collection(
        collection=wrong,
        by=seat.person,
        key=data["key"],
        reason=data["reason"],
        reading_mg=data["reading"].milligrams,
        home_mg=data["home"].milligrams if data["home"] else 0,
        with_tub=data["with_tub"],
        pail=form.pails[data["pail"]],
        collected_by=form.members[data["collector"]],
    )


@login_required
@require_http_methods(["GET", "POST"])
def take_back(request: HttpRequest, programme: int, portion: int) -> HttpResponse:
    """Opened blend comes back."""
    seat = take_seat(request, programme, to=To.MIX)
    state = _state(seat, portion)
    form = TakeBackForm(request.POST or None, programme=seat.programme, tubs=state.tubs)
    if form.is_valid() and attempt(form, lambda: _take_back(seat, state, form)) is not None:
        return redirect("desk_plot", programme, portion)
    context = {"form": form, "state": state, "portion": state.portion, "day": state.portion.round.mixing_day}
    return render(request, "schedules/take_back.html", context)


def _take_back(seat: Seat, state: PortionState, form: TakeBackForm) -> Ticket:
    data = form.cleaned_data
    return acts.take_back(
        portion=state.portion,
        by=seat.person,
        mass_mg=data["reading"].milligrams,
        key=data["key"],
        reason=data["reason"],
        batch=form.batches.get(data["batch"]),
    )


@login_required
@require_http_methods(["GET", "POST"])
def hand_over(request: HttpRequest, programme: int, portion: int) -> HttpResponse:
    """The plot changes hands, and the tub with it."""
    seat = take_seat(request, programme, to=To.MIX)
    state = _state(seat, portion)
    takers = list(_takers(state))
    form = HandOverForm(request.POST or None, programme=seat.programme, tubs=state.tubs, takers=takers)
    if form.is_valid() and attempt(form, lambda: _hand_over(seat, state, form)) is not None:
        return redirect("desk_plot", programme, portion)
    context = {"form": form, "state": state, "portion": state.portion, "takers": takers}
    return render(request, "schedules/hand_over.html", context | {"day": state.portion.round.mixing_day})


def _takers(state: PortionState) -> Any:
    """Households that hold the plot now or are to hold it."""
    day = today(state.portion.programme)
    plot = state.portion.plot
    held = plot.tenancies.exclude(until_day__lte=day).exclude(household=state.portion.household_id)
    return Household.objects.filter(pk__in=held.values("household"))


def _hand_over(seat: Seat, state: PortionState, form: HandOverForm) -> Ticket:
    data = form.cleaned_data
    return acts.hand_over(
        plot=state.portion.plot,
        giver=state.portion.household,
        taker=form.takers[data["taker"]],
        batch=form.batches[data["batch"]],
        by=seat.person,
        mass_mg=data["reading"].milligrams,
        key=data["key"],
        reason=data["reason"],
    )


def _state(seat: Seat, pk: int) -> PortionState:
    rows = Portion.objects.select_related(
        "programme", "plot__garden", "household", "revision__blend", "round__mixing_day"
    )
    return portion_state(find(seat, rows, pk))
