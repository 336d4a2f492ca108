"""The page on which a flat is checked: what it gives to the script, and to whom."""

import json
import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery import access
from nursery.actions.codes import issue_code
from nursery.models import Flat, Worker
from nursery.views.sheet_of_flat import sheet_of
from tests.factories import make_flat, make_run, make_season
from tests.views.checking import check_flat

MOST_BYTES = 30_000


@pytest.fixture
def flat(db):
    flat = make_flat()
    make_run(flat, grafted_on=timezone.localdate() - timedelta(days=7))
    return flat


def page(client, flat, query=""):
    return client.get(f"/{flat.code}/check{query}").content.decode()


def data(html):
    return json.loads(re.search(r'<script id="check-data" type="application/json">(.*?)</script>', html)[1])


def test_the_page_gives_the_sheet_of_its_flat_to_the_script(crew, flat, bob):
    check_flat(flat, {2: "dead", 29: "wilting"}, days_ago=3)
    sheet = data(page(crew, flat))["sheet"]
    again = access.flat_for_work(bob, flat.code)
    assert sheet == sheet_of(again, today=timezone.localdate(), user=bob)
    assert (sheet["map"][1], sheet["map"][28], len(sheet["map"])) == ("d", "w", 72)
    assert "day 7" in page(crew, flat)


def test_a_check_opened_again_is_given_whatever_its_day(crew, flat):
    check = check_flat(flat, {5: "dead"}, days_ago=2, closes=False)
    assert data(page(crew, flat))["sheet"]["opened"] == []
    html = page(crew, flat, f"?goes_on={check.uuid}")
    assert data(html)["sheet"]["opened"] == [str(check.uuid)]
    assert data(html)["goes_on"] == str(check.uuid)


def test_what_is_typed_into_a_name_ends_no_script(crew, flat):
    Worker.objects.filter(name="Bob").update(name="</script><b>&")
    html = page(crew, flat)
    assert data(html)["who"]["name"] == "</script><b>&"
    assert html.count("</script>") == html.count("<script")


def test_the_shell_is_the_page_without_a_flat(crew):
    html = crew.get("/check").content.decode()
    assert data(html)["sheet"] is None
    assert data(html)["words"] and data(html)["urls"] == {"marks": "/api/marks", "flats": "/api/flats"}


def test_the_page_says_that_it_needs_javascript(crew, flat):
    assert re.search(r"<noscript>.*needs JavaScript.*</noscript>", page(crew, flat), re.DOTALL)


def test_the_worker_who_is_working_signs_the_marks(crew, flat):
    bob = Worker.objects.get(name="Bob")
    assert data(page(crew, flat))["who"] == {"account": "bob", "worker": str(bob.key), "name": "Bob"}


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
    check_flat(flat, {3: "dead"}, days_ago=2)
    check_flat(flat, {2: "wilting"}, closes=False)
    assert queries(crew, large) == queries(crew, flat) <= 22


@pytest.mark.parametrize("dead", [0, 200])
def test_a_check_page_of_288_cells_stays_small(crew, dead):
    flat = make_flat(12, 24)
    make_run(flat, places=range(1, 289))
    if dead:
        check_flat(flat, dict.fromkeys(range(1, dead + 1), "dead"), days_ago=3)
    assert len(page(crew, flat).encode()) <= MOST_BYTES
