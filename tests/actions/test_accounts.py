import pytest
from django.core.exceptions import ValidationError

from nursery.actions.accounts import change_account, create_account, set_password
from nursery.models import Account, Worker
from tests.factories import make_worker


def test_changing_the_role_keeps_a_password_set_meanwhile(alice, bob, client):
    loaded = Account.objects.get(pk=bob.pk)
    set_password(bob, "another-good-one")
    change_account(loaded, kind="grower", worker=None, is_active=True)
    assert client.login(username="bob", password="another-good-one")


def test_setting_a_password_keeps_a_role_given_meanwhile(bob):
    loaded = Account.objects.get(pk=bob.pk)
    Account.objects.filter(pk=bob.pk).update(role="grower")
    set_password(loaded, "another-good-one")
    assert Account.objects.get(pk=bob.pk).role == "grower"


def test_a_worker_given_away_meanwhile_is_refused(alice, bob):
    wren = make_worker("Wren")
    Worker.objects.filter(pk=wren.pk).update(account=alice)
    with pytest.raises(ValidationError, match="login already"):
        create_account(username="dana", password="quite-a-long-one", kind="crew", worker=wren)
    assert not Account.objects.filter(username="dana").exists()


def test_a_name_taken_at_the_same_moment_is_refused_in_words(bob, monkeypatch):
    monkeypatch.setattr(Account, "full_clean", lambda self, exclude: None)  # looked before the other stored
    with pytest.raises(ValidationError, match="just taken this name"):
        create_account(username="bob", password="quite-a-long-one", kind="crew", worker=None)


def test_moves_a_login_from_one_worker_to_another(alice, bob):
    wren = make_worker("Wren")
    change_account(bob, kind="crew", worker=wren, is_active=True)
    assert list(Worker.objects.filter(account=bob)) == [wren]
