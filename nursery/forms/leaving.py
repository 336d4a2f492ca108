"""Forms of leaving and discarding: which plants, why, where to, when."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.actions.bench import place_names
from nursery.actions.leaving import Goal
from nursery.forms.places import PlacesField
from nursery.models import LEAVING_REASONS, Cause, Flat, Run

CELLS, NUMBER = "cells", "number"


class DayField(forms.DateField):
    """A day, today where nobody says another."""

    def __init__(self, **options: Any) -> None:
        widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
        options = {"label": gettext_lazy("Day"), "required": False, "widget": widget, **options}
        super().__init__(initial=timezone.localdate, **options)

    def clean(self, value: Any) -> Any:
        return super().clean(value) or timezone.localdate()


class PlantsForm(forms.Form):
    """Which plants of a flat: tapped or typed places, all that live, or so many of each run."""

    how = forms.ChoiceField(
        choices=[(CELLS, CELLS), (NUMBER, NUMBER)], initial=CELLS, widget=forms.HiddenInput
    )
    whole = forms.BooleanField(label=gettext_lazy("All that live"), required=False)

    def __init__(
        self,
        *args: Any,
        flat: Flat,
        living: Sequence[int] = (),
        runs: Sequence[tuple[Run, int]] = (),
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        self.flat, self.living, self.counted = flat, list(living), list(runs)
        self.fields["places"] = PlacesField(flat=flat)
        for position, (run, alive) in enumerate(self.counted):
            name, attrs = f"plants-{position}", {"inputmode": "numeric", "data-alive": alive}
            widget = forms.NumberInput(attrs=attrs)
            self.fields[name] = forms.IntegerField(
                label=str(run.pairing), required=False, min_value=0, max_value=alive, widget=widget
            )

    @property
    def number_fields(self) -> list[forms.BoundField]:
        return [self[f"plants-{position}"] for position in range(len(self.counted))]

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        if said.get("how") == NUMBER:
            if not self.errors and not sum(self.numbers().values()):
                raise ValidationError(_("Say how many plants, at least 1."), code="none")
        elif "places" in said:
            self._require_living()
        return said

    def _require_living(self) -> None:
        missing = sorted(set(self.places()) - set(self.living))
        if not self.places():
            self.add_error("places", _("Tap the plants, or type their places."))
        elif missing:
            names = ", ".join(place_names(self.flat, missing))
            self.add_error("places", _("No living plant stands in %s: choose others.") % names)

    @property
    def is_by_number(self) -> bool:
        return bool(self.cleaned_data.get("how") == NUMBER)

    def places(self) -> list[int]:
        """Return the places said by a valid form."""
        return self.living if self.cleaned_data["whole"] else self.cleaned_data["places"]

    def numbers(self) -> dict[int, int]:
        """Return the plants of each run, by its key, said by a valid form."""
        said = self.cleaned_data
        return {run.pk: said.get(f"plants-{n}") or 0 for n, (run, _alive) in enumerate(self.counted)}

    def shown_places(self) -> list[int]:
        """Return what the drawing shows as chosen, whether the form is valid or not."""
        if self["whole"].value():
            return self.living
        try:
            return self.fields["places"].clean(self["places"].value() or "")
        except ValidationError:
            return []


class WhichForm(PlantsForm):
    """Which cells they were that left by number."""


class GoalForm(forms.Form):
    """Why plants leave, where to, and when."""

    reason = forms.ChoiceField(
        label=gettext_lazy("Why they leave"),
        choices=[(reason, Cause(reason).label) for reason in LEAVING_REASONS],
        widget=forms.RadioSelect,
        error_messages={"required": gettext_lazy("Choose why they leave.")},
    )
    destination = forms.CharField(
        label=gettext_lazy("Where to"),
        required=False,
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    day = DayField()

    def goal(self) -> Goal:
        return Goal(self.cleaned_data["reason"], self.cleaned_data["destination"])


class LeaveForm(GoalForm, PlantsForm):
    """Plants of one flat leave."""


class DiscardForm(forms.Form):
    """A flat is discarded: as a loss or not."""

    is_loss = forms.TypedChoiceField(
        label=gettext_lazy("What it means for the take"),
        choices=[("yes", gettext_lazy("As a loss")), ("no", gettext_lazy("Not a loss"))],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
        error_messages={"required": gettext_lazy("Choose what it means for the take.")},
    )
    reason = forms.CharField(label=gettext_lazy("Why"), required=False, max_length=200)
    day = DayField()
