"""Forms of logging in, the first login and the logins that a grower makes."""

import zoneinfo

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.utils.translation import gettext_lazy as _

from nursery.actions.accounts import CREW, GROWER, TABLET
from nursery.models import Worker

KINDS = [
    (CREW, _("Crew: grafts, checks, prints and reads")),
    (GROWER, _("Grower: keeps the records, corrects, makes logins")),
    (TABLET, _("Shared tablet: crew that asks who is working")),
]
_NAME = {"autocapitalize": "none", "autocomplete": "off", "spellcheck": "false"}


def password_field(label: str = _("Password")) -> forms.CharField:
    return forms.CharField(
        label=label,
        strip=False,
        help_text=_("At least 8 characters, not all of them digits, and no common word."),
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )


class LoginForm(AuthenticationForm):
    error_messages = {
        "invalid_login": _(
            "No login has this name and this password. Mind capital letters; a grower can set a new password."
        ),
        "inactive": _("This login is switched off. A grower can switch it on again."),
    }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["username"].label = _("Login name")


class FirstAccountForm(forms.Form):
    farm_name = forms.CharField(label=_("Farm"), max_length=100)
    time_zone = forms.ChoiceField(
        label=_("Time zone"), help_text=_("The day of a check is the day on the farm's clock.")
    )
    username = forms.CharField(
        label=_("Login name"),
        max_length=150,
        widget=forms.TextInput(attrs={**_NAME, "autocomplete": "username"}),
    )
    password = password_field()
    worker_name = forms.CharField(
        label=_("Your name at the bench"),
        max_length=60,
        required=False,
        help_text=_("Fill it in if you graft or check yourself."),
    )
    key = forms.CharField(
        label=_("One-time key"),
        help_text=_("It stands in the terminal in which the program was started."),
        widget=forms.TextInput(attrs={**_NAME, "autocapitalize": "characters"}),
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["time_zone"].choices = [(name, name) for name in time_zones()]


def time_zones() -> list[str]:
    """Return the zones a person would look for: places and UTC, no aliases such as Etc/GMT+3."""
    names = zoneinfo.available_timezones()
    return ["UTC", *sorted(name for name in names if "/" in name and not name.startswith("Etc/"))]


class AccountForm(forms.Form):
    kind = forms.ChoiceField(label=_("May do"), choices=KINDS, widget=forms.RadioSelect, initial=CREW)
    worker = forms.ModelChoiceField(
        Worker.objects.none(),
        label=_("Whose login"),
        required=False,
        to_field_name="key",
        empty_label=_("Nobody at the bench"),
        help_text=_("What this login marks is signed with the worker's name."),
    )

    def __init__(self, *args, account=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["worker"].queryset = Worker.objects.free_for(account)


class NewAccountForm(AccountForm):
    username = forms.CharField(label=_("Login name"), max_length=150, widget=forms.TextInput(attrs=_NAME))
    password = password_field()
    field_order = ["username", "password", "kind", "worker"]


class ChangeAccountForm(AccountForm):
    is_active = forms.BooleanField(label=_("Can log in"), required=False)


class PasswordForm(forms.Form):
    password = password_field(_("New password"))


class WhoForm(forms.Form):
    worker = forms.ModelChoiceField(Worker.objects.active(), to_field_name="key")
