"""Places of a flat in a form: tapped in the drawing, or typed such as "A1 B3-B12 C"."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.calc.places import PlaceError, places_text, read_places
from nursery.models import Flat


class PlacesField(forms.CharField):
    """Place numbers, ascending."""

    widget = forms.TextInput(
        attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
    )

    def __init__(self, *, flat: Flat, **options: Any) -> None:
        self.shape = flat.tray_format
        options.setdefault("label", gettext_lazy("Places"))
        options.setdefault(
            "help_text", gettext_lazy("Tap them, or type them: A1 B3-B12, or C for the whole row.")
        )
        super().__init__(max_length=2000, required=False, **options)

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        try:
            return read_places(text, rows=self.shape.rows, columns=self.shape.columns)
        except PlaceError as error:
            words = {
                "form": _("%s is no place: type a row and a column such as A3, or a span such as A1-A12."),
                "outside": _("This flat has no place %s."),
            }
            raise ValidationError(words[error.reason] % error.said.upper()) from error

    def prepare_value(self, value: Any) -> Any:
        return places_text(value, self.shape.columns) if isinstance(value, list) else value

    def validate(self, value: Any) -> None:
        """No place is an answer; what needs one says so."""

    def run_validators(self, value: Any) -> None:
        """The validators are those of a text."""
