"""Tray formats and layouts."""

from django.utils.translation import gettext_lazy as _

from nursery.forms.records.base import RecordForm
from nursery.forms.records.fields import LengthField
from nursery.models import Farm, Layout, TrayFormat


class TrayFormatForm(RecordForm):
    model = TrayFormat
    front = ("name", "rows", "columns")
    folded = ("length_mm", "width_mm")
    help_texts = {
        "name": _("What you call it, for example 72."),
        "rows": _("Counted from the label corner downwards, 1 to 26; the rows are lettered A, B, C."),
        "columns": _("Counted from the label corner to the right, 1 to 40."),
    }

    def prepare(self) -> None:
        is_inches = self.farm.units == Farm.Units.US
        labels = (
            {"length_mm": _("Length, inches"), "width_mm": _("Width, inches")}
            if is_inches
            else {"length_mm": _("Length, mm"), "width_mm": _("Width, mm")}
        )
        for name, label in labels.items():
            self.fields[name] = LengthField(is_inches=is_inches, label=label, required=False)


class LayoutForm(RecordForm):
    model = Layout
    front = ("name", "pattern", "skips_first")
