"""Which part of the list of changes is wanted."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.actions.changed import KINDS, Wanted
from nursery.actions.codes import code_words
from nursery.calc.codes import CodeError, read_code, spoken
from nursery.forms.bench import KeyField
from nursery.models import Account, Flat, Season, Worker


class ChangesForm(forms.Form):
    """Every field may be left out; the form is sent by the address."""

    flat = forms.CharField(
        label=gettext_lazy("Flat"),
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "off", "placeholder": "F3K-7QNX"}),
    )
    person = forms.ChoiceField(label=gettext_lazy("Who"), required=False)
    season = KeyField(
        Season.objects.order_by("-starts_on"),
        label=gettext_lazy("Season"),
        required=False,
        empty_label=gettext_lazy("All"),
    )
    first = forms.DateField(
        label=gettext_lazy("From"), required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    last = forms.DateField(
        label=gettext_lazy("Until"), required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    kind = forms.ChoiceField(
        choices=[("", gettext_lazy("All")), *KINDS.items()], required=False, widget=forms.HiddenInput
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        workers = [(f"w-{worker.key}", worker.name) for worker in Worker.objects.all()]
        logins = Account.objects.filter(worker=None).order_by("username")
        people = [*workers, *((f"a-{login.username}", login.username) for login in logins)]
        self.fields["person"].choices = [("", _("Anybody")), *people]

    def clean_flat(self) -> Flat | None:
        text = self.cleaned_data["flat"].strip()
        if not text:
            return None
        try:
            code = read_code(text)
        except CodeError as error:
            raise ValidationError(code_words(error)) from error
        flat = Flat.objects.filter(code=code).first()
        if flat is None:
            raise ValidationError(_("No flat bears %s.") % spoken(code))
        return flat

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        first, last = said.get("first"), said.get("last")
        if first and last and last < first:
            raise ValidationError({"last": _("This lies before the first day: exchange them.")})
        return said

    def wanted(self) -> Wanted:
        said = self.cleaned_data
        person, season = said["person"], said["season"]
        name = person[2:]
        return Wanted(
            flat=said["flat"],
            worker=Worker.objects.get(key=name) if person.startswith("w-") else None,
            account=Account.objects.get(username=name) if person.startswith("a-") else None,
            kind=said["kind"],
            first=max(filter(None, (said["first"], season and season.starts_on)), default=None),
            last=min(filter(None, (said["last"], season and season.ends_on)), default=None),
        )
