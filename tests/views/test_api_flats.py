"""The door for sheets: several flats at once, or one with a tag that saves saying the same again."""

import json
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.actions.codes import issue_code
from nursery.models import Flat, PrintedCode
from nursery.views.sheet_of_flat import sheet_of
from tests.factories import make_flat, make_run, make_season, make_sowing
from tests.views.checking import check_flat
from tests.views.test_sheet_of_flat import MOST_BYTES

pytestmark = pytest.mark.django_db


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat, grafted_on=timezone.localdate() - timedelta(days=7))
    return flat


def ask(client, *codes):
    return client.get("/api/flats", {"code": codes})


def one(client, flat, tag="", **query):
    headers = {"If-None-Match": tag} if tag else {}
    return client.get(f"/api/flats/{flat.code}", query, headers=headers)


@pytest.mark.parametrize("client", ["grower", "crew", "tablet", "idle_tablet"])
def test_whoever_works_here_gets_the_sheets_asked_for_in_their_order(request, flat, client):
    other = make_run().flat
    answer = ask(request.getfixturevalue(client), other.code, flat.code, other.code)
    assert answer.status_code == 200
    told = answer.json()
    assert told["v"] == 1 and told["server_time"].startswith(str(timezone.now().year))
    assert [sheet["code"] for sheet in told["flats"]] == [other.code, flat.code]
    assert told["missing"] == {}
    assert answer.headers["Cache-Control"] == "no-store"


def test_a_sheet_is_the_one_that_the_page_gets(crew, flat, bob):
    check_flat(flat, {5: "dead"}, closes=False)
    found = Flat.objects.with_stage().get(pk=flat.pk)
    assert one(crew, flat).json()["flats"] == [sheet_of(found, today=timezone.localdate(), user=bob)]
    assert ask(crew, flat.code).json()["flats"] == one(crew, flat).json()["flats"]


@pytest.mark.parametrize("address", ["/api/flats?code={}", "/api/flats/{}"])
def test_without_a_login_the_answer_is_401_in_json(stranger, flat, address):
    answer = stranger.get(address.format(flat.code))
    assert (answer.status_code, answer.json()["error"]) == (401, "login")


@pytest.mark.parametrize("address", ["/api/flats", "/api/flats/F3K7QNX"])
def test_sheets_are_read_not_posted(crew, address):
    assert crew.post(address).status_code == 405


def unborne():
    return issue_code("F")


def printed():
    return PrintedCode.objects.create(code=issue_code("F"), printed_at=timezone.now()).code


def tally():
    fields = {"origin": "tally", "season": make_season(), "own_name": "P1", "created_at": timezone.now()}
    return Flat.objects.create(code=issue_code("F"), **fields).code


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (unborne, "No flat bears this code."),
        (printed, "printed ahead"),
        (tally, "past season"),
        (lambda: make_sowing().code, "no flat"),
        (lambda: "F3K7QN0", ""),
        (lambda: "a\x00b", ""),
    ],
)
def test_what_cannot_be_checked_is_missing_with_the_reason(crew, flat, make, said):
    code = make()
    told = ask(crew, code, flat.code).json()
    assert [sheet["code"] for sheet in told["flats"]] == [flat.code]
    assert list(told["missing"]) == [code]
    assert said in told["missing"][code] and told["missing"][code]


def test_a_flat_asked_for_alone_that_is_missing_answers_404_with_the_reason(crew, farm):
    code = unborne()
    answer = crew.get(f"/api/flats/{code}")
    assert answer.status_code == 404
    assert answer.json()["flats"] == [] and list(answer.json()["missing"]) == [code]


def test_a_code_may_be_written_as_it_is_spoken(crew, flat):
    spoken = f"{flat.code[:3]}-{flat.code[3:]}".lower()
    assert crew.get(f"/api/flats/{spoken}").json()["flats"][0]["code"] == flat.code


def test_at_most_50_flats_are_told_at_once(crew, farm):
    codes = [unborne() for _ in range(51)]
    assert ask(crew, *codes[:50]).status_code == 200
    answer = ask(crew, *codes)
    assert (answer.status_code, answer.json()["error"]) == (400, "malformed")
    assert "51" in answer.json()["message"]


def test_nothing_is_sent_again_until_something_changed(crew, flat):
    first = one(crew, flat)
    tag = first.headers["ETag"]
    assert tag == f'"{first.json()["flats"][0]["tag"]}"'
    assert first.headers["Cache-Control"] == "no-cache"
    same = one(crew, flat, tag)
    assert (same.status_code, same.content) == (304, b"")
    assert (same.headers["ETag"], same.headers["Cache-Control"]) == (tag, "no-cache")
    check_flat(flat, {5: "dead"}, closes=False)
    changed = one(crew, flat, tag)
    assert changed.status_code == 200 and changed.headers["ETag"] != tag
    assert changed.json()["flats"][0]["map"][4] == "d"


def test_that_nothing_changed_costs_four_small_queries(crew, flat):
    check_flat(flat, {5: "dead"})
    tag = one(crew, flat).headers["ETag"]
    with CaptureQueriesContext(connection) as idle:
        crew.get("/api/flats")
    with CaptureQueriesContext(connection) as captured:
        assert one(crew, flat, tag).status_code == 304
    assert len(captured) - len(idle) == 4  # the flat, its runs, its checks, and what counts the rest


def test_a_check_opened_again_is_told_where_it_is_named(crew, flat):
    check = check_flat(flat, {5: "dead"}, days_ago=2, closes=False)
    assert one(crew, flat).json()["flats"][0]["opened"] == []
    told = one(crew, flat, goes_on=str(check.uuid))
    assert told.json()["flats"][0]["opened"] == [str(check.uuid)]
    assert told.headers["ETag"] != one(crew, flat).headers["ETag"]


def test_the_answer_for_288_cells_is_written_without_blanks(crew, farm):
    flat = make_run(make_flat(12, 24), places=range(1, 289)).flat
    check_flat(flat, dict.fromkeys(range(1, 289), "dead"), closes=False)
    answer = one(crew, flat)
    assert len(answer.content) <= MOST_BYTES
    assert answer.content == json.dumps(answer.json(), separators=(",", ":")).encode()
