"""Plants move to another flat, and patchy flats are put together."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.calc.codes import spoken
from nursery.models import Cell, Flat, Leaving, StageMove
from tests.factories import make_format, make_layout, make_pairing
from tests.views.checking import check_flat
from tests.views.plants import alive, leave_now, planted, words
from tests.views.test_drawing import tags


@pytest.fixture
def source(farm):
    return planted(places=range(1, 13))


@pytest.fixture
def target(source):
    flat = planted(pairing=source.runs.get().pairing)
    check_flat(flat, dict.fromkeys(range(1, 25), "dead"), days_ago=1)
    return flat


def asked(**fields):
    return {
        "how": "cells", "places": "A", "to": "existing", "code": "",
        "tray_format": make_format().key, "layout": make_layout().key, **fields,
    }  # fmt: skip


def test_flats_of_the_same_pairing_with_room_are_one_touch(crew, source, target):
    planted(pairing=source.runs.get().pairing)  # full
    planted(pairing=make_pairing(), places=[1])  # another pairing
    page = crew.get(f"/{source.code}/move-together")
    html = page.content.decode()
    assert html.count("data-fills=") == 1
    assert f"{spoken(target.code)} 24 free" in words(page)
    assert [cell["aria-pressed"] for cell in tags(html, "cell") if cell["tag"] == "button"] == ["true"] * 12


def test_looks_first_and_stores_nothing(crew, source, target):
    page = crew.get(f"/{source.code}/move-together", asked(code=target.code))
    said = words(page)
    assert "12 plants move" in said
    assert "becomes empty" in said
    moves = [cell.get("data-moves") for cell in tags(page.content.decode(), "cell")]
    assert (moves.count("out"), moves.count("in")) == (12, 12)
    assert not Leaving.objects.exists()


def test_moves_them_and_takes_it_back(crew, source, target):
    answer = crew.post(f"/{source.code}/move-together", asked(code=target.code))
    said = words(crew.get(answer.url))
    assert f"12 moved to {spoken(target.code)}. Nothing lives here any more" in said
    assert (alive(source), alive(target)) == (0, 60)
    page = crew.get(f"/{target.code}")
    said = words(page)
    assert "60 alive" in said
    assert f"Moved in 12 from {spoken(source.code)}" in said
    assert "72 cells: A1 to F12" in said  # its own run: the guests are none of them
    assert said.count("12 cells: A1 to A12") == 1
    leaving = Leaving.objects.get()
    crew.post(f"/{source.code}/leave/{leaving.uuid}/undo")
    assert (alive(source), alive(target)) == (12, 48)


def test_a_new_flat_comes_into_the_book_with_them(crew, source):
    sent = asked(to="new", tray_format=make_format(5, 10).key)
    assert (
        "A new flat; 12 places would be filled"
        in crew.get(f"/{source.code}/move-together", sent).content.decode()
    )
    crew.post(f"/{source.code}/move-together", sent)
    new = Flat.objects.exclude(pk=source.pk).get()
    assert (new.tray_format.name, new.is_pooled, alive(new)) == ("50", False, 12)
    page = crew.get(f"/{new.code}")
    assert "Amber Lantern on Stonefoot · grafted" in words(page)
    assert "Graft on this flat" not in words(page)


def test_a_pooled_flat_shows_numbers_and_no_drawing(crew, source):
    crew.post(f"/{source.code}/move-together", asked(to="pool", places="A1-A8"))
    pool = Flat.objects.exclude(pk=source.pk).get()
    assert (pool.is_pooled, alive(pool), alive(source)) == (True, 8, 4)
    page = crew.get(f"/{pool.code}")
    said = words(page)
    assert "8 alive 0 dead" in said
    assert "Pooled: which cell holds which plant is not kept 8 Amber Lantern on Stonefoot" in said
    assert not tags(page.content.decode(), "cell")
    # From there they leave, and move on, by number alone.
    assert "8 live here" in words(crew.get(f"/{pool.code}/leave"))
    crew.post(f"/{pool.code}/leave", {"how": "number", "plants-0": "3", "reason": "planted"})
    assert alive(pool) == 5
    sent = asked(how="number", places="", to="pool", **{"plants-0": "5"})
    assert "5 plants move" in words(crew.get(f"/{pool.code}/move-together", sent))
    crew.post(f"/{pool.code}/move-together", sent)
    assert alive(pool) == 0
    assert "No place is known in a pooled flat" in words(crew.get(f"/{pool.code}/regraft"))
    row = words(crew.get("/flats"))
    assert "Amber Lantern on Stonefoot" in row


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({}, "Scan or type the code of the flat they come to."),
        ({"code": "F3K7"}, "code"),
        ({"code": "own"}, "stand in"),
        ({"code": "target", "places": ""}, "Tap the plants"),
        ({"code": "target", "places": "A1 B1"}, "No living plant stands in B1"),
        ({"to": "new", "tray_format": "small"}, "Such a flat has 4 places, not 12"),
        ({"to": "new", "code": "target"}, "is a flat already"),
        ({"to": "new", "how": "number", "plants-0": "3"}, "pooled flat"),
        ({"code": "target", "how": "number", "plants-0": "3"}, "cell by cell"),
    ],
)
@pytest.mark.parametrize("way", ["get", "post"])
def test_says_what_is_wrong_and_stores_nothing(crew, source, target, way, fields, said):
    codes = {"own": source.code, "target": target.code}
    fields = {**fields, **({"code": codes.get(fields["code"], fields["code"])} if "code" in fields else {})}
    if fields.get("tray_format") == "small":
        fields["tray_format"] = make_format(2, 2).key
    answer = getattr(crew, way)(f"/{source.code}/move-together", asked(**fields))
    assert answer.status_code == 422
    assert said in words(answer)
    assert (Leaving.objects.count(), Flat.objects.count()) == (0, 2)


@pytest.fixture
def patchy(farm):
    """Three flats of 72 that hold 60, 40 and 8 plants of one pairing."""
    pairing = make_pairing()
    return [planted(places=range(1, number + 1), pairing=pairing) for number in (60, 40, 8)]


def test_the_others_are_offered_and_the_picture_shows_what_moves(crew, patchy):
    said = words(crew.get(f"/{patchy[2].code}/put-together"))
    assert "60 alive, 12 free" in said
    assert "40 alive, 32 free" in said
    page = crew.get("/put-together", {"flat": [flat.code for flat in patchy]})
    # 8 go into the 12 gaps of the fullest; the 40 cannot all go anywhere, so they stay.
    assert "8 plants move. 1 flat becomes empty." in words(page)
    moves = [cell.get("data-moves") for cell in tags(page.content.decode(), "cell")]
    assert (moves.count("out"), moves.count("in")) == (8, 8)
    assert "These stay as they are: " + spoken(patchy[1].code) in words(page)
    assert not Leaving.objects.exists()


def test_one_touch_does_it_and_one_takes_it_back(crew, patchy):
    answer = crew.post("/put-together", {"flat": [flat.code for flat in patchy]})
    assert "8 plants moved" in words(crew.get(answer.url))
    assert [alive(flat) for flat in patchy] == [68, 40, 0]
    crew.post(f"{answer.url}/undo")
    assert [alive(flat) for flat in patchy] == [60, 40, 8]
    assert not Cell.objects.filter(moved_from__isnull=False).exists()
    assert not StageMove.objects.standing().exists()


def test_what_gains_nothing_is_said(crew, patchy):
    sent = {"flat": [patchy[0].code]}
    assert "none would become empty" in words(crew.get("/put-together", sent))
    answer = crew.post("/put-together", sent)
    assert answer.status_code == 422
    assert not Leaving.objects.exists()


def test_as_many_queries_for_many_flats_with_gaps(crew, patchy):
    counts = []
    for _round in range(2):
        with CaptureQueriesContext(connection) as captured:
            crew.get(f"/{patchy[0].code}/put-together")
        counts.append(len(captured))
        for _each in range(4):
            planted(places=range(1, 5), pairing=patchy[0].runs.get().pairing)
    assert counts[0] == counts[1]


def test_a_flat_that_left_takes_nothing(crew, patchy):
    leave_now(patchy[1], range(1, 41))
    said = words(crew.get(f"/{patchy[0].code}/put-together"))
    assert spoken(patchy[1].code) not in said


def test_other_pairings_in_one_flat_are_said(crew, patchy):
    said = "Different pairings would stand in one flat."
    assert said not in words(crew.get("/put-together", {"flat": [flat.code for flat in patchy]}))
    other = planted(places=[1, 2], pairing=make_pairing())
    assert said in words(crew.get("/put-together", {"flat": [patchy[0].code, other.code]}))


def test_as_many_queries_for_a_picture_of_two_flats_as_of_six(crew, patchy):
    more = [planted(places=[1, 2], pairing=patchy[0].runs.get().pairing) for _each in range(3)]
    counts = []
    for flats in (patchy[1:], [*patchy, *more]):
        with CaptureQueriesContext(connection) as captured:
            crew.get("/put-together", {"flat": [flat.code for flat in flats]})
        counts.append(len(captured))
    assert counts[0] == counts[1]
