import pytest
from django.core.exceptions import ValidationError

from nursery.actions import first_account
from nursery.actions.first_account import create_first_account, new_first_key
from nursery.models import Account, Farm, Worker
from tests.factories import make_worker

FARM = {"name": "Brook Farm", "time_zone": "UTC"}
LOGIN = {"username": "ada", "password": "quite-a-long-one", "worker_name": ""}


def test_the_slower_of_two_browsers_is_refused(tmp_path, alice):
    """Both saw an empty book; the other one's account arrives before ours looks."""
    key = new_first_key(tmp_path)
    with pytest.raises(ValidationError, match="someone else"):
        create_first_account(tmp_path, key=key, farm=FARM, login=LOGIN)
    assert Account.objects.count() == 1
    assert not Farm.objects.exists()


def test_keeps_other_settings_of_a_farm_that_is_there(db, tmp_path):
    Farm.objects.create(pk=1, name="", currency="CZK")
    create_first_account(tmp_path, key=new_first_key(tmp_path), farm=FARM, login=LOGIN)
    assert (Farm.objects.get().name, Farm.objects.get().currency) == ("Brook Farm", "CZK")


def test_takes_the_worker_that_an_imported_season_named(db, tmp_path):
    make_worker("Ada", is_active=False)
    login = {**LOGIN, "worker_name": "Ada"}
    account = create_first_account(tmp_path, key=new_first_key(tmp_path), farm=FARM, login=login)
    assert (Worker.objects.get().account, Worker.objects.get().is_active) == (account, True)


def test_a_key_has_sixty_random_bits():
    assert first_account.KEY_GROUPS * first_account.GROUP_LENGTH * 5 == 60
