"""Wrong passwords are slowed down, whoever is meant and whoever tries."""

import time

import pytest
from django.conf import settings
from django.contrib.auth import hashers
from django.test import Client
from django.urls import reverse

from nursery.actions import wrong_tries
from nursery.actions.first_account import new_first_key
from nursery.models import Account

RIGHT = {"username": "alice", "password": "a-long-password"}


@pytest.fixture
def clock(monkeypatch):
    """A clock that is put on by hand: ``clock[0] += seconds``."""
    now = [time.time()]
    monkeypatch.setattr(wrong_tries.time, "time", lambda: now[0])
    return now


def attempt(client, address="192.0.2.1", headers=None, **fields):
    return client.post(reverse("login"), {**RIGHT, **fields}, REMOTE_ADDR=address, headers=headers)


def guess(times, *, address="192.0.2.1", **fields):
    """Try wrong passwords from a browser that nobody knows."""
    answers = [attempt(Client(), address, **{"password": "wrong-one", **fields}) for _ in range(times)]
    return [answer.status_code for answer in answers]


def test_the_sixth_wrong_try_has_to_wait(stranger, alice, clock):
    assert guess(6) == [422] * 5 + [429]


def test_the_wait_is_said_in_words_and_to_the_browser(stranger, alice, clock):
    guess(5)
    answer = attempt(stranger)
    assert answer.status_code == 429
    assert "Wait 30 seconds" in answer.content.decode()
    assert 29 <= int(answer.headers["Retry-After"]) <= 31


def test_the_right_password_is_not_tried_during_the_wait(stranger, alice, clock):
    guess(5)
    assert attempt(stranger).status_code == 429
    assert stranger.get("/").status_code == 302


def test_after_the_wait_the_right_password_lets_in_and_all_is_forgotten(stranger, alice, clock):
    guess(5)
    clock[0] += 31
    assert attempt(stranger).status_code == 302
    assert guess(5) == [422] * 5


def test_the_wait_doubles_and_ends_at_a_quarter_of_an_hour(stranger, alice, clock):
    waits = []
    guess(5)
    for _ in range(7):
        waits.append(int(attempt(stranger).headers["Retry-After"]))
        clock[0] += waits[-1] + 1
        assert guess(1) == [422]
        clock[0] += 0.001
    assert [round(wait, -1) for wait in waits] == [30, 60, 120, 240, 480, 900, 900]


def test_trying_during_the_wait_makes_it_no_longer(stranger, alice, clock):
    guess(5)
    assert guess(20) == [429] * 20
    clock[0] += 31
    assert attempt(stranger).status_code == 302


def test_a_day_without_a_wrong_try_forgets_all(alice, farm, clock):
    guess(5)
    clock[0] += 24 * 60 * 60 + 1
    assert guess(6) == [422] * 5 + [429]


def test_another_name_does_not_wait(stranger, alice, bob, clock):
    guess(6)
    assert attempt(stranger, username="bob").status_code == 302


def test_a_name_waits_however_it_is_written(alice, farm, clock):
    guess(3)
    assert guess(3, username=" ALICE ") == [422, 422, 429]


def test_an_address_that_tries_many_names_waits(alice, farm, clock):
    answers = [guess(1, username=f"name{number}")[0] for number in range(21)]
    assert answers == [422] * 20 + [429]
    assert guess(1, username="another", address="192.0.2.2") == [422]


def test_a_login_of_ones_own_frees_no_guessing_at_others(stranger, alice, bob, clock):
    for number in range(20):
        guess(1, username=f"name{number}")
        clock[0] += 0.001
    clock[0] += 31
    assert attempt(stranger, username="bob").status_code == 302
    assert guess(2, username="alice") == [422, 429]


def test_neighbours_in_ipv6_are_one_address(alice, farm, clock):
    answers = [
        guess(1, username=f"name{number}", address=f"2001:db8::{number + 1:x}")[0] for number in range(21)
    ]
    assert answers[-1] == 429
    assert guess(1, username="another", address="2001:db8:0:1::1") == [422]


def test_a_proxy_is_not_taken_for_who_tries(alice, farm, clock, settings):
    settings.HTTPS = True
    for number in range(21):
        headers = {"X-Forwarded-For": f"198.51.100.9, 203.0.113.{number}"}
        answer = attempt(Client(), username=f"name{number}", password="wrong-one", headers=headers)
        assert answer.status_code == 422


def test_without_a_proxy_nobody_chooses_an_address(alice, farm, clock):
    statuses = []
    for number in range(21):
        headers = {"X-Forwarded-For": f"203.0.113.{number}"}
        answer = attempt(Client(), username=f"name{number}", password="wrong-one", headers=headers)
        statuses.append(answer.status_code)
    assert statuses[-1] == 429


def test_who_tries_all_day_does_not_shut_the_grower_out(alice, farm, clock):
    own = Client()
    assert attempt(own).status_code == 302
    own.post(reverse("logout"))
    guess(30)
    assert attempt(own).status_code == 302


def test_a_known_browser_has_a_count_of_its_own(alice, farm, clock):
    own = Client()
    attempt(own)
    own.post(reverse("logout"))
    assert [attempt(own, password="wrong-one").status_code for _ in range(6)] == [422] * 5 + [429]


def test_a_browser_is_known_for_its_own_name_only(alice, bob, farm, clock):
    own = Client()
    attempt(own, username="bob")
    own.post(reverse("logout"))
    cookie = own.cookies[wrong_tries.known_cookie_name("bob")].value
    own.cookies[wrong_tries.known_cookie_name("alice")] = cookie
    guess(5)
    assert attempt(own).status_code == 429


def test_a_new_password_set_by_a_grower_ends_the_wait(stranger, grower, bob, clock):
    guess(6, username="bob")
    grower.post(reverse("account-password", args=["bob"]), {"password": "quite-a-new-one"})
    assert attempt(stranger, username="bob", password="quite-a-new-one").status_code == 302


def test_neither_words_nor_work_tell_whether_a_name_exists(alice, farm, clock, monkeypatch):
    alice.is_active = False
    alice.save(update_fields=["is_active"])
    Account.objects.create_user("carol", password="a-long-password")
    hashed, encode = [], hashers.MD5PasswordHasher.encode

    def counted(hasher, password, salt):
        hashed.append(password)
        return encode(hasher, password, salt)

    monkeypatch.setattr(hashers.MD5PasswordHasher, "encode", counted)
    pages, works = set(), set()
    for name in ("alice", "carol", "nobody"):  # switched off, there, unknown
        hashed.clear()
        text = attempt(Client(), username=name, password="wrong-one").content.decode()
        pages.add(text[text.index("errorlist") : text.index("</ul>")])
        works.add(len(hashed))
    assert len(pages) == 1
    assert works == {1}
    waiting = {
        attempt(Client(), username=name).status_code
        for name in ("carol", "nobody")
        if guess(5, username=name)
    }
    assert waiting == {429}


def test_the_count_is_kept_over_a_restart_and_names_nobody(alice, farm, clock):
    guess(3)
    file = settings.DATA_DIR / wrong_tries.FILE
    assert file.stat().st_mode & 0o777 == 0o600
    assert b"alice" not in file.read_bytes()
    assert b"192.0.2.1" not in file.read_bytes()


def test_a_damaged_file_is_begun_anew(stranger, alice, clock):
    (settings.DATA_DIR / wrong_tries.FILE).write_bytes(b"nothing of the kind" * 100)
    assert attempt(stranger).status_code == 302


# --- the key of the first login

ENTRY = {
    "farm_name": "Brook Farm",
    "time_zone": "Europe/Prague",
    "username": "ada",
    "password": "quite-a-long-one",
    "worker_name": "",
}


def enter(key, **fields):
    return Client().post(reverse("first-account"), {**ENTRY, "key": key, **fields})


@pytest.fixture
def key(db, tmp_path, settings):
    settings.DATA_DIR = tmp_path
    return new_first_key(tmp_path)


def test_guessing_the_key_is_slowed_down_too(key, clock):
    assert [enter("0000-0000-0000").status_code for _ in range(6)] == [422] * 5 + [429]
    assert enter(key).status_code == 429
    assert not Account.objects.exists()
    clock[0] += 31
    assert enter(key).status_code == 302


def test_a_weak_password_is_no_wrong_key(key, clock):
    assert {enter(key, password="12345678").status_code for _ in range(8)} == {422}
    assert enter(key).status_code == 302
