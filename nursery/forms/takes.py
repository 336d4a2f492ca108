"""What the take page is asked for, in its address."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from nursery.models import Crop, Pairing, Season
from nursery.models.take_cuts import MIXED, NOT_RECORDED, RowKey
from nursery.models.take_filter import TakeFilter
from nursery.models.take_rows import MIXED_SAID, NOT_RECORDED_SAID, PAIR_SIGN, read_names
from nursery.models.takes import TakeBy

SAID = {
    "by": _("Compare by"),
    "season": _("Season"),
    "crop": _("Crop"),
    "first_day": _("Grafted from"),
    "last_day": _("Grafted until"),
    TakeBy.PAIRING.value: _("Pairing"),
    TakeBy.METHOD.value: _("Method"),
    TakeBy.SCION_LOT.value: _("Scion lot"),
    TakeBy.ROOTSTOCK_LOT.value: _("Rootstock lot"),
    TakeBy.SESSION.value: _("Session"),
    TakeBy.PLACE.value: _("Place"),
    TakeBy.ROOTS.value: _("Roots"),
    TakeBy.GRAFTER.value: _("Grafter"),
}


class TakeFilterForm(forms.Form):
    """``by`` is the cut; the name of any cut holds the public key of a row of it, and keeps to that row."""

    by = forms.ChoiceField(choices=[(by.value, by.value) for by in TakeBy], required=False)
    season = forms.ModelChoiceField(Season.objects.all(), required=False, to_field_name="key")
    crop = forms.ModelChoiceField(Crop.objects.all(), required=False, to_field_name="key")
    first_day = forms.DateField(required=False, label=_("Grafted from"))
    last_day = forms.DateField(required=False, label=_("Grafted until"))
    heads = forms.BooleanField(required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for by in TakeBy:
            self.fields[by.value] = forms.CharField(required=False, max_length=120)

    def clean_by(self) -> TakeBy:
        return TakeBy(self.cleaned_data["by"] or TakeBy.PAIRING)

    def clean(self) -> dict[str, Any]:
        """Turn the public keys of rows into rows; an error for one that the book does not know."""
        self.rows: dict[TakeBy, RowKey] = {}
        for by in TakeBy:
            public = self.cleaned_data.get(by.value)
            if not public:
                continue
            key = row_of(by, public)
            if key is None:
                self.add_error(by.value, _("The book knows no such row."))
            else:
                self.rows[by] = key
        first, last = self.cleaned_data.get("first_day"), self.cleaned_data.get("last_day")
        if first and last and last < first:
            self.add_error("last_day", _("The last day lies before the first."))
        return self.cleaned_data

    def said(self, name: str) -> tuple[str, str]:
        """Return what a part of the address is about, in words, and what stands in it."""
        return str(SAID.get(name, name)), str(self.data.get(name, ""))

    def only(self) -> TakeFilter:
        """Return the filter that the address asks for."""
        asked = self.cleaned_data
        return TakeFilter(
            season=asked["season"],
            crop=asked["crop"],
            rows=self.rows,
            first_day=asked["first_day"],
            last_day=asked["last_day"],
        )


def row_of(by: TakeBy, public: str) -> RowKey | None:
    """Return the row of a cut that a public key stands for, None if there is none."""
    if public == NOT_RECORDED_SAID and by not in (TakeBy.PAIRING, TakeBy.METHOD):
        return NOT_RECORDED
    if public == MIXED_SAID and by in (TakeBy.SCION_LOT, TakeBy.ROOTSTOCK_LOT):
        return MIXED
    if by is TakeBy.PAIRING:
        keys = {str(key): pk for pk, key in Pairing.objects.values_list("pk", "key")}
    else:
        keys = {called.public: key for key, called in read_names(by).items()}
    parts = public.split(PAIR_SIGN)
    if len(parts) > (2 if by is TakeBy.GRAFTER else 1) or not all(part in keys for part in parts):
        return None
    return tuple(keys[part] for part in parts)
