"""The form of grafting again: in which places, and all that a run says."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.forms.bench import NOT_RECORDED, KeyField, WorkForm
from nursery.forms.leaving import DayField
from nursery.forms.places import PlacesField
from nursery.models import Flat, Session


class RegraftForm(WorkForm):
    """Places of one flat, and who grafts what in them."""

    session = KeyField(
        Session.objects.none(), label=gettext_lazy("Session"), required=False, empty_label=NOT_RECORDED
    )
    day = DayField()

    def __init__(self, *args: Any, flat: Flat, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["places"] = PlacesField(flat=flat)
        field: Any = self.fields["session"]
        field.queryset = Session.objects.open().select_related("place")

    def clean_places(self) -> list[int]:
        places: list[int] = self.cleaned_data["places"]
        if not places:
            raise ValidationError(_("Tap the places to graft in, or type them."))
        return places

    def shown_places(self) -> list[int]:
        """Return what the drawing shows as chosen, whether the form is valid or not."""
        try:
            places: list[int] = self.fields["places"].clean(self["places"].value() or "")
        except ValidationError:
            return []
        return places

    @property
    def when_fields(self) -> list[forms.BoundField]:
        return [self["session"], self["day"]]
