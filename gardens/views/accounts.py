"""Signing in, passwords, and invitations."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib.auth import login, views
from django.core.exceptions import NON_FIELD_ERRORS
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache

from gardens import tries
from gardens.actions.people import accept_invitation, invitation_of
from gardens.forms import attempt
from gardens.forms_people import InvitationForm, NewPasswordForm, ResetForm, SignInForm

BACKEND = "django.contrib.auth.backends.ModelBackend"


class SignIn(views.LoginView):
    form_class = SignInForm
    redirect_authenticated_user = False

    def form_invalid(self, form: Any) -> HttpResponse:
        answer = super().form_invalid(form)
        answer.status_code = 429 if form.has_error(NON_FIELD_ERRORS, "too_many") else 200
        return answer


class Reset(views.PasswordResetView):
    form_class = ResetForm
    subject_template_name = "registration/password_reset_subject.txt"
    extra_email_context = {"hours": settings.PASSWORD_RESET_TIMEOUT // 3600}


class NewPassword(views.PasswordResetConfirmView):
    form_class = NewPasswordForm


@never_cache
def invitation(request: HttpRequest, secret: str) -> HttpResponse:
    """The page behind an invitation link. Used or late links are told so, kindly, and show nothing else."""
    asked = invitation_of(secret)
    if asked is None:
        return render(request, "gardens/invitation.html", {"usable": False}, status=410)
    form = InvitationForm(request.POST or None)
    spent = False
    if request.method == "POST" and form.is_valid():
        password = form.cleaned_data["password"]
        spent = tries.are_spent(request, asked.email)
        user = None
        if spent:
            form.add_error("password", tries.TOO_MANY)
        else:
            user = attempt(form, lambda: accept_invitation(secret=secret, password=password))
        if user is not None:
            tries.was_right(request, asked.email)
            login(request, user, backend=BACKEND)
            return redirect("home")
    context = {
        "usable": True,
        "form": form,
        "programme_name": asked.programme.name,
        "who_asks": asked.invited_by.name,
        "role": asked.get_role_display(),
        "email": asked.email,
    }
    return render(request, "gardens/invitation.html", context, status=429 if spent else 200)
