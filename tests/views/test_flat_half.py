"""A flat of which only part was seen: said on its page, in its days, on the first page."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.actions.leaving import let_leave, let_leave_by_number
from nursery.actions.stamp import Stamp
from tests.factories import make_flat, make_run
from tests.views.checking import check_flat


def grafted(days_ago=7):
    flat = make_flat()
    make_run(flat, grafted_on=timezone.localdate() - timedelta(days=days_ago))
    return flat


@pytest.fixture
def flat(db):
    return grafted()


def text(client, address):
    return client.get(address).content.decode()


def test_closed_after_rows_a_to_c_it_says_36_of_72_seen_everywhere(crew, flat, bob):
    # 36 seen, 2 of them dead
    check = check_flat(flat, {1: "dead", 2: "dead"}, seen=range(1, 37), worker=bob.worker)
    page = text(crew, f"/{flat.code}?closed={check.uuid}")
    assert "Check closed: 36 of 72 seen, 34 of them alive." in page
    assert "36 of 72 seen</td>" in page  # the line of the day
    assert "part of the flat" in page  # the list of checks
    assert "Half checked today: 36 of 72 seen." in text(crew, f"/{flat.code}")
    assert "<strong>A1 to C12</strong>, and what was marked" in text(crew, f"/{flat.code}/check/{check.uuid}")
    home = text(crew, "/")
    assert "Half checked: go on" in home and "36 of 72 seen, Bob at" in home
    assert f'href="/{flat.code}/check"' in home and home.count(f"/{flat.code}/check") == 1  # not due as well


def test_begun_and_not_closed_leads_back_into_the_same_check(crew, flat, bob):
    check = check_flat(flat, {1: "dead"}, closes=False, worker=bob.worker)
    link = f"/{flat.code}/check?goes_on={check.uuid}"
    assert link in text(crew, "/") and "1 of 72 seen, Bob since" in text(crew, "/")
    assert link in text(crew, f"/{flat.code}")


@pytest.mark.parametrize("rest", [{"seen": range(37, 73)}, {}])
def test_the_rest_later_that_day_settles_it(crew, flat, rest):
    check_flat(flat, {}, seen=range(1, 37))
    check_flat(flat, {}, **rest)
    assert "Half checked" not in text(crew, "/") + text(crew, f"/{flat.code}")


def test_yesterdays_half_is_no_longer_gone_on_with(crew, flat):
    check_flat(flat, {}, seen=range(1, 37), days_ago=1)
    assert "Half checked" not in text(crew, "/") + text(crew, f"/{flat.code}")


def test_plants_that_only_left_are_no_half_check(crew, flat):
    let_leave(flat, places=[1, 2], reason="sold", stamp=Stamp.now())
    assert "Half checked" not in text(crew, "/") + text(crew, f"/{flat.code}")


def test_the_check_of_a_half_seen_flat_says_what_closing_does(crew, flat):
    check_flat(flat, {}, seen=range(1, 37))
    page = text(crew, f"/{flat.code}/check")
    assert "36 of 72 were seen today. Closing now completes the day." in page
    assert '"seen_today":[1,2,3,' in page
    assert "Numbers only</a></div>" not in page  # numbers of today would not count


def test_dead_by_number_are_to_be_marked_or_count_as_alive(crew, flat, grower):
    run = flat.runs.get()
    data = {"check": "7d1b7a4e-2f3c-4a55-9c0e-0d6c5a2b9f11", f"dead-{run.key}": 50}
    crew.post(f"/{flat.code}/numbers", data)
    assert "50 are dead by number" in text(crew, f"/{flat.code}/check")
    detail = text(grower, f"/{flat.code}/check/{data['check']}")
    assert "50 dead, 0 wilting" in detail
    answer = grower.post(f"/{flat.code}/check/{data['check']}/reopen")
    assert answer.url == f"/{flat.code}/numbers"


def test_a_pooled_flat_is_counted_not_tapped(crew):
    assert crew.get(f"/{make_flat(is_pooled=True).code}/check").url.endswith("/numbers")


def test_as_many_queries_for_many_halves_as_for_two(crew):
    counted = []
    for number in (2, 8):
        for _ in range(number):
            check_flat(grafted(), {}, seen=range(1, 37))
        with CaptureQueriesContext(connection) as captured:
            text(crew, "/")
        counted.append(len(captured))
    assert counted[0] == counted[1]


def test_who_begins_a_check_hears_of_what_left_by_number(crew, flat):
    run = flat.runs.get()
    let_leave_by_number(flat, numbers={run.pk: 12}, reason="sold", stamp=Stamp.now())
    assert "12 left by number" in text(crew, f"/{flat.code}/check")
