"""The door for marks."""

import json
from uuid import uuid4

import pytest
from django.test import Client

from nursery.models import DayCount, Mark
from tests.factories import make_flat, make_run

URL = "/api/marks"
AT = "2026-03-16T10:00:00.000Z"
pytestmark = pytest.mark.django_db


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat)
    return flat


def body(flat, **changes):
    check, mark = str(uuid4()), str(uuid4())
    return {
        "v": 1,
        "device": str(uuid4()),
        "sent_at": AT,
        "checks": [{"uuid": check, "flat": flat.code, "opened_at": AT}],
        "marks": [{"uuid": mark, "check": check, "cell": "17", "state": "dead", "at": AT}],
        "closings": [{"uuid": str(uuid4()), "check": check, "at": AT}],
        **changes,
    }


def post(client, data):
    text = data if isinstance(data, (str, bytes)) else json.dumps(data)
    return client.post(URL, text, content_type="application/json")


def test_takes_in_a_batch_and_says_how_the_flat_stands(tablet, flat):
    sent = body(flat)
    answer = post(tablet, sent)
    assert answer.status_code == 200
    assert answer.json()["results"][sent["marks"][0]["uuid"]] == {"status": "stored"}
    assert answer.json()["flats"][flat.code] == {
        "alive": 71, "wilting": 0, "dead": 1, "gone": 0, "disagreements": 0,
    }  # fmt: skip
    assert DayCount.objects.get().dead == 1


def test_closes_a_large_flat_that_was_marked_again_and_again(tablet, flat):
    """1040 cells, all tapped and taken back more than once: the closing names every mark that was seen."""
    sent = body(flat)
    sent["closings"][0]["known"] = [str(uuid4()) for _ in range(1040 * 6)]
    answer = post(tablet, sent)
    assert answer.json()["results"][sent["closings"][0]["uuid"]] == {"status": "stored"}


def test_answers_401_in_json_without_a_login(stranger, flat):
    answer = post(stranger, body(flat))
    assert answer.status_code == 401 and answer.json()["error"] == "login"
    assert not Mark.objects.exists()


def test_answers_403_in_json_without_the_csrf_token(flat, bob):
    client = Client(enforce_csrf_checks=True)
    client.force_login(bob)
    answer = post(client, body(flat))
    assert answer.status_code == 403 and answer.json()["error"] == "csrf"


def test_takes_post_only(crew):
    assert crew.get(URL).status_code == 405


def test_signs_with_who_is_working(crew, flat, bob):
    post(crew, body(flat))
    mark = Mark.objects.get()
    assert (mark.by_worker, mark.sent_by) == (bob.worker, bob)


@pytest.mark.parametrize(
    ("envelope", "named"),
    [
        (b"\xff\xfe", "JSON"),
        ("[" * 100_000, "JSON"),
        ("[]", "object"),
        ({"v": 2, "sent_at": AT}, "v must be 1"),
        ({"v": 1}, "sent_at"),
        ({"v": 1, "sent_at": "yesterday"}, "sent_at"),
        ({"v": 1, "sent_at": "2026-03-16T10:00:00"}, "zone"),
        ({"v": 1, "sent_at": AT, "device": 7}, "device"),
        ({"v": 1, "sent_at": AT, "marks": {}}, "marks"),
        ({"v": 1, "sent_at": AT, "marks": [{}] * 501}, "at most 500"),
    ],
)
def test_malformed_envelope_is_refused_by_name(crew, farm, envelope, named):
    answer = post(crew, envelope)
    assert answer.status_code == 400
    assert named in answer.json()["message"]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("cell", "A1"),
        ("cell", "17.x"),
        ("cell", "٣"),
        ("cell", None),
        ("state", "unmarked"),
        ("state", "alive"),
        ("state", ["dead"]),
        ("kind", "guess"),
        ("cause", "bad luck"),
        ("replaces", ["x"]),
        ("replaces", "x"),
        ("at", 5),
        ("check", None),
        ("reason", "x" * 201),
        ("reason", "a\x00b"),
        ("reason", "a\ud800b"),
    ],
)
def test_one_malformed_mark_never_blocks_the_others(crew, flat, field, value):
    sent = body(flat)
    bad = {**sent["marks"][0], "uuid": str(uuid4()), field: value}
    sent["marks"].insert(0, bad)
    results = post(crew, sent).json()["results"]
    assert results[bad["uuid"]]["status"] == "refused" and field in results[bad["uuid"]]["reason"]
    assert results[sent["marks"][1]["uuid"]]["status"] == "stored"


def test_a_clock_beyond_all_reason_is_taken_in_and_flagged(crew, flat):
    sent = body(flat)
    sent["marks"][0]["at"] = "9999-12-31T23:59:59.999Z"
    assert post(crew, sent).json()["results"][sent["marks"][0]["uuid"]]["status"] == "stored"
    assert Mark.objects.get().is_clock_odd


def numbers_of(flat, **fields):
    sent = body(flat, marks=[])
    check = sent["checks"][0]
    check["kind"] = "numbers"
    sent["numbers"] = [{"check": check["uuid"], "run": 1, "dead": 50, "wilting": 4, **fields}]
    return sent, f"{check['uuid']}/{sent['numbers'][0]['run']}"


def test_takes_in_numbers_and_names_them_by_check_and_run(crew, flat):
    sent, name = numbers_of(flat)
    answer = post(crew, sent).json()
    assert answer["results"][name] == {"status": "stored"}
    assert (answer["flats"][flat.code]["alive"], answer["flats"][flat.code]["dead"]) == (22, 50)
    assert post(crew, sent).json()["results"][name] == {"status": "known"}


def test_numbers_name_a_run_by_its_key_too(crew, flat):
    sent, name = numbers_of(flat, run=str(flat.runs.get().key))
    assert post(crew, sent).json()["results"][name] == {"status": "stored"}


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("dead", -1),
        ("dead", None),
        ("dead", "5"),
        ("dead", True),
        ("dead", 10**6),
        ("wilting", 1.5),
        ("run", 0),
        ("run", True),
        ("run", "1"),
        ("check", None),
    ],
)
def test_malformed_numbers_are_refused_by_their_place_in_the_list(crew, flat, field, value):
    sent, _name = numbers_of(flat)
    sent["numbers"][0][field] = value
    results = post(crew, sent).json()["results"]
    assert results["numbers[0]"]["status"] == "refused" and field in results["numbers[0]"]["reason"]
    assert results[sent["checks"][0]["uuid"]]["status"] == "stored"


def test_a_closing_says_what_was_seen(crew, flat):
    sent = body(flat)
    sent["closings"][0] |= {"seen": "part", "seen_places": [3, 1, 2, 2]}
    post(crew, sent)
    assert DayCount.objects.get().seen == 4  # three places, and the one that was tapped
    sent["closings"][0]["seen_places"] = [2, 1, 3]
    assert post(crew, sent).json()["results"][sent["closings"][0]["uuid"]] == {"status": "known"}


@pytest.mark.parametrize(
    "fields",
    [
        {"seen": "half"},
        {"seen": "whole", "seen_places": [1]},
        {"seen_places": [1]},
        {"seen": "part", "seen_places": ["A1"]},
        {"seen": "part", "kind": "reopen"},
    ],
)
def test_a_closing_that_contradicts_itself_is_refused(crew, flat, fields):
    sent = body(flat)
    sent["closings"][0] |= fields
    assert post(crew, sent).json()["results"][sent["closings"][0]["uuid"]]["status"] == "refused"


def test_crew_may_ask_by_the_same_door(crew, flat):
    sent = body(flat)
    post(crew, sent)
    asked = {**sent["closings"][0], "uuid": str(uuid4()), "kind": "ask"}
    answer = post(crew, {**sent, "marks": [], "closings": [asked]}).json()
    assert answer["results"][asked["uuid"]] == {"status": "stored"}
    assert DayCount.objects.get().is_closed
