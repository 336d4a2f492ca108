"""Move by scanning: each code is answered at once, and nothing that was scanned is lost."""

import pytest
from django.urls import reverse

from nursery.actions.leaving import discard_flat
from nursery.calc.codes import spoken
from nursery.models import PrintedCode, Run
from tests.factories import make_sowing
from tests.yard import grafted, insides, make_yard, put, stamp, where

SCAN = "/move/scan"


@pytest.fixture
def yard(farm):
    return make_yard()


def scan(client, *texts, **headers):
    """Scan one code after the other and return the last answer."""
    for text in texts:
        answer = client.post(SCAN, {"code": getattr(text, "code", text)}, headers=headers)
    return answer


def told(answer):
    return answer.content.decode()


def test_flat_after_flat_and_the_place_ends_it(crew, yard):
    flats = grafted(3, place=yard["Bench"])
    for number, flat in enumerate(flats, 1):
        words = told(scan(crew, flat))
        assert f"{spoken(flat.code)} taken up" in words
        assert f"{number} flat" in words
    answer = told(scan(crew, yard["Chamber"]))
    assert "3 flats moved to Chamber." in answer
    assert "/undo" in answer
    assert where(flats) == [("Chamber", "chamber")] * 3
    assert "Nothing is taken up yet" in told(crew.get(SCAN))


def test_a_label_may_be_scanned_in_any_form(crew, yard):
    (flat,) = grafted(1)
    scan(crew, f"HTTP://192.0.2.7:8000/{flat.code}", f"  {spoken(yard['Bay'].code).lower()} ")
    assert where([flat]) == [("Bay", "growing_on")]


def test_what_was_taken_up_stays_when_the_page_is_loaded_again(crew, yard):
    flats = grafted(2)
    scan(crew, *flats)
    page = told(crew.get(SCAN))
    assert all(spoken(flat.code) in page for flat in flats)


def refused(client, code, words):
    answer = scan(client, code)
    assert answer.status_code == 422
    assert words in told(answer)


def test_each_wrong_code_is_refused_by_name_and_nothing_is_lost(crew, yard):
    kept, left, in_hand = grafted(3, place=yard["Bench"])
    discard_flat(left, is_loss=False, stamp=stamp(1))
    Run.objects.filter(flat=in_hand).update(started_at=stamp().at, finished_at=None)
    scan(crew, kept)
    refused(crew, "F3K7QN0", "F3K7QN0")
    refused(crew, "hello", "hello")
    refused(crew, "", "Type or scan a code")
    refused(crew, make_sowing(), "is a sowing")
    refused(crew, left, f"{spoken(left.code)} was discarded")
    refused(crew, in_hand, f"{spoken(in_hand.code)} is still being grafted")
    assert f"{spoken(kept.code)} is taken up already" in told(scan(crew, kept))
    scan(crew, yard["Chamber"])
    assert where([kept, in_hand]) == [("Chamber", "chamber"), ("Bench", "bench")]


def test_a_code_that_nothing_bears_is_refused(crew, yard):
    (flat,) = grafted(1)
    code = flat.code
    flat.moves.all().delete()
    flat.runs.get().cells.all().delete()
    flat.runs.all().delete()
    flat.delete()
    refused(crew, code, f"Nothing in the book bears {spoken(code)}")
    PrintedCode.objects.create(code=code, printed_at=stamp().at)
    refused(crew, code, "printed ahead")


def test_the_place_comes_last(crew, yard):
    refused(crew, yard["Chamber"], "Scan the flats first")


def test_a_trolley_first_is_moved_as_it_is(crew, yard):
    put(flats := grafted(2), yard["Trolley"])
    assert "taken up with all that is on it" in told(scan(crew, yard["Trolley"]))
    refused(crew, grafted(1)[0], "A trolley is taken up")
    refused(crew, yard["Trolley"], "itself")
    scan(crew, yard["Chamber"])
    assert insides()["Trolley"] == "Chamber"
    assert where(flats) == [("Trolley", "chamber")] * 2


def test_too_many_are_put_down_when_the_place_is_scanned_again(crew, yard):
    flats = grafted(8)
    answer = scan(crew, *flats, yard["Bay"])
    assert "2 too many" in told(answer)
    assert where(flats)[0] == (None, "bench")
    scan(crew, yard["Bay"])
    assert where(flats) == [("Bay", "growing_on")] * 8


def test_another_scan_between_asks_again(crew, yard):
    flats = grafted(8)
    scan(crew, *flats[:7], yard["Bay"], flats[7], yard["Bay"])
    assert where(flats)[0] == (None, "bench")


def test_one_or_all_can_be_put_back(crew, yard):
    first, second = grafted(2)
    scan(crew, first, second)
    assert crew.post(reverse("move-scan-drop"), {"code": first.code}).url == SCAN
    page = told(crew.get(SCAN))
    assert spoken(second.code) in page and spoken(first.code) not in page
    crew.post(reverse("move-scan-drop"))
    assert "Nothing is taken up yet" in told(crew.get(SCAN))


def test_htmx_gets_the_answer_alone(crew, yard):
    answer = scan(crew, grafted(1)[0], **{"HX-Request": "true"})
    assert told(answer).strip().startswith('<div id="scan-told"')


def test_two_logins_scan_for_themselves(crew, tablet, yard):
    scan(crew, grafted(1)[0])
    assert "Nothing is taken up yet" in told(tablet.get(SCAN))


@pytest.mark.parametrize(
    ("who", "status"), [("grower", 200), ("crew", 200), ("tablet", 200), ("stranger", 302)]
)
def test_who_may_scan(request, yard, who, status):
    client = request.getfixturevalue(who)
    assert client.get(SCAN).status_code == status
    assert scan(client, grafted(1)[0]).status_code == status


def test_other_methods_are_refused(crew):
    assert crew.put(SCAN).status_code == 405
    assert crew.get(reverse("move-scan-drop")).status_code == 405
