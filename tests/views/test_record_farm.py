"""The page of the farm's settings."""

from datetime import UTC, datetime

import pytest

from nursery.models import Farm

DATA = {
    "name": "Test farm",
    "time_zone": "Europe/Vienna",
    "label_address": "http://192.0.2.7:8000",
    "units": "us",
    "paper": "letter",
    "blade_rule": "fresh",
    "currency": "usd",
}
ACCESS = [("grower", 302), ("crew", 403), ("tablet", 403), ("stranger", 302)]


@pytest.mark.parametrize(("who", "status"), ACCESS)
def test_only_a_grower_changes_the_settings(request, who, status):
    assert request.getfixturevalue(who).post("/records/farm", DATA).status_code == status
    changed = Farm.objects.values("time_zone", "units", "paper", "blade_rule", "currency").get()
    assert (changed["currency"] == "USD") == (who == "grower")
    assert (changed["time_zone"] == "Europe/Vienna") == (who == "grower")


def test_shows_the_settings(grower):
    page = grower.get("/records/farm").content.decode()
    assert 'value="http://192.0.2.7:8000"' in page
    assert '<option value="UTC" selected>' in page


def test_offers_no_setting_that_nothing_honours(grower):
    assert "tray_word" not in grower.get("/records/farm").content.decode()


def test_wrong_method(grower):
    assert grower.put("/records/farm").status_code == 405


@pytest.mark.parametrize(
    ("field", "wrong", "words"),
    [
        ("time_zone", "Mars/Olympus", "Time zone: this is not in the book"),
        ("label_address", "192.168.1.20", "Write the address as http://"),
        ("currency", "€", "three letters"),
        ("name", " ", "Farm name: enter it"),
    ],
)
def test_wrong_input_leaves_the_farm_alone(grower, field, wrong, words):
    before = Farm.objects.values().get()
    response = grower.post("/records/farm", {**DATA, field: wrong})
    assert response.status_code == 422
    assert words in response.content.decode()
    assert Farm.objects.values().get() == before


def test_an_address_on_printed_labels_asks_first(grower):
    Farm.objects.update(label_address_fixed_at=datetime(2026, 3, 2, tzinfo=UTC))
    changed = {**DATA, "label_address": "http://192.0.2.8"}
    response = grower.post("/records/farm", changed)
    assert response.status_code == 422
    assert "labels already printed will not open here any more" in response.content.decode()
    assert grower.post("/records/farm", {**changed, "is_address_change_confirmed": "on"}).status_code == 302
    assert Farm.objects.get().label_address == "http://192.0.2.8"


def test_nothing_is_asked_before_the_first_print(grower):
    assert "will not open here" not in grower.get("/records/farm").content.decode()
