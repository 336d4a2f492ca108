"""The form of a count by numbers: dead and wilting of each run that stands in a flat."""

from collections.abc import Iterator, Sequence
from uuid import UUID, uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from nursery.actions.numbers import Standing
from nursery.models import Run

RunStanding = tuple[Run, Standing, int]


class NumbersForm(forms.Form):
    """Two fields a run, named by its key. ``check`` is made with the page, so that sending twice is once."""

    check = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: object, lines: Sequence[RunStanding], **options: object) -> None:
        super().__init__(*args, **{"initial": {"check": uuid4()}, **options})
        self.lines = lines
        for run, standing, dead in lines:
            self.fields[f"dead-{run.key}"] = _count(_("Dead"), standing.plants, initial=dead)
            self.fields[f"wilting-{run.key}"] = _count(_("Wilting"), standing.plants, initial=0)

    def rows(self) -> Iterator[dict[str, object]]:
        """Yield what the page shows of each run: its fields, and how many plants they are about."""
        for run, standing, _dead in self.lines:
            dead, wilting = self[f"dead-{run.key}"], self[f"wilting-{run.key}"]
            yield {"run": run, "standing": standing, "dead": dead, "wilting": wilting}

    def numbers(self) -> dict[Run, tuple[int, int]]:
        """Return dead and wilting of each run; a field left empty says none."""
        told = self.cleaned_data
        return {
            run: (told[f"dead-{run.key}"] or 0, told[f"wilting-{run.key}"] or 0)
            for run, _standing, _dead in self.lines
        }

    def refuse(self, error: ValidationError) -> None:
        """Put what the action says of a run to its dead, and the rest over the form."""
        if not hasattr(error, "error_dict"):
            self.add_error(None, error)
            return
        for key, problems in error.error_dict.items():
            self.add_error(f"dead-{key}", problems)

    def key_of_check(self) -> UUID:
        key: UUID = self.cleaned_data["check"]
        return key


def _count(label: str, most: int, *, initial: int) -> forms.IntegerField:
    widget = forms.NumberInput(attrs={"inputmode": "numeric", "autocomplete": "off"})
    return forms.IntegerField(
        label=label, min_value=0, max_value=most, required=False, initial=initial, widget=widget
    )
