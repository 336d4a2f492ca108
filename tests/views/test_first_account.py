import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from nursery.actions.first_account import KEY_FILE, drop_first_key, new_first_key
from nursery.models import Account, Farm, Worker

ENTRY = {
    "farm_name": "Brook Farm",
    "time_zone": "Europe/Prague",
    "username": "ada",
    "password": "quite-a-long-one",
    "worker_name": "Ada",
}


@pytest.fixture
def key(tmp_path, settings):
    settings.DATA_DIR = tmp_path
    return new_first_key(tmp_path)


@pytest.fixture
def visitor(db):
    """A browser before there is a farm."""
    return Client()


def send(client, **entry):
    return client.post(reverse("first-account"), {**ENTRY, **entry})


def test_names_the_farm_and_logs_its_grower_in(visitor, key):
    assert send(visitor, key=key).url == "/"
    farm, account = Farm.objects.get(), Account.objects.get()
    assert (farm.pk, farm.name, farm.time_zone) == (1, "Brook Farm", "Europe/Prague")
    assert account.is_grower
    assert account.worker.name == "Ada"
    assert visitor.get("/").status_code == 200


def test_a_grower_who_never_grafts_is_no_worker(visitor, key):
    send(visitor, key=key, worker_name="")
    assert not Worker.objects.exists()


@pytest.mark.parametrize("typed", [str.lower, lambda key: key.replace("-", ""), lambda key: f" {key} "])
def test_forgives_how_the_key_is_typed(visitor, key, typed):
    assert send(visitor, key=typed(key)).status_code == 302


@pytest.mark.parametrize(
    "wrong",
    [
        {"key": "0000-0000-0000"},
        {"key": ""},
        {"password": "short"},
        {"password": "1234567890"},
        {"username": "with blank"},
        {"time_zone": "Mars/Olympus"},
        {"farm_name": ""},
    ],
)
def test_a_wrong_entry_stores_nothing(visitor, key, wrong):
    answer = send(visitor, **{"key": key, **wrong})
    assert answer.status_code == 422
    assert "errorlist" in answer.content.decode()
    assert not Account.objects.exists()
    assert not Farm.objects.exists()


def test_without_a_key_in_the_folder_none_fits(visitor, key):
    drop_first_key(settings.DATA_DIR)
    for entry in (key, "-"):
        assert send(visitor, key=entry).status_code == 422


def test_the_key_is_gone_after_the_first_account(visitor, key, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        send(visitor, key=key)
    assert not (settings.DATA_DIR / KEY_FILE).exists()


def test_a_second_account_is_not_made_this_way(visitor, key, alice):
    assert send(visitor, key=key).url == reverse("login")
    assert Account.objects.count() == 1


def test_every_start_has_a_new_key(key):
    assert new_first_key(settings.DATA_DIR) != key
