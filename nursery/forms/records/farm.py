"""The farm's settings."""

import functools
import zoneinfo
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from nursery.forms.records.base import RecordForm
from nursery.models import Farm


@functools.cache
def zone_choices() -> list[tuple[str, Any]]:
    """Return the time zones of the machine, grouped by the part before the first slash."""
    areas: dict[str, list[tuple[str, str]]] = {}
    for name in sorted(zoneinfo.available_timezones()):
        area, _slash, rest = name.partition("/")
        if rest and area not in {"Etc", "SystemV", "posix", "right", "US"}:
            areas.setdefault(area, []).append((name, rest.replace("_", " ")))
    return [("UTC", "UTC"), *areas.items()]


class FarmForm(RecordForm):
    model = Farm
    front = ("name", "time_zone", "label_address", "is_address_change_confirmed")
    folded = ("units", "paper", "blade_rule", "currency")
    help_texts = {
        "currency": _("Three letters, for example EUR or USD."),
        "label_address": _(
            "Where a phone finds this program, for example http://192.168.1.20:8000. "
            "It is printed on every label and stays fixed from the first print on."
        ),
    }
    is_address_change_confirmed = forms.BooleanField(
        label=_("Change it: labels already printed will not open here any more"), required=False
    )

    def prepare(self) -> None:
        known = dict(_flat_choices(zone_choices()))
        zones = zone_choices()
        if self.record.time_zone not in known:
            zones = [(self.record.time_zone, self.record.time_zone), *zones]
        self.fields["time_zone"] = forms.ChoiceField(label=_("Time zone"), choices=zones)
        if not self.record.label_address_fixed_at:
            del self.fields["is_address_change_confirmed"]

    @property
    def is_confirmed(self) -> bool:
        return bool(self.cleaned_data.get("is_address_change_confirmed"))


def _flat_choices(choices: list[tuple[str, Any]]) -> list[tuple[str, str]]:
    pairs = []
    for name, label in choices:
        pairs += label if isinstance(label, list) else [(name, label)]
    return pairs
