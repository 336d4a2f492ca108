import pytest
from django.urls import reverse

from nursery.models import Account, Worker
from tests.factories import make_worker

NEW = {"username": "dana", "password": "quite-a-long-one", "kind": "crew", "worker": ""}
LIST, MAKE = reverse("account-list"), reverse("account-new")


def edit(name="bob"):
    return reverse("account-edit", args=[name])


def password(name="bob"):
    return reverse("account-password", args=[name])


ADDRESSES = [
    ("get", LIST),
    ("get", MAKE),
    ("post", MAKE),
    ("get", edit()),
    ("post", edit()),
    ("post", password()),
]


@pytest.mark.parametrize(("method", "address"), ADDRESSES)
def test_crew_keeps_no_logins(crew, method, address):
    assert getattr(crew, method)(address).status_code == 403


@pytest.mark.parametrize(("method", "address"), ADDRESSES)
def test_a_shared_tablet_keeps_no_logins(tablet, method, address):
    assert getattr(tablet, method)(address).status_code == 403


@pytest.mark.parametrize(("method", "address"), ADDRESSES)
def test_nobody_is_asked_to_log_in(stranger, alice, method, address):
    assert getattr(stranger, method)(address).url.startswith(reverse("login"))


def test_lists_every_login_with_its_worker(grower, bob):
    text = grower.get(LIST).content.decode()
    assert "alice" in text
    assert "Bob" in text


@pytest.mark.parametrize(
    ("kind", "role", "is_shared"),
    [("crew", "crew", False), ("tablet", "crew", True), ("grower", "grower", False)],
)
def test_makes_a_login_of_each_kind(grower, client, kind, role, is_shared):
    assert grower.post(MAKE, {**NEW, "kind": kind}).url == LIST
    account = Account.objects.get(username="dana")
    assert (account.role, account.is_shared) == (role, is_shared)
    assert client.login(username="dana", password="quite-a-long-one")


def test_links_a_new_login_to_a_worker(grower):
    wren = make_worker("Wren")
    grower.post(MAKE, {**NEW, "worker": wren.key})
    wren.refresh_from_db()
    assert wren.account.username == "dana"


@pytest.mark.parametrize(
    "wrong",
    [
        {"username": "alice"},
        {"username": ""},
        {"password": "short"},
        {"password": "password1"},
        {"kind": "owner"},
    ],
)
def test_a_wrong_entry_makes_no_login(grower, wrong):
    answer = grower.post(MAKE, {**NEW, **wrong})
    assert answer.status_code == 422
    assert "errorlist" in answer.content.decode()
    assert Account.objects.count() == 1


def test_a_shared_tablet_belongs_to_nobody(grower):
    answer = grower.post(MAKE, {**NEW, "kind": "tablet", "worker": make_worker().key})
    assert answer.status_code == 422
    assert not Account.objects.filter(username="dana").exists()


def test_a_worker_with_a_login_is_not_offered(grower, bob):
    answer = grower.post(MAKE, {**NEW, "worker": bob.worker.key})
    assert answer.status_code == 422


def test_changes_what_a_login_may_do(grower, bob):
    answer = grower.post(edit(), {"kind": "grower", "worker": bob.worker.key, "is_active": "on"})
    assert answer.url == LIST
    bob.refresh_from_db()
    assert (bob.role, bob.is_active, bob.worker.name) == ("grower", True, "Bob")


def test_switches_a_login_off_and_frees_its_worker(grower, crew, bob):
    grower.post(edit(), {"kind": "crew", "worker": ""})
    assert not Worker.objects.get(name="Bob").account
    assert crew.get("/").url.startswith(reverse("login"))


@pytest.mark.parametrize("change", [{"kind": "crew", "is_active": "on"}, {"kind": "grower"}])
def test_the_last_grower_stays(grower, alice, change):
    assert grower.post(edit("alice"), {"worker": "", **change}).status_code == 422
    alice.refresh_from_db()
    assert (alice.role, alice.is_active) == ("grower", True)


def test_sets_a_password(grower, bob, client):
    assert grower.post(password(), {"password": "another-good-one"}).url == LIST
    assert client.login(username="bob", password="another-good-one")


def test_setting_ones_own_password_keeps_the_login(grower, alice):
    grower.post(password("alice"), {"password": "another-good-one"})
    assert grower.get(LIST).status_code == 200


def test_a_weak_password_is_refused(grower, bob, client):
    assert grower.post(password(), {"password": "short"}).status_code == 422
    assert client.login(username="bob", password="a-long-password")


def test_an_unknown_name_is_not_found(grower):
    assert grower.get(edit("nobody")).status_code == 404


def test_the_password_address_takes_posts_only(grower, bob):
    assert grower.get(password()).status_code == 405
