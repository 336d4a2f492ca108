"""The farm's settings: what an address, a zone and a currency may be, and when the address is fixed."""

from datetime import UTC, datetime

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.farm import label_address, save_farm
from nursery.models import Farm

PRINTED_AT = datetime(2026, 3, 2, tzinfo=UTC)


@pytest.mark.parametrize(
    ("typed", "stored"),
    [
        ("http://192.168.1.20:8000", "http://192.168.1.20:8000"),
        (" HTTPS://Farm.Example/ ", "https://farm.example"),
        ("http://[fe80::1]:8000", "http://[fe80::1]:8000"),
        ("http://nursery-pc", "http://nursery-pc"),
        ("", ""),
    ],
)
def test_takes_an_address(typed, stored):
    assert label_address(typed) == stored


@pytest.mark.parametrize(
    "typed",
    [
        "192.168.1.20:8000",
        "ftp://farm.example",
        "http://",
        "http://farm.example/flats",
        "http://farm.example?x=1",
        "http://farm.example:99999",
        "http://a b",
        "http://user@farm.example",
        "http://farm.example:",
    ],
)
def test_refuses_what_is_no_address(typed):
    with pytest.raises(ValidationError) as caught:
        label_address(typed)
    assert "label_address" in caught.value.message_dict


def test_stores_the_settings_of_a_farm_that_is_not_there_yet(db):
    save_farm(Farm.objects.current(), {"name": "Test farm", "time_zone": "Europe/Vienna", "currency": "eur"})
    farm = Farm.objects.get()
    assert (farm.pk, farm.time_zone, farm.currency) == (1, "Europe/Vienna", "EUR")


def test_sees_that_a_label_was_printed_meanwhile(farm):
    loaded = Farm.objects.get()
    Farm.objects.update(label_address_fixed_at=PRINTED_AT)
    with pytest.raises(ValidationError, match="printed already"):
        save_farm(loaded, {"label_address": "http://192.0.2.8"})
    assert Farm.objects.get().label_address == farm.label_address


def test_an_address_left_as_it_was_keeps_the_one_given_meanwhile(farm):
    Farm.objects.update(label_address="http://192.0.2.8", label_address_fixed_at=PRINTED_AT)
    save_farm(farm, {"name": "Other farm", "label_address": farm.label_address})
    assert Farm.objects.get().label_address == "http://192.0.2.8"


def test_keeps_columns_changed_meanwhile(farm):
    Farm.objects.update(paper="letter")
    save_farm(farm, {"name": "Other farm", "paper": farm.paper})
    farm.refresh_from_db()
    assert (farm.name, farm.paper) == ("Other farm", "letter")


@pytest.mark.parametrize(
    ("field", "value"), [("time_zone", "Mars/Olympus"), ("currency", "EURO"), ("name", ""), ("units", "ells")]
)
def test_refuses_by_field(farm, field, value):
    with pytest.raises(ValidationError) as caught:
        save_farm(farm, {field: value})
    assert field in caught.value.message_dict
    assert getattr(Farm.objects.get(), field) != value


def test_an_address_on_printed_labels_changes_only_when_confirmed(farm):
    Farm.objects.update(label_address_fixed_at=PRINTED_AT)
    farm.refresh_from_db()
    with pytest.raises(ValidationError, match="printed already"):
        save_farm(farm, {"label_address": "http://192.0.2.8"})
    assert Farm.objects.get().label_address == "http://192.0.2.7:8000"
    save_farm(farm, {"label_address": "http://192.0.2.8"}, is_address_change_confirmed=True)
    farm.refresh_from_db()
    assert (farm.label_address, farm.label_address_fixed_at) == ("http://192.0.2.8", None)


def test_the_same_address_needs_no_confirmation(farm):
    Farm.objects.update(label_address_fixed_at=PRINTED_AT)
    farm.refresh_from_db()
    save_farm(farm, {"label_address": "http://192.0.2.7:8000/", "units": "us"})
    farm.refresh_from_db()
    assert (farm.units, farm.label_address_fixed_at) == ("us", PRINTED_AT)
