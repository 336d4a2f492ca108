import pytest
from django.urls import reverse

from nursery.actions.demo_accounts import DEMO_PASSWORD, create_demo_accounts
from nursery.models import Farm

RIGHT = {"username": "alice", "password": "a-long-password"}


def log_in(client, **fields):
    return client.post(reverse("login"), {**RIGHT, **fields})


def test_lets_in_with_name_and_password(stranger, alice):
    answer = log_in(stranger)
    assert (answer.status_code, answer.url) == (302, "/")
    assert stranger.get("/").status_code == 200


@pytest.mark.parametrize(
    "wrong", [{"password": "another-password"}, {"username": "nobody"}, {"password": ""}]
)
def test_a_wrong_entry_stays_outside_and_says_so(stranger, alice, wrong):
    answer = log_in(stranger, **wrong)
    assert answer.status_code == 422
    assert "errorlist" in answer.content.decode()
    assert stranger.get("/").status_code == 302


def test_a_wrong_password_tells_the_remedy(stranger, alice):
    text = log_in(stranger, password="another-password").content.decode()
    assert "a grower can set a new password" in text


def test_a_login_switched_off_stays_outside(stranger, alice):
    alice.is_active = False
    alice.save(update_fields=["is_active"])
    assert log_in(stranger).status_code == 422


def test_goes_on_to_the_page_that_was_wanted(stranger, alice):
    assert stranger.get("/flats").url == "/login?next=/flats"
    assert log_in(stranger, next="/flats").url == "/flats"


def test_who_was_logged_out_at_a_form_comes_back_to_its_page(stranger, alice):
    answer = stranger.post("/bench/start", headers={"Referer": "http://testserver/bench?a=1#b"})
    assert answer.url == "/login?next=/bench%3Fa%3D1"
    assert "Nothing was stored" in stranger.get(answer.url).content.decode()


@pytest.mark.parametrize("sent_from", ["", "http://elsewhere.example/bench", "javascript:void"])
def test_who_was_logged_out_at_a_form_of_no_page_starts_anew(stranger, alice, sent_from):
    assert stranger.post("/bench/start", headers={"Referer": sent_from}).url == "/login?next=/"


def test_an_address_that_takes_forms_only_is_no_empty_screen(crew):
    answer = crew.get("/bench/start")
    assert (answer.status_code, answer.headers["Allow"]) == (405, "POST")
    assert "only takes what a form sends" in answer.content.decode()


def test_never_leads_to_another_site(stranger, alice):
    assert log_in(stranger, next="https://elsewhere.example/").url == "/"


def test_without_any_account_the_first_one_is_made(stranger):
    assert stranger.get(reverse("login")).url == reverse("first-account")


def test_outside_the_demo_no_password_is_shown(stranger, alice):
    text = stranger.get(reverse("login")).content.decode()
    assert DEMO_PASSWORD not in text
    assert "demonstration" not in text.lower()


def test_the_demo_shows_its_logins_and_says_that_it_is_one(stranger):
    Farm.objects.update(is_demo=True)
    create_demo_accounts()
    text = stranger.get(reverse("login")).content.decode()
    assert "This is the demonstration farm" in text
    assert DEMO_PASSWORD in text
    assert log_in(stranger, username="grower", password=DEMO_PASSWORD).status_code == 302


def test_refuses_other_methods(stranger, alice):
    assert stranger.put(reverse("login")).status_code == 405
