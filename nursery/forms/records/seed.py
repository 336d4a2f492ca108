"""Seed lots, sowings, and the stand of a sowing."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from nursery.forms.records.base import MOST, RecordForm, RowChoiceField, date_input, say_it_plainly
from nursery.forms.records.fields import PercentField
from nursery.models import SeedLot, Sowing, TrayFormat

FLATS_MOST = 500


class SeedLotForm(RecordForm):
    model = SeedLot
    front = ("cultivar", "lot_number", "seeds_count")
    folded = (
        "supplier",
        "price",
        "germination_share",
        "germination_tested_on",
        "treatment",
        "organic",
        "received_on",
        "is_on_hold",
        "note",
    )
    germination_share = PercentField(
        label=_("Germination, %"), required=False, help_text=_("As the supplier or your own test says.")
    )

    def prepare(self) -> None:
        label = _("Price of the lot, {currency}")
        self.fields["price"].label = format_lazy(label, currency=self.farm.currency)


class SowingForm(RecordForm):
    model = Sowing
    front = ("lot", "sown_on", "seeds_count")
    folded = ("flats_count", "tray_format", "stand_count", "stand_counted_on", "usable_count", "note")
    flats_count = forms.IntegerField(
        label=_("Sown in flats"),
        required=False,
        min_value=1,
        max_value=FLATS_MOST,
        help_text=_("How many flats, where the plants are grafted in place. Each gets its own code."),
    )
    tray_format = RowChoiceField(
        TrayFormat.objects.all(),
        label=_("Format of these flats"),
        required=False,
        to_field_name="key",
        empty_label=_("Choose"),
    )

    def prepare(self) -> None:
        self.fields["lot"].queryset = self.fields["lot"].queryset.filter(is_on_hold=False) | self.fields[
            "lot"
        ].queryset.filter(pk=self.record.lot_id)
        if self.record.pk is None:
            self.initial.setdefault("sown_on", None)
            self.initial["sown_on"] = self.initial["sown_on"] or timezone.localdate()
        else:
            self.fields["flats_count"].label = _("More flats from this sowing")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        has_count, has_format = bool(cleaned.get("flats_count")), bool(cleaned.get("tray_format"))
        if has_count and not has_format and "tray_format" not in self.errors:
            self.add_error("tray_format", ValidationError(_("Choose the format of the flats.")))
        if has_format and not has_count and "flats_count" not in self.errors:
            self.add_error("flats_count", ValidationError(_("Say how many flats were sown.")))
        return cleaned


class StandForm(forms.Form):
    """What came up of a sowing, entered on its own page."""

    stand_count = forms.IntegerField(
        label=_("Stand (plants up)"), required=False, min_value=0, max_value=MOST
    )
    usable_count = forms.IntegerField(label=_("Usable plants"), required=False, min_value=0, max_value=MOST)
    stand_counted_on = forms.DateField(label=_("Counted on"), required=False, widget=date_input())

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for field in self.fields.values():
            say_it_plainly(field)
