"""The token of a device: what gives it, what it opens, and what ends it."""

import json
from uuid import uuid4

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.actions.accounts import set_password
from nursery.models import Account, Device, DeviceToken, Mark, Worker
from tests.factories import make_flat, make_run
from tests.views.test_api_marks import body, post

pytestmark = pytest.mark.django_db


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat)
    return flat


def send(client, method, **data):
    return getattr(client, method)("/api/device", json.dumps(data), content_type="application/json")


def token_for(client, device=None, **data):
    return send(client, "post", device=str(device or uuid4()), **data).json()["token"]


def bearing(token, **headers):
    """Return a browser without a session that brings a token."""
    return Client(headers={"Authorization": f"Bearer {token}", **headers}, enforce_csrf_checks=True)


def test_gives_a_token_and_says_whose_it_is(crew, bob):
    device = uuid4()
    answer = send(crew, "post", device=str(device), name="Green tablet")
    assert answer.status_code == 200
    told = answer.json()
    assert told["who"] == {"account": "bob", "worker": str(bob.worker.key), "name": "Bob"}
    assert told["v"] == 1 and told["server_time"] and answer.headers["Cache-Control"] == "no-store"
    stored = DeviceToken.objects.get()
    assert (stored.account, stored.device.uuid, stored.device.name) == (bob, device, "Green tablet")


def test_the_book_keeps_only_a_digest_of_a_long_token(crew):
    token = token_for(crew)
    assert len(token) >= 43  # 32 bytes in base64
    assert token_for(crew) != token
    digests = set(DeviceToken.objects.values_list("digest", flat=True))
    assert token not in digests and {len(digest) for digest in digests} == {64}


def test_on_a_shared_tablet_the_token_is_the_logins_and_says_who_is_working(tablet, charlie):
    told = send(tablet, "post", device=str(uuid4())).json()
    assert (told["who"]["account"], told["who"]["name"]) == ("charlie", "Dora")


def test_who_nobody_is_has_no_key(idle_tablet):
    told = send(idle_tablet, "post", device=str(uuid4())).json()
    assert told["who"] == {"account": "charlie", "worker": None, "name": "charlie"}


def test_a_new_token_ends_the_earlier_ones_of_this_login_on_this_device(crew, grower):
    device = uuid4()
    first, others, elsewhere = token_for(crew, device), token_for(grower, device), token_for(crew)
    second = token_for(crew, device)
    assert [bearing(token).get("/api/flats").status_code for token in (first, second)] == [401, 200]
    assert [bearing(token).get("/api/flats").status_code for token in (others, elsewhere)] == [200, 200]


def test_a_name_that_people_gave_is_kept(crew):
    device = uuid4()
    token_for(crew, device, name="Bay tablet")
    token_for(crew, device, name="Something else")
    assert Device.objects.get().name == "Bay tablet"


def test_taking_back_ends_the_tokens_of_this_login_on_this_device_alone(crew, grower):
    device = uuid4()
    token, others = token_for(crew, device), token_for(grower, device)
    answer = send(crew, "delete", device=str(device))
    assert (answer.status_code, answer.json()["withdrawn"]) == (200, 1)
    assert bearing(token).get("/api/flats").status_code == 401
    assert bearing(others).get("/api/flats").status_code == 200
    assert send(crew, "delete", device=str(device)).json()["withdrawn"] == 0


@pytest.mark.parametrize("method", ["post", "delete"])
def test_a_token_is_given_and_taken_only_with_a_session(crew, stranger, method):
    device = str(uuid4())
    token = token_for(crew, device)
    for client in (stranger, bearing(token)):
        answer = send(client, method, device=device)
        assert (answer.status_code, answer.json()["error"]) == (401, "login")
    assert bearing(token).get("/api/flats").status_code == 200


@pytest.mark.parametrize("method", ["post", "delete"])
def test_the_session_needs_the_csrf_token_beside_it(farm, bob, method):
    client = Client(enforce_csrf_checks=True)
    client.force_login(bob)
    answer = send(client, method, device=str(uuid4()))
    assert (answer.status_code, answer.json()["error"]) == (403, "csrf")
    assert not DeviceToken.objects.exists()


@pytest.mark.parametrize(
    "data", [{}, {"device": 7}, {"device": "x"}, {"device": str(uuid4()), "name": 7}, {"device": None}]
)
def test_malformed_questions_are_refused(crew, data):
    answer = send(crew, "post", **data)
    assert (answer.status_code, answer.json()["error"]) == (400, "malformed")
    assert not Device.objects.exists()


@pytest.mark.parametrize("text", ["", "[]", "[" * 100_000, "\xff"])
def test_what_is_no_object_is_refused(crew, text):
    assert crew.post("/api/device", text, content_type="application/json").status_code == 400


def test_get_is_no_way_to_a_token(crew):
    assert crew.get("/api/device").status_code == 405


def test_a_token_sends_marks_without_session_and_csrf_token(crew, flat, bob):
    sent = body(flat)
    answer = post(bearing(token_for(crew)), sent)
    assert answer.status_code == 200
    assert answer.json()["results"][sent["marks"][0]["uuid"]] == {"status": "stored"}
    mark = Mark.objects.get()
    assert (mark.sent_by, mark.by_worker) == (bob, bob.worker)


def test_on_a_shared_tablets_token_nobody_works_but_who_a_mark_names(tablet, flat, charlie):
    token, dora = token_for(tablet), Worker.objects.get(name="Dora")
    sent = body(flat)
    sent["marks"].append({**sent["marks"][0], "uuid": str(uuid4()), "cell": "18", "worker": str(dora.key)})
    post(bearing(token), sent)
    assert [mark.by_worker for mark in Mark.objects.order_by("cell__place_no")] == [None, dora]
    assert {mark.sent_by for mark in Mark.objects.all()} == {charlie}


def test_a_token_reads_sheets(crew, flat):
    token = token_for(crew)
    assert bearing(token).get(f"/api/flats/{flat.code}").json()["flats"][0]["code"] == flat.code
    assert bearing(token).get("/api/flats", {"code": flat.code}).status_code == 200


@pytest.mark.parametrize("address", ["/", "/flats", "/records"])
def test_a_token_opens_no_page(crew, address):
    answer = bearing(token_for(crew)).get(address)
    assert answer.status_code == 302 and answer.url.startswith("/login")


def withdrawn(token, account):
    DeviceToken.objects.update(withdrawn_at=timezone.now())
    return token


def of_a_login_with_a_new_password(token, account):
    set_password(account, "another-good-one")
    return token


def of_a_login_that_ended(token, account):
    Account.objects.filter(pk=account.pk).update(is_active=False)
    return token


@pytest.mark.parametrize(
    "spoil",
    [
        withdrawn,
        of_a_login_that_ended,
        of_a_login_with_a_new_password,
        lambda token, account: token[:-1],
        lambda token, account: "ü",
    ],
)
def test_a_token_that_does_not_stand_opens_nothing(crew, flat, bob, spoil):
    token = spoil(token_for(crew), bob)
    for answer in (post(bearing(token), body(flat)), bearing(token).get(f"/api/flats/{flat.code}")):
        assert (answer.status_code, answer.json()["error"]) == (401, "login")
    assert not Mark.objects.exists()


@pytest.mark.parametrize("header", ["Basic Ym9iOmE=", "Bearer", "Bearer ", ""])
def test_other_ways_to_say_who_one_is_open_nothing(flat, header):
    answer = post(Client(headers={"Authorization": header}), body(flat))
    assert (answer.status_code, answer.json()["error"]) == (401, "login")


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 200),
        ({"Origin": "http://testserver"}, 200),
        ({"Origin": "http://testserver", "Sec-Fetch-Site": "same-origin"}, 200),
        ({"Sec-Fetch-Site": "none"}, 200),
        ({"Origin": "https://trusted.example"}, 200),
        ({"Origin": "http://elsewhere.example"}, 403),
        ({"Origin": "https://testserver"}, 403),
        ({"Origin": "http://testserver:8001"}, 403),
        ({"Origin": "null"}, 403),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Origin": "http://testserver", "Sec-Fetch-Site": "cross-site"}, 403),
    ],
)
def test_a_token_counts_only_from_our_own_pages(crew, flat, settings, headers, status):
    settings.CSRF_TRUSTED_ORIGINS = ["https://trusted.example"]
    answer = post(bearing(token_for(crew), **headers), body(flat))
    assert answer.status_code == status
    assert Mark.objects.exists() == (status == 200)
    if status == 403:
        assert answer.json()["error"] == "origin"


def test_a_session_that_is_alive_goes_first(farm, alice, bob, flat, crew):
    token = token_for(crew)
    client = Client(headers={"Authorization": f"Bearer {token}"})
    client.force_login(alice)
    post(client, body(flat))
    assert Mark.objects.get().sent_by == alice


def test_with_a_session_the_csrf_token_is_asked_for_even_beside_a_token(crew, flat, alice):
    client = bearing(token_for(crew))
    client.force_login(alice)
    answer = post(client, body(flat))
    assert (answer.status_code, answer.json()["error"]) == (403, "csrf")


def test_a_session_that_ended_does_not_keep_a_token_out(crew, flat):
    client = bearing(token_for(crew))
    client.cookies[settings.SESSION_COOKIE_NAME] = "a-session-that-ended"
    assert post(client, body(flat)).status_code == 200


def queries(client, flat):
    sent = body(flat)
    with CaptureQueriesContext(connection) as captured:
        assert post(client, sent).status_code == 200
    return len(captured)


def test_a_batch_with_a_token_asks_no_more_than_one_with_a_session(crew, flat):
    token = token_for(crew)
    assert queries(bearing(token), flat) <= queries(crew, flat)
