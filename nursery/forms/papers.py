"""A label paper of the farm's own, by its measures in the farm's units."""

import re
from decimal import ROUND_DOWN, Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from nursery.forms.records.base import RecordForm
from nursery.forms.records.fields import MM_PER_INCH, CommaDecimalField, plain_number
from nursery.models import Farm, LabelStock

HUNDREDTH, THOUSANDTH = Decimal("0.01"), Decimal("0.001")
LARGEST_MM = 500
MOST_LABELS = 40  # across or down
LARGEST_SHIFT_MM = 20
FRACTION = re.compile(r"^(-?)(?:(\d{1,3})\s+)?(\d{1,3})/(\d{1,3})$")


class MeasureField(CommaDecimalField):
    """A length typed in mm, or in inches (``2.625`` or ``2 5/8``); cleaned to mm with two places.

    Inches are rounded down, so that labels that fill a page do so in hundredths of a millimetre as well.
    """

    def __init__(self, *, is_inches: bool, may_be_negative: bool = False, **options: Any) -> None:
        self.is_inches, self.is_empty_zero = is_inches, False
        most = Decimal(LARGEST_SHIFT_MM if may_be_negative else LARGEST_MM)
        if is_inches:
            most = (most / MM_PER_INCH).quantize(HUNDREDTH, ROUND_DOWN)
        super().__init__(min_value=-most if may_be_negative else 0, max_value=most, **options)

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, Decimal | int):
            return value
        if not value and self.is_empty_zero:
            return ""
        value = Decimal(value)
        return plain_number((value / MM_PER_INCH).quantize(THOUSANDTH) if self.is_inches else value)

    def to_python(self, value: Any) -> Decimal | None:
        text = " ".join(str(value or "").split())
        fraction = FRACTION.match(text) if self.is_inches else None
        if not fraction:
            return super().to_python(text)
        sign, whole, over, under = fraction.groups()
        if not int(under):
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid")
        return Decimal(f"{sign}1") * (int(whole or 0) + Decimal(over) / Decimal(under))

    def clean(self, value: Any) -> Decimal | None:
        length = super().clean(value)
        if length is None:
            return Decimal(0)  # an empty margin is none
        return (length * MM_PER_INCH if self.is_inches else length).quantize(HUNDREDTH, ROUND_DOWN)


# Name, words, letter in the picture of the measures.
MEASURES = (
    ("label_width_mm", _("Label width"), "A"),
    ("label_height_mm", _("Label height"), "B"),
    ("left_mm", _("Left margin"), "C"),
    ("top_mm", _("Top margin"), "D"),
    ("pitch_x_mm", _("Left edge to next left edge"), "E"),
    ("pitch_y_mm", _("Top edge to next top edge"), "F"),
    ("pad_mm", _("Blank edge in each label"), "G"),
    ("soil_mm", _("Part in the soil, of a stake tag"), "H"),
    ("shift_x_mm", _("Move the print to the right by"), ""),
    ("shift_y_mm", _("Move the print down by"), ""),
)
REQUIRED = ("label_width_mm", "label_height_mm")
ON_SHEETS = ("columns", "rows", "left_mm", "top_mm", "pitch_x_mm", "pitch_y_mm")


class LabelStockForm(RecordForm):
    model = LabelStock
    front = ("name", "paper", "label_width_mm", "label_height_mm", *ON_SHEETS)
    folded = ("pad_mm", "soil_mm", "shift_x_mm", "shift_y_mm")
    help_texts = {"name": _("What you call it, for example the maker's number.")}

    def prepare(self) -> None:
        is_inches = self.farm.units == Farm.Units.US
        unit = gettext("inches") if is_inches else gettext("mm")
        for name, words, letter in MEASURES:
            label = f"{words} ({letter}), {unit}" if letter else f"{words}, {unit}"
            self.fields[name] = MeasureField(
                is_inches=is_inches,
                may_be_negative=name.startswith("shift"),
                label=label,
                required=name in REQUIRED,
                help_text=self._help(name),
            )
        for name in ("pitch_x_mm", "pitch_y_mm"):
            self.fields[name].is_empty_zero = True
        self.fields["paper"].choices = LabelStock.Paper.choices
        for name, words in (("columns", _("Labels across")), ("rows", _("Labels down"))):
            self.fields[name] = forms.IntegerField(label=words, min_value=1, max_value=MOST_LABELS)

    @property
    def size_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in REQUIRED]

    @property
    def sheet_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ON_SHEETS]

    def _help(self, name: str) -> Any:
        return {
            "pitch_x_mm": _("Empty where labels touch."),
            "pitch_y_mm": _("Empty where labels touch."),
            "pad_mm": _("What the printer cannot reach or may miss."),
            "soil_mm": _("0 for a label that is stuck on. What goes into the soil stays blank."),
            "shift_x_mm": _("After a test print. A minus moves it to the left."),
            "shift_y_mm": _("After a test print. A minus moves it up."),
        }.get(name, "")
