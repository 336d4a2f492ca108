"""The page on which a flat is counted by numbers, without a script."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.actions.leaving import Goal, let_leave_by_number
from nursery.actions.stamp import Stamp
from nursery.models import Check, DayCount, NumberCount
from tests.factories import make_flat, make_run
from tests.views.checking import check_flat


@pytest.fixture
def flat(db):
    flat = make_flat()
    make_run(flat, grafted_on=timezone.localdate() - timedelta(days=14))
    return flat


@pytest.fixture
def run(flat):
    return flat.runs.get()


def page(client, flat):
    answer = client.get(f"/{flat.code}/numbers")
    assert answer.status_code == 200
    return answer.content.decode()


def value(html, name):
    (tag,) = re.findall(rf'<input[^>]*name="{name}"[^>]*>', html)
    return re.search(r'value="([^"]*)"', tag)[1]


def said(run, dead, wilting=0, check=None):
    return {"check": str(check or uuid4()), f"dead-{run.key}": dead, f"wilting-{run.key}": wilting}


def send(client, flat, data):
    return client.post(f"/{flat.code}/numbers", data)


def test_the_form_works_as_it_comes(crew, flat, run, bob):
    html = page(crew, flat)
    check = value(html, "check")
    answer = send(crew, flat, said(run, 50, 4, check))
    assert (answer.status_code, answer.url) == (302, f"/{flat.code}?closed={check}")
    count = DayCount.objects.get()
    assert (count.alive, count.wilting, count.dead, count.source) == (22, 4, 50, "numbers")
    stored = Check.objects.get()
    assert (stored.is_closed, stored.by_worker, stored.sent_by) == (True, bob.worker, bob)
    after = crew.get(answer.url).content.decode()
    assert "22 of 72 alive" in after


def test_it_begins_with_what_is_known_dead(crew, flat, run):
    check_flat(flat, {1: "dead", 2: "dead", 3: "wilting"}, days_ago=3)
    html = page(crew, flat)
    assert value(html, f"dead-{run.key}") == "2"
    assert "2 cells are marked dead already" in html


def test_sent_twice_it_is_stored_once(crew, flat, run):
    data = said(run, 50)
    assert send(crew, flat, data).url == send(crew, flat, data).url
    assert NumberCount.objects.count() == Check.objects.count() == 1


@pytest.mark.parametrize(
    ("dead", "wilting", "words"),
    [(70, 3, "72 plants stand here"), (1, 0, "2 cells are marked dead"), (73, 0, "less than or equal to 72")],
)
def test_what_cannot_be_stores_nothing_and_says_why(crew, flat, run, dead, wilting, words):
    check_flat(flat, {1: "dead", 2: "dead"}, days_ago=3)
    answer = send(crew, flat, said(run, dead, wilting))
    assert answer.status_code == 422 and words in answer.content.decode()
    assert not NumberCount.objects.exists() and Check.objects.count() == 1


def test_other_numbers_under_the_same_page_are_refused(crew, flat, run):
    check = uuid4()
    send(crew, flat, said(run, 50, check=check))
    answer = send(crew, flat, said(run, 5, check=check))
    assert answer.status_code == 422 and "saved before" in answer.content.decode()
    assert NumberCount.objects.get().dead_count == 50


@pytest.mark.parametrize("check", ["", "nothing"])
def test_a_form_without_its_key_stores_nothing(crew, flat, run, check):
    assert send(crew, flat, {**said(run, 50), "check": check}).status_code == 422
    assert not Check.objects.exists()


def test_a_flat_looked_at_today_says_so_instead(crew, flat):
    check_flat(flat, {})
    html = page(crew, flat)
    assert "checked cell by cell today" in html and "Save the count" not in html


def test_a_flat_without_plants_says_so(crew):
    assert "No plant stands in this flat" in page(crew, make_flat())


def test_each_run_has_its_own_numbers_and_a_pooled_flat_those_of_other_flats(crew, flat, run):
    other = make_run(grafted_on=run.grafted_on)
    pool = make_flat(is_pooled=True)
    for one in (run, other):
        goal = Goal("moved", to_flat=pool)
        let_leave_by_number(one.flat, numbers={one.pk: 30}, goal=goal, stamp=Stamp.now())
    html = page(crew, pool)
    assert html.count("30 plants") == 2 and "Cell by cell" not in html
    assert send(crew, pool, {**said(run, 8), **said(other, 0)}).status_code == 302
    assert dict(DayCount.objects.filter(flat=pool).values_list("run", "alive")) == {run.pk: 22, other.pk: 30}


@pytest.mark.parametrize("client", ["grower", "crew", "tablet"])
def test_whoever_works_here_may_count(request, flat, run, client):
    assert send(request.getfixturevalue(client), flat, said(run, 5)).status_code == 302


def test_nobody_counts_without_a_login(stranger, flat, run):
    answer = send(stranger, flat, said(run, 5))
    assert (answer.status_code, answer.url.split("?")[0]) == (302, "/login")
    assert not Check.objects.exists()


def test_it_is_read_or_posted(crew, flat):
    assert crew.put(f"/{flat.code}/numbers").status_code == 405


def test_as_many_queries_for_many_runs_as_for_two(crew, flat):
    few, many = make_flat(), make_flat()
    for size, one in ((36, few), (6, many)):
        for first in range(1, 73, size):
            make_run(one, places=range(first, first + size))
    counted = []
    for one in (few, many):
        with CaptureQueriesContext(connection) as captured:
            page(crew, one)
        counted.append(len(captured))
    assert counted[0] == counted[1]
