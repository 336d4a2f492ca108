"""A check closed by accident: crew asks, a grower opens it again or leaves it closed."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.models import Closing, DayCount, Voiding
from tests.factories import make_flat, make_run
from tests.views.checking import check_flat


@pytest.fixture
def check(db):
    flat = make_flat()
    make_run(flat)
    return check_flat(flat, {2: "dead"})


def post(client, check, what, **data):
    return client.post(f"/{check.flat.code}/check/{check.uuid}/{what}", data)


def text(client, address):
    return client.get(address).content.decode()


def test_crew_asks_where_the_check_was_just_closed(crew, check, bob):
    flat = f"/{check.flat.code}"
    html = text(crew, f"{flat}?closed={check.uuid}")
    assert f"{flat}/check/{check.uuid}/ask" in html and "Ask to open again" in html
    assert f"{flat}/check/{check.uuid}/reopen" not in html
    answer = post(crew, check, "ask")
    assert (answer.status_code, answer.url) == (302, flat)
    asked = Closing.objects.get(kind="ask")
    assert (asked.by_worker, asked.sent_by, asked.check_ref) == (bob.worker, bob, check)
    html = text(crew, flat)
    assert "Bob asks to open the check of" in html and "Open again" not in html


def test_asking_twice_is_asking_once_and_changes_no_count(crew, check):
    before = list(DayCount.objects.values())
    post(crew, check, "ask"), post(crew, check, "ask")
    assert Closing.objects.filter(kind="ask").count() == 1
    assert list(DayCount.objects.values()) == before


def test_growers_are_told_on_their_first_page_and_on_the_flats(grower, crew, check):
    post(crew, check, "ask")
    for address in ("/", f"/{check.flat.code}", f"/{check.flat.code}/check/{check.uuid}"):
        html = text(grower, address)
        assert "Bob asks to open the check of" in html
        assert f"/{check.flat.code}/check/{check.uuid}/reopen" in html
        assert f"/{check.flat.code}/check/{check.uuid}/leave-closed" in html
    assert "asks to open" not in text(crew, "/")


def test_a_grower_opens_it_with_one_touch_and_the_asking_is_answered(grower, crew, check):
    post(crew, check, "ask")
    assert post(grower, check, "reopen").status_code == 302
    check.refresh_from_db()
    assert not check.is_closed
    assert "asks to open" not in text(grower, "/") + text(grower, f"/{check.flat.code}")


@pytest.mark.parametrize(("back", "lands"), [("home", "/"), ("flat", None), ("//elsewhere", None)])
def test_a_grower_leaves_it_closed(grower, crew, check, alice, back, lands):
    post(crew, check, "ask")
    answer = post(grower, check, "leave-closed", back=back)
    assert (answer.status_code, answer.url) == (302, lands or f"/{check.flat.code}")
    assert "The check stays closed" in text(grower, answer.url)
    assert Voiding.objects.get().sent_by == alice
    check.refresh_from_db()
    assert check.is_closed and not Closing.objects.pending_asks()
    post(grower, check, "leave-closed")  # a second touch finds nothing to answer
    assert Voiding.objects.count() == 1


def test_an_open_check_needs_no_asking(crew, check):
    open_one = check_flat(check.flat, {3: "dead"}, closes=False)
    answer = post(crew, open_one, "ask")
    assert "This check is open: go on with it." in text(crew, answer.url)
    assert not Closing.objects.filter(kind="ask").exists()


@pytest.mark.parametrize("client", ["crew", "tablet"])
def test_only_a_grower_answers(request, check, client, bob):
    asking = request.getfixturevalue(client)
    post(asking, check, "ask")
    assert post(asking, check, "leave-closed").status_code == 403
    assert Closing.objects.pending_asks().count() == 1


@pytest.mark.parametrize("what", ["ask", "leave-closed"])
def test_nobody_without_a_login_and_no_page_to_open(stranger, grower, check, what):
    assert post(stranger, check, what).url.split("?")[0] == "/login"
    assert grower.get(f"/{check.flat.code}/check/{check.uuid}/{what}").status_code == 405
    assert not Closing.objects.filter(kind="ask").exists()


def test_an_asking_about_a_check_that_was_voided_is_not_shown(grower, crew, check):
    post(crew, check, "ask")
    type(check).objects.update(is_void=True)
    assert "asks to open" not in text(grower, "/")


def test_as_many_queries_for_many_askings_as_for_two(grower, crew):
    counted = []
    for number in (2, 6):
        for _ in range(number):
            flat = make_flat()
            make_run(flat, grafted_on=timezone.localdate(), places=range(1, 3))
            post(crew, check_flat(flat, {}), "ask")
        with CaptureQueriesContext(connection) as captured:
            text(grower, "/")
        counted.append(len(captured))
    assert counted[0] == counted[1]
