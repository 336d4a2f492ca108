"""What is typed on the page of the tablets."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from nursery.models import Device


class DeviceNameForm(forms.Form):
    """The name of one tablet, in its row of the list."""

    name = forms.CharField(label=_("Name"), required=False)

    def __init__(self, data: Any = None, *, device: Device) -> None:
        super().__init__(data, initial={"name": device.name}, auto_id=f"name-{device.uuid}")
        self.device = device
        self.fields["name"].widget.attrs |= {
            "maxlength": Device._meta.get_field("name").max_length,
            "autocomplete": "off",
        }


class WithdrawForm(forms.Form):
    account = forms.CharField()
