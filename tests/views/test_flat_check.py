"""The page on which a flat is checked: what it gives to the script, and to whom."""

import json
import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.actions.codes import issue_code
from nursery.models import Flat, Mark, Worker
from tests.factories import make_flat, make_run, make_season
from tests.views.checking import add_mark, check_flat
from tests.views.test_drawing import tags

MOST_BYTES = 31_000


@pytest.fixture
def flat(db):
    flat = make_flat()
    make_run(flat, grafted_on=timezone.localdate() - timedelta(days=7))
    return flat


def page(client, flat, query=""):
    return client.get(f"/{flat.code}/check{query}").content.decode()


def data(html):
    return json.loads(re.search(r'<script id="check-data" type="application/json">(.*?)</script>', html)[1])


def test_the_page_draws_every_cell_and_says_how_the_flat_stands(crew, flat):
    check_flat(flat, {2: "dead", 29: "wilting"}, days_ago=3)
    html = page(crew, flat)
    cells = {cell.get("data-cell"): cell for cell in tags(html, "cell")}
    assert len(cells) == 72
    assert (cells["2"]["data-state"], cells["2"]["data-before"]) == ("dead", "dead")
    assert (cells["29"]["data-state"], cells["29"]["data-before"]) == ("wilting", "wilting")
    assert "71 alive, 1 of them wilting, 1 dead" in html
    assert "day 7" in html


def test_the_script_is_given_the_open_marks_since_when_and_why(crew, flat):
    check_flat(flat, {2: "dead"}, days_ago=3, cause="dried")
    told = data(page(crew, flat))["cells"]
    mark = Mark.objects.get()
    assert list(told) == ["2"]
    assert told["2"]["open"] == [str(mark.uuid)]
    assert told["2"]["cause"] == "dried"
    assert told["2"]["since"].startswith(str(mark.check_ref.day.day))


def test_two_marks_that_nobody_replaced_are_both_given(crew, flat):
    check = check_flat(flat, {5: "dead"}, closes=False)
    add_mark(check, 5, "wilting")
    html = page(crew, flat)
    assert len(data(html)["cells"]["5"]["open"]) == 2
    assert "data-disagree" in next(cell for cell in tags(html, "cell") if cell.get("data-cell") == "5")


def test_an_open_check_of_today_is_given_with_the_states_before_it(crew, flat, bob):
    check_flat(flat, {2: "wilting"}, days_ago=3)
    earlier = Mark.objects.get()
    check = check_flat(flat, {9: "dead"}, account=bob, worker=bob.worker, closes=False)
    add_mark(check, 2, "dead", replaces=[earlier.uuid])
    html = page(crew, flat)
    (told,) = data(html)["checks"]
    assert told["uuid"] == str(check.uuid)
    assert told["own"]["2"]["state"] == "wilting"
    assert told["own"]["2"]["open"] == [str(earlier.uuid)]
    assert told["own"]["9"]["state"] == "unmarked"
    assert [mark[1:3] for mark in told["own"]["9"]["marks"]] == [["seen", "dead"]]
    assert "Bob began a check" in html


def test_a_closed_check_and_one_of_yesterday_are_not_taken_up_again(crew, flat):
    check_flat(flat, {9: "dead"})
    check_flat(flat, {10: "dead"}, days_ago=1, closes=False)
    assert data(page(crew, flat))["checks"] == []


def test_a_check_opened_again_is_given_whatever_its_day(crew, flat):
    check = check_flat(flat, {9: "dead"}, days_ago=3, closes=False)
    told = data(page(crew, flat, f"?goes_on={check.uuid}"))
    assert told["goes_on"] == told["checks"][0]["uuid"] == str(check.uuid)
    closed = check_flat(flat, {10: "dead"}, days_ago=2)
    assert data(page(crew, flat, f"?goes_on={closed.uuid}"))["checks"] == []
    assert data(page(crew, flat, "?goes_on=nothing"))["checks"] == []


def test_the_page_says_that_it_needs_javascript(crew, flat):
    assert re.search(r"<noscript>.*needs JavaScript.*</noscript>", page(crew, flat), re.DOTALL)


def test_the_worker_who_is_working_signs_the_marks(crew, flat):
    assert data(page(crew, flat))["worker"] == str(Worker.objects.get(name="Bob").key)


def test_a_flat_without_grafts_says_what_to_do_first(crew):
    html = page(crew, make_flat())
    assert "Nothing is grafted on this flat yet" in html
    assert "check-data" not in html


@pytest.mark.parametrize("client", ["grower", "crew", "tablet"])
def test_whoever_works_here_may_check(request, flat, client):
    assert request.getfixturevalue(client).get(f"/{flat.code}/check").status_code == 200


def test_nobody_checks_without_a_login(stranger, flat):
    answer = stranger.get(f"/{flat.code}/check")
    assert (answer.status_code, answer.url.split("?")[0]) == (302, "/login")


def test_an_imported_tally_cannot_be_checked(crew):
    season = make_season()
    flat = Flat.objects.create(
        code=issue_code("F"), origin="tally", season=season, own_name="P1", created_at=timezone.now()
    )
    assert crew.get(f"/{flat.code}/check").status_code == 404


def test_a_check_is_looked_at_not_posted(crew, flat):
    assert crew.post(f"/{flat.code}/check").status_code == 405


def queries(client, flat):
    with CaptureQueriesContext(connection) as captured:
        assert client.get(f"/{flat.code}/check").status_code == 200
    return len(captured)


def test_as_many_queries_for_288_cells_in_many_marks_as_for_72_in_few(crew, flat):
    large = make_flat(12, 24)
    make_run(large, places=range(1, 145))
    make_run(large, places=range(145, 289))
    for days_ago in (3, 2):
        check_flat(large, dict.fromkeys(range(days_ago, 288, 7), "dead"), days_ago=days_ago)
    check_flat(large, {250: "wilting"}, closes=False)
    check_flat(flat, {1: "dead"}, days_ago=3)
    check_flat(flat, {2: "wilting"}, closes=False)
    assert queries(crew, large) == queries(crew, flat) <= 22


@pytest.mark.parametrize("dead", [0, 20])
def test_a_check_page_of_288_cells_stays_small(crew, dead):
    flat = make_flat(12, 24)
    make_run(flat, places=range(1, 289))
    if dead:
        check_flat(flat, dict.fromkeys(range(1, dead + 1), "dead"), days_ago=3)
    assert len(page(crew, flat).encode()) <= MOST_BYTES
