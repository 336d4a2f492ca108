"""The page of the tablets: names, clocks, who may send; for growers alone."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.actions.devices import issue_token, name_device
from nursery.models import Account, Device, DeviceToken
from nursery.views.devices import clock_said
from tests.views.test_api_device import bearing

pytestmark = pytest.mark.django_db
URL = "/tablets"


def make_device(name="", *, skew_ms=0, seen=timezone.now):
    at = seen()
    return Device.objects.create(name=name, first_seen_at=at, last_seen_at=at, skew_ms=skew_ms)


@pytest.fixture
def device(farm):
    return make_device("Bay tablet")


def page(client, query=""):
    return client.get(URL + query).content.decode()


def test_lists_what_each_tablet_is_called_and_who_may_send_from_it(grower, device, bob):
    issue_token(bob, device=device.uuid, now=timezone.now())
    html = page(grower)
    assert "Bay tablet" in html and "bob, since" in html
    assert f"/tablets/{device.uuid}/withdraw" in html


def test_a_tablet_without_a_name_goes_by_the_first_signs_of_its_uuid(grower, farm):
    assert str(make_device().uuid)[:8] in page(grower)


def test_a_token_that_does_not_stand_is_not_listed(grower, device, bob):
    issue_token(bob, device=device.uuid, now=timezone.now())
    DeviceToken.objects.update(withdrawn_at=timezone.now())
    assert "bob, since" not in page(grower) and "nobody without logging in" in page(grower)
    issue_token(bob, device=device.uuid, now=timezone.now())
    Account.objects.filter(pk=bob.pk).update(is_active=False)
    assert "bob, since" not in page(grower)


def test_the_one_heard_of_last_comes_first(grower, farm):
    make_device("Older", seen=lambda: timezone.now() - timedelta(days=3))
    make_device("Newer")
    html = page(grower)
    assert html.index("Newer") < html.index("Older")


def test_an_empty_page_says_when_tablets_come(grower):
    assert "No tablet sent anything yet" in page(grower)


@pytest.mark.parametrize(
    ("skew_ms", "said"),
    [
        (0, "right"),
        (-2000, "right"),
        (3000, "3 seconds slow"),
        (-89_000, "89 seconds fast"),
        (90_000, "2 minutes slow"),
        (-45 * 60_000, "45 minutes fast"),
        (2 * 3_600_000, "2 hours slow"),
        (-35 * 3_600_000, "35 hours fast"),
        (3 * 86_400_000, "3 days slow"),
        (-400 * 86_400_000, "400 days fast"),
    ],
)
def test_says_how_wrong_a_clock_is_in_words(skew_ms, said):
    assert clock_said(Device(skew_ms=skew_ms)) == said


def test_the_page_has_the_clock(grower, farm):
    make_device(skew_ms=5_000)
    assert "5 seconds slow" in page(grower)


def queries(client):
    with CaptureQueriesContext(connection) as captured:
        assert client.get(URL).status_code == 200
    return len(captured)


def test_as_many_queries_for_many_tablets_as_for_one(grower, device, bob, alice):
    issue_token(bob, device=device.uuid, now=timezone.now())
    few = queries(grower)
    for _ in range(20):
        other = make_device()
        for account in (alice, bob):
            issue_token(account, device=other.uuid, now=timezone.now())
    assert queries(grower) == few


def test_many_tablets_stand_on_several_pages(grower, farm):
    for number in range(31):
        make_device(f"Number {number}")
    assert "Page 1 of 2" in page(grower) and "Page 2 of 2" in page(grower, "?page=2")


def test_a_name_is_given_and_taken_away(grower, device):
    for name in ("Green one", ""):
        answer = grower.post(f"/tablets/{device.uuid}/name", {"name": f" {name} "})
        assert (answer.status_code, answer.url) == (302, URL)
        device.refresh_from_db()
        assert device.name == name


@pytest.mark.parametrize("name", ["x" * 61, "a\0b"])
def test_a_name_that_cannot_be_kept_is_refused_in_its_row(grower, device, name):
    answer = grower.post(f"/tablets/{device.uuid}/name", {"name": name})
    assert answer.status_code == 422 and "data-wrong" in answer.content.decode()
    device.refresh_from_db()
    assert device.name == "Bay tablet"


def test_naming_changes_nothing_else(device):
    Device.objects.update(skew_ms=7)
    name_device(device, name="Other")
    device.refresh_from_db()
    assert (device.name, device.skew_ms) == ("Other", 7)


def test_withdrawing_ends_what_one_login_may_send_from_one_tablet(grower, device, bob, alice):
    other = make_device()
    now = timezone.now()
    token, of_alice = (
        issue_token(bob, device=device.uuid, now=now),
        issue_token(alice, device=device.uuid, now=now),
    )
    elsewhere = issue_token(bob, device=other.uuid, now=now)
    answer = grower.post(f"/tablets/{device.uuid}/withdraw", {"account": "bob"}, follow=True)
    assert "bob sends nothing from “Bay tablet”" in answer.content.decode()
    assert bearing(token).get("/api/flats").status_code == 401
    assert [bearing(one).get("/api/flats").status_code for one in (of_alice, elsewhere)] == [200, 200]


def test_withdrawing_twice_keeps_when_it_was_done_first(grower, device, bob):
    issue_token(bob, device=device.uuid, now=timezone.now())
    times = []
    for _ in range(2):
        grower.post(f"/tablets/{device.uuid}/withdraw", {"account": "bob"})
        times.append(DeviceToken.objects.get().withdrawn_at)
    assert times[0] and times[0] == times[1]


@pytest.mark.parametrize(("account", "status"), [("nobody", 404), ("a\0b", 422), ("", 422)])
def test_an_unknown_login_withdraws_nothing(grower, device, bob, account, status):
    issue_token(bob, device=device.uuid, now=timezone.now())
    assert grower.post(f"/tablets/{device.uuid}/withdraw", {"account": account}).status_code == status
    assert DeviceToken.objects.get().withdrawn_at is None


ACTS = {"name": {"name": "Mine"}, "withdraw": {"account": "bob"}}


@pytest.mark.parametrize(("who", "status"), [("crew", 403), ("tablet", 403), ("stranger", 302)])
def test_only_growers_see_and_change_the_tablets(request, device, bob, who, status):
    client = request.getfixturevalue(who)
    issue_token(bob, device=device.uuid, now=timezone.now())
    assert client.get(URL).status_code == status
    for act, data in ACTS.items():
        assert client.post(f"/tablets/{device.uuid}/{act}", data).status_code == status
    device.refresh_from_db()
    assert device.name == "Bay tablet" and DeviceToken.objects.get().withdrawn_at is None


@pytest.mark.parametrize("act", ACTS)
def test_acts_are_posted_and_need_a_tablet_that_is_there(grower, device, act):
    assert grower.get(f"/tablets/{device.uuid}/{act}").status_code == 405
    assert grower.post(f"/tablets/{uuid4()}/{act}", ACTS[act]).status_code == 404
    assert grower.post(URL).status_code == 405


def test_growers_find_the_page_among_the_records(grower, crew):
    assert f'href="{URL}"' in grower.get("/records").content.decode()
    assert f'href="{URL}"' not in crew.get("/records").content.decode()
