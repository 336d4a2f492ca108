"""Graft again where plants died, left or never stood."""

import pytest
from django.utils import timezone

from nursery.models import Cell, Change, Run, RunSowing, Worker
from tests.factories import make_flat, make_lot, make_pairing, make_run, make_session, make_sowing
from tests.views.checking import check_flat
from tests.views.plants import alive, days_ago, planted, words
from tests.views.test_drawing import tags


@pytest.fixture
def flat(farm):
    flat = planted(places=range(1, 71), flat=make_flat(blank_places=[71, 72]))
    check_flat(flat, dict.fromkeys([3, 4, 5], "dead"), days_ago=1)
    return flat


def sent(flat, **fields):
    return {"pairing": flat.runs.first().pairing.key, "cut": "unknown", "roots": "unknown", **fields}


def pressed(page):
    cells = tags(page.content.decode(), "cell")
    return [int(cell["data-place"]) for cell in cells if cell.get("aria-pressed") == "true"]


def test_dead_places_are_chosen_and_blanks_can_be(crew, flat):
    page = crew.get(f"/{flat.code}/regraft")
    assert pressed(page) == [3, 4, 5]
    buttons = [cell for cell in tags(page.content.decode(), "cell") if cell["tag"] == "button"]
    assert [cell["data-place"] for cell in buttons] == ["3", "4", "5", "71", "72"]
    assert "Blades" in words(page)


def test_work_sowings_and_the_open_session_carry_over(crew, flat):
    run = flat.runs.get()
    sowing = make_sowing(make_lot(run.pairing.scion))
    RunSowing.objects.create(run=run, sowing=sowing, side="scion")
    Run.objects.update(method="cleft")
    session = make_session(started_at=timezone.now())
    form = crew.get(f"/{flat.code}/regraft").context["form"]
    assert form["pairing"].value() == run.pairing.key
    assert form["method"].value() == "cleft"
    assert form["session"].value() == session.key
    assert form["worker"].value() == Worker.objects.get(name="Bob").key
    assert form["scion_sowings"].value() == [sowing.code]


def test_five_grafted_again_and_the_first_stay_dead(crew, flat):
    answer = crew.post(f"/{flat.code}/regraft", sent(flat, places="A3-A5 F11 F12"))
    today = timezone.localdate()
    page = crew.get(answer.url)
    said = words(page)
    assert f"5 grafted again on {today.day} {today:%B}." in said
    assert "72 alive 0 dead" in said
    assert "day 12" in said.split("Who grafted")[0]  # the flat is no younger
    again = Run.objects.get(is_regraft=True)
    assert (again.cells.count(), Cell.objects.filter(place_no=3).count()) == (5, 2)
    assert flat.day_counts.get(run__number=1).dead == 3
    assert alive(flat) == 72


def test_undo_until_one_is_marked(crew, flat):
    crew.post(f"/{flat.code}/regraft", sent(flat, places="A3 F11"))
    assert "as they were" in words(crew.post(f"/{flat.code}/regraft/2/undo", follow=True))
    assert not Run.objects.filter(is_regraft=True).exists()
    flat.refresh_from_db()
    assert (flat.blank_places, alive(flat)) == ([71, 72], 67)
    assert Change.objects.filter(field="regraft").exists()
    assert crew.post(f"/{flat.code}/regraft/2/undo").status_code == 404
    assert crew.get(f"/{flat.code}/regraft/2/undo").status_code == 405
    assert crew.post(f"/{flat.code}/regraft/1/undo").status_code == 404


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"places": ""}, "Tap the places to graft in, or type them."),
        ({"places": "A1"}, "A plant lives in A1"),
        ({"places": "A99"}, "This flat has no place A99."),
        ({"places": "A3", "pairing": ""}, "This field is required."),
        ({"places": "A3", "day": "soon"}, "Enter a valid date."),
    ],
)
def test_says_what_is_wrong_and_stores_nothing(crew, flat, fields, said):
    answer = crew.post(f"/{flat.code}/regraft", sent(flat, **fields))
    assert answer.status_code == 422
    assert said in words(answer)
    assert (Run.objects.count(), Cell.objects.count()) == (1, 70)


def test_a_flat_on_the_bench_is_finished_first(crew, farm):
    flat = make_flat()
    make_run(flat, places=[], started_at=timezone.now(), finished_at=None, grafted_on=days_ago(0))
    assert "Finish this flat first" in words(crew.get(f"/{flat.code}/regraft"))


def test_another_pairing_brings_its_sowings_by_htmx(crew, flat):
    other = make_pairing()
    make_sowing(make_lot(other.scion))
    answer = crew.get(f"/{flat.code}/regraft?pairing={other.key}", headers={"HX-Request": "true"})
    assert answer.content.decode().lstrip().startswith('<div id="bench-sowings"')
    assert other.scion.name in answer.content.decode()
