"""Change the farm's settings."""

import re
import zoneinfo
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from nursery.actions.records import Values, save_record
from nursery.models import Farm

_ADDRESS = re.compile(
    r"https?://(?:[a-z0-9](?:[a-z0-9.-]*[a-z0-9])?|\[[0-9a-f:.]+\])(?::(\d{1,5}))?", re.ASCII
)
PORT_MOST = 65535


@transaction.atomic
def save_farm(farm: Farm, values: Values, *, is_address_change_confirmed: bool = False) -> None:
    """Store the settings. An address that stands on printed labels changes only when that is confirmed."""
    values = dict(values)
    if "time_zone" in values:
        _refuse_unknown_zone(values["time_zone"])
    if "currency" in values:
        values["currency"] = _currency(values["currency"])
    if "label_address" in values:
        values["label_address"] = label_address(values["label_address"])
        if values["label_address"] != farm.label_address:
            values |= _released(farm, is_confirmed=is_address_change_confirmed)
    save_record(farm, values)


def label_address(text: str) -> str:
    """Return an address as labels carry it, without a slash at its end; ValidationError if it is none."""
    address = text.strip().rstrip("/").lower()
    match = _ADDRESS.fullmatch(address)
    if address and (not match or int(match[1] or 0) > PORT_MOST):
        _refuse(
            "label_address",
            _(
                "Write the address as http:// or https:// with a name or number and perhaps a port, "
                "and nothing after it: http://192.168.1.20:8000."
            ),
        )
    return address


def _released(farm: Farm, *, is_confirmed: bool) -> dict[str, Any]:
    """Return what else changes with the address: it is fixed anew by the next print.

    The farm is read again and held, as somebody may be printing: their label fixes the address first, or
    waits and carries the new one.
    """
    stored = Farm.objects.select_for_update().filter(pk=farm.pk).first()
    if stored is None or not stored.label_address_fixed_at:
        return {}
    farm.label_address_fixed_at = stored.label_address_fixed_at
    if not is_confirmed:
        _refuse(
            "label_address",
            _("Labels with %(address)s are printed already. Tick the box under it to change it all the same.")
            % {"address": stored.label_address},
        )
    return {"label_address_fixed_at": None}


def _currency(text: str) -> str:
    currency = text.strip().upper()
    if not re.fullmatch(r"[A-Z]{3}", currency):
        _refuse("currency", _("Write the currency as three letters, for example EUR."))
    return currency


def _refuse_unknown_zone(name: str) -> None:
    if name not in zoneinfo.available_timezones():
        _refuse("time_zone", _("“%(name)s” is no time zone. Choose one from the list.") % {"name": name})


def _refuse(field: str, text: str) -> None:
    raise ValidationError({field: [text]})
