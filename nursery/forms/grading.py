"""How many plants of each run are of which grade; the day of a severing."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.actions.grading import Graded
from nursery.forms.leaving import DayField
from nursery.models import GradeCount, Run

Grade = GradeCount.Grade
PARTS = {
    "first": gettext_lazy("First"),
    "second": gettext_lazy("Second"),
    "cull": gettext_lazy("Cull"),
    "even": gettext_lazy("With two even heads, of the first and second"),
    "uneven": gettext_lazy("With two uneven heads"),
}


class GradeForm(forms.Form):
    """Plants by grade for each (run, plants that live); two-headed ones are among the first and second."""

    day = DayField()

    def __init__(self, *args: Any, runs: Sequence[tuple[Run, int]], **options: Any) -> None:
        super().__init__(*args, **options)
        self.runs = list(runs)
        for position, (_run, alive) in enumerate(self.runs):
            for part, label in PARTS.items():
                widget = forms.NumberInput(attrs={"inputmode": "numeric", "data-alive": alive})
                self.fields[f"{part}-{position}"] = forms.IntegerField(
                    label=label, required=False, min_value=0, max_value=alive, widget=widget
                )

    @property
    def run_fields(self) -> list[tuple[Run, int, list[forms.BoundField], list[forms.BoundField]]]:
        """Return each run with its plants, the fields of the grades, and those of the heads."""
        return [
            (
                run,
                alive,
                [self[f"{part}-{position}"] for part in ("first", "second", "cull")],
                [self[f"{part}-{position}"] for part in ("even", "uneven")],
            )
            for position, (run, alive) in enumerate(self.runs)
        ]

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        for position in range(len(self.runs)):
            first, second, _cull, even, uneven = self._numbers(position)
            if even + uneven > first + second:
                self.add_error(
                    f"even-{position}",
                    ValidationError(_("More with two heads than first and second: count again.")),
                )
        return said

    def counts(self) -> list[Graded]:
        """Return what was said; two-headed plants are taken for first, then for second."""
        graded = []
        for position, (run, _alive) in enumerate(self.runs):
            first, second, cull, even, uneven = self._numbers(position)
            left = {Grade.FIRST: first, Grade.SECOND: second}
            for plants, is_even in ((even, True), (uneven, False)):
                for grade in left:
                    taken = min(plants, left[grade])
                    graded.append(Graded(run.pk, grade, taken, heads=2, is_even=is_even))
                    left[grade] -= taken
                    plants -= taken
            graded += [Graded(run.pk, grade, plants) for grade, plants in left.items()]
            graded.append(Graded(run.pk, Grade.CULL, cull))
        return graded

    def _numbers(self, position: int) -> tuple[int, ...]:
        return tuple(self.cleaned_data.get(f"{part}-{position}") or 0 for part in PARTS)


class SeverForm(forms.Form):
    severed_on = DayField(label=gettext_lazy("Severed on"))

    def day(self) -> date:
        day: date = self.cleaned_data["severed_on"]
        return day
