"""Forms of moving together: which plants, and the flat they come to."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.forms.bench import KeyField
from nursery.forms.leaving import NUMBER, DayField, PlantsForm
from nursery.models import Layout, TrayFormat

EXISTING, NEW, POOL = "existing", "new", "pool"


class MoveForm(PlantsForm):
    """Plants of one flat move to a flat of the book, or to a new tray, cell by cell or by number."""

    to = forms.ChoiceField(
        label=gettext_lazy("Where to"),
        choices=[
            (EXISTING, gettext_lazy("A flat with a code")),
            (NEW, gettext_lazy("A new flat, cell by cell")),
            (POOL, gettext_lazy("A new pooled flat, by number")),
        ],
        widget=forms.RadioSelect,
        initial=EXISTING,
    )
    code = forms.CharField(
        label=gettext_lazy("Code of the flat"),
        required=False,
        max_length=200,
        help_text=gettext_lazy("Scan or type it. For a new flat: of a label printed ahead, or nothing."),
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )
    tray_format = KeyField(TrayFormat.objects.all(), label=gettext_lazy("Cells"), empty_label=None)
    layout = KeyField(Layout.objects.all(), label=gettext_lazy("Layout"), empty_label=None)
    day = DayField()

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        if said.get("to") == EXISTING and not said.get("code", "").strip():
            self.add_error("code", _("Scan or type the code of the flat they come to."))
        if said.get("to") == NEW and said.get("how") == NUMBER:
            raise ValidationError(_("By number plants move to a pooled flat: which is which is not kept."))
        return said

    @property
    def tray_fields(self) -> list[forms.BoundField]:
        return [self["tray_format"], self["layout"]]
