"""The forms of a move: where to, which stage, and whether to put more there than it has room for."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from nursery.models import Place, Stage

STAND_FREE = "none"  # for a place that is to stand in no other


class PutForm(forms.Form):
    """``to`` is a place's code; ``asked`` is the place of which this page said that it becomes too full."""

    STAGES = [
        ("", _("As the place says")),
        *((stage.value, stage.label) for stage in (Stage.BENCH, Stage.CHAMBER)),
        *((stage.value, stage.label) for stage in (Stage.ACCLIMATION, Stage.GROWING_ON)),
    ]

    to = forms.CharField(max_length=20, error_messages={"required": _("Touch the place to move to.")})
    stage = forms.ChoiceField(
        choices=STAGES,
        required=False,
        error_messages={"invalid_choice": _("Choose one of the stages shown.")},
    )
    asked = forms.CharField(max_length=20, required=False)

    def __init__(self, data: Any = None, *, may_stand_free: bool) -> None:
        super().__init__(data)
        self.place: Place | None = None
        self.may_stand_free = may_stand_free

    def clean_to(self) -> str:
        to: str = self.cleaned_data["to"]
        if to == STAND_FREE and self.may_stand_free:
            return to
        self.place = Place.objects.filter(code=to).first()
        if self.place is None:
            raise forms.ValidationError(_("This place is not in the book. Touch one of those shown."))
        return to

    @property
    def stage_said(self) -> str | None:
        return self.cleaned_data["stage"] or None

    @property
    def is_confirmed(self) -> bool:
        """True if the page said before that this very place becomes too full."""
        return self.cleaned_data["asked"] == self.cleaned_data["to"]

    @property
    def problems(self) -> list[str]:
        return [problem for problems in self.errors.values() for problem in problems]
