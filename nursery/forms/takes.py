"""What the take page is asked for, in its address."""

from django import forms

from nursery.models import Crop, Season
from nursery.models.takes import TakeBy


class TakeFilterForm(forms.Form):
    by = forms.ChoiceField(choices=[(by.value, by.value) for by in TakeBy], required=False)
    season = forms.ModelChoiceField(Season.objects.all(), required=False, to_field_name="key")
    crop = forms.ModelChoiceField(Crop.objects.all(), required=False, to_field_name="key")

    def clean_by(self) -> TakeBy:
        return TakeBy(self.cleaned_data["by"] or TakeBy.PAIRING)
