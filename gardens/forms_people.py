"""Forms on accounts, programmes and persons."""

from __future__ import annotations

import zoneinfo
from collections import defaultdict
from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, PasswordResetForm, SetPasswordForm
from django.utils.translation import gettext_lazy as _

from gardens import tries
from gardens.forms import ActForm, DayField, MassField, RateField
from gardens.models import FeederClass, Giving, Programme, RoleName, Units, User
from gardens.quantities import Mass, Rate

WEEKDAYS = [
    (1, _("Monday")), (2, _("Tuesday")), (3, _("Wednesday")), (4, _("Thursday")),
    (5, _("Friday")), (6, _("Saturday")), (7, _("Sunday")),
]  # fmt: skip
GIVING_HINT = _("Giving fertiliser away can count as distributing it. Ask your authority first.")
DIVISIONS = _("The smallest step the desk scale shows. As in 1 g.")


def zones() -> list[tuple[str, Any]]:
    """All time zones, by region, after an empty first choice."""
    groups: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for name in sorted(zoneinfo.available_timezones()):
        region, mark, rest = name.partition("/")
        if mark and region not in ("Etc", "SystemV", "US", "Canada", "Mexico", "Brazil", "Chile"):
            groups[region].append((name, rest.replace("_", " ").replace("/", ", ")))
    return [("", _("Choose the nearest place")), *sorted(groups.items()), ("UTC", "UTC")]


class SignInForm(AuthenticationForm):
    username = forms.EmailField(
        label=_("E-mail"), widget=forms.EmailInput(attrs={"autocomplete": "username", "autofocus": True})
    )
    error_messages = {
        "invalid_login": _(
            "No account fits this address and this password. Look at both, or ask for a new password."
        ),
        "inactive": _("This account is closed."),
    }

    def clean_username(self) -> str:
        return str(self.cleaned_data["username"]).lower()

    def clean(self) -> dict[str, Any]:
        """The password is looked at only while tries are left."""
        address = self.cleaned_data.get("username", "")
        if self.request is None or not address:
            return super().clean()
        if tries.are_spent(self.request, address):
            raise forms.ValidationError(tries.TOO_MANY, code="too_many")
        cleaned = super().clean()
        if self.get_user() is not None:
            tries.was_right(self.request, address)
        return cleaned


class ResetForm(PasswordResetForm):
    email = forms.EmailField(
        label=_("E-mail"),
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "email", "autofocus": True}),
    )

    def get_users(self, email: str) -> Any:
        """Those with this address, and with a password to forget."""
        found = User.objects.filter(email=email.lower(), is_active=True)
        return [user for user in found if user.has_usable_password()]


class NewPasswordForm(SetPasswordForm):  # type: ignore[type-arg]  # generic in the stubs only
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["new_password1"].help_text = PASSWORD_HINT


PASSWORD_HINT = _("At least eight characters, and none of the usual ones. A few plain words do well.")


def password_field(**kwargs: Any) -> forms.CharField:
    return forms.CharField(
        label=_("Password"),
        max_length=128,
        strip=False,
        help_text=PASSWORD_HINT,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}, render_value=False),
        **kwargs,
    )


class ProgrammeStartForm(ActForm):
    """The first evening: what the programme is called, where it is, and how it counts."""

    name = forms.CharField(label=_("Name of the programme"), max_length=120)
    zone = forms.ChoiceField(
        label=_("Time zone"), help_text=_("Days and weeks are counted there."), choices=zones
    )
    currency = forms.CharField(
        label=_("Currency"), max_length=3, help_text=_("Three letters, as in EUR or USD."),
        widget=forms.TextInput(attrs={"short": True, "autocapitalize": "characters"}),
    )  # fmt: skip
    units = forms.ChoiceField(
        label=_("Units"), choices=Units.choices, initial=Units.METRIC, widget=forms.RadioSelect
    )
    giving = forms.ChoiceField(
        label=_("How the blend reaches the holders"), choices=Giving.choices, initial=Giving.POOLED,
        help_text=GIVING_HINT, widget=forms.RadioSelect,
    )  # fmt: skip


class SignUpForm(ProgrammeStartForm):
    """The same, with an account."""

    person_name = forms.CharField(
        label=_("Your name"), max_length=160, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    email = forms.EmailField(
        label=_("Your e-mail"), max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "email"})
    )
    password = password_field()
    field_order = ("name", "person_name", "email", "password", "zone", "currency", "units", "giving")


class InvitationForm(forms.Form):
    password = password_field()


class ProgrammeForm(ActForm):
    """Everything about a programme that its organiser may set."""

    name = forms.CharField(label=_("Name of the programme"), max_length=120)
    zone = forms.ChoiceField(
        label=_("Time zone"), help_text=_("Days and weeks are counted there."), choices=zones
    )
    currency = forms.CharField(
        label=_("Currency"), max_length=3, help_text=_("Three letters, as in EUR or USD."),
        widget=forms.TextInput(attrs={"short": True}),
    )  # fmt: skip
    units = forms.ChoiceField(label=_("Units"), choices=Units.choices, widget=forms.RadioSelect)
    week_start = forms.TypedChoiceField(label=_("The week starts on"), choices=WEEKDAYS, coerce=int)
    planted_share = forms.IntegerField(
        label=_("Planted share of a plot"), min_value=1, max_value=100,
        help_text=_("Where no bed is known, so much of a plot counts as planted."),
        widget=forms.NumberInput(attrs={"unit": "%", "short": True}),
    )  # fmt: skip
    default_class = forms.ChoiceField(
        label=_("Where nobody says what grows"), choices=FeederClass.choices, widget=forms.RadioSelect
    )
    tub_mass_mg = MassField(
        label=_("Mass of one empty tub"), default_unit="g", help_text=_("Weigh one with its lid. As in 58 g.")
    )
    desk_division_mg = MassField(
        label=_("Division of the desk scale"), default_unit="g", positive=True, help_text=DIVISIONS
    )
    emergency = forms.CharField(
        label=_("Emergency number"),
        max_length=120,
        required=False,
        help_text=_("Printed on labels and run sheet."),
    )
    poison_line = forms.CharField(
        label=_("Poison line"),
        max_length=120,
        required=False,
        help_text=_("Printed on labels and run sheet."),
    )
    giving = forms.ChoiceField(
        label=_("How the blend reaches the holders"), choices=Giving.choices, widget=forms.RadioSelect,
        help_text=GIVING_HINT,
    )  # fmt: skip
    authority_asked_by = forms.CharField(label=_("Who asked the authority"), max_length=120, required=False)
    authority_asked_on = DayField(label=_("Asked on"), required=False)
    authority_answer = forms.CharField(
        label=_("What it answered"), max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 3})
    )
    n_cap_ug_m2 = RateField(
        label=_("Most nitrogen on any soil in 48 weeks"), required=False,
        help_text=_("Empty: 14.65 g/m², the house value. With a reason up to 22.4 g/m², never more."),
    )  # fmt: skip
    n_cap_reason = forms.CharField(
        label=_("Why more nitrogen is right here"), max_length=400, required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )  # fmt: skip

    @classmethod
    def of(cls, programme: Programme, data: Any = None) -> ProgrammeForm:
        initial: dict[str, Any] = {name: getattr(programme, name) for name in cls.base_fields}
        for name in ("tub_mass_mg", "desk_division_mg"):
            initial[name] = Mass(initial[name])
        cap = initial["n_cap_ug_m2"]
        initial["n_cap_ug_m2"] = Rate(cap) if cap is not None else None
        return cls(data, initial=initial)

    def changes(self) -> dict[str, Any]:
        values = dict(self.cleaned_data)
        for name in ("tub_mass_mg", "desk_division_mg"):
            values[name] = values[name].milligrams
        cap = values["n_cap_ug_m2"]
        values["n_cap_ug_m2"] = cap.ug_per_m2 if cap is not None else None
        return {name: value for name, value in values.items() if name in self.base_fields}


class PersonForm(ActForm):
    name = forms.CharField(label=_("Name"), max_length=160)
    contact = forms.CharField(
        label=_("E-mail or telephone"),
        max_length=254,
        required=False,
        help_text=_("Only for you and an auditor."),
    )


class NewPersonForm(PersonForm):
    another = forms.BooleanField(
        label=_("This is another person of the same name"), required=False,
        widget=forms.CheckboxInput(attrs={"note": _("only where two people share one name")}),
    )  # fmt: skip


class InviteForm(ActForm):
    email = forms.EmailField(label=_("E-mail"), max_length=254)
    role = forms.ChoiceField(
        label=_("They come as"), choices=RoleName.choices, widget=forms.RadioSelect, initial=RoleName.STEWARD
    )


class RolesForm(ActForm):
    roles = forms.MultipleChoiceField(
        label=_("Roles"), choices=[], required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["roles"]
        assert isinstance(field, forms.MultipleChoiceField)
        field.choices = ROLE_WORDS


ROLE_WORDS = [
    (RoleName.ORGANISER, _("Organiser: sets up, decides, sees everything")),
    (RoleName.STEWARD, _("Steward: weighs, and serves at the desk")),
    (RoleName.HOLDER, _("Holder: sees and logs on their own plots")),
    (RoleName.AUDITOR, _("Auditor: reads everything, changes nothing")),
]
