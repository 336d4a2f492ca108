"""The page behind a place's label: what stands there now, in it and in what stands in it."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.actions.leaving import discard_flat
from nursery.actions.moves import move_place
from nursery.actions.stamp import Stamp
from nursery.actions.undo_moves import undo_move
from nursery.calc.codes import spoken
from nursery.models import StageMove, Voiding
from tests.factories import GRAFTED_AT, GRAFTED_ON, make_flat, make_place, make_run
from tests.yard import grafted, make_yard, put, stamp

READERS = [("grower", 200), ("crew", 200), ("tablet", 200), ("stranger", 302)]


def move(flat, place, *, stage="chamber", hours=0):
    stamp = Stamp.of(GRAFTED_AT + timedelta(hours=hours))
    return StageMove.objects.create(flat=flat, place=place, stage=stage, **stamp.fields())


def shows(client, place, flat):
    stands_here = client.get(f"/{place.code}").content.decode().split("Came and went")[0]
    return f'href="/{flat.code}"' in stands_here


@pytest.mark.parametrize(
    ("who", "status"), [("grower", 200), ("crew", 200), ("tablet", 200), ("stranger", 302)]
)
def test_who_reads(request, db, who, status):
    place = make_place()
    assert request.getfixturevalue(who).get(f"/{place.code}").status_code == status


def test_shows_what_stands_there_and_nothing_that_left(grower):
    place, other = make_place(), make_place()
    stays, left, gone = make_flat(), make_flat(), make_flat()
    for flat in (stays, left, gone):
        move(flat, place)
    move(left, other, hours=1)
    move(gone, place, stage="discarded", hours=1)
    assert [shows(grower, place, flat) for flat in (stays, left, gone)] == [True, False, False]
    assert shows(grower, other, left)


def test_a_voided_move_counts_for_nothing(grower):
    place, other = make_place(), make_place()
    move(flat := make_flat(), place)
    mistake = move(flat, other, hours=1)
    Voiding.objects.create(target_uuid=mistake.uuid, target_noun="stagemove", **Stamp.of(GRAFTED_AT).fields())
    assert shows(grower, place, flat)
    assert not shows(grower, other, flat)


def test_holds_what_stands_in_its_inner_places(grower):
    room = make_place("Room", kind="room", capacity_flats=40)
    bench = make_place("Bench", stands_in=room)
    trolley = make_place("Trolley", kind="trolley", stands_in=bench)
    move(flat := make_flat(), trolley)
    page = grower.get(f"/{room.code}").content.decode()
    assert f'href="/{flat.code}"' in page
    assert "of 40 flats" in page
    assert not shows(grower, make_place("Bay"), flat)


def test_an_empty_place_says_so(grower):
    assert "No flat stands here now" in grower.get(f"/{make_place().code}").content.decode()


def test_flats_cost_no_further_queries(grower):
    place = make_place()

    def queries():
        with CaptureQueriesContext(connection) as captured:
            grower.get(f"/{place.code}")
        return len(captured)

    for _number in range(2):
        move(make_run(places=range(1, 3)).flat, place)
    few = queries()
    for _number in range(30):
        move(make_run(places=range(1, 3)).flat, place)
    assert queries() == few


@pytest.fixture
def yard(farm):
    return make_yard()


def text_of(client, place, **query):
    return client.get(f"/{place.code}", query).content.decode()


def test_says_how_much_room_is_left_and_the_age_of_what_stands_there(grower, yard):
    put(grafted(4), yard["Bay"])
    page = text_of(grower, yard["Bay"])
    assert "of 6 flats" in page and "<b>2</b> free" in page
    assert f'data-label="Day">{(timezone.localdate() - GRAFTED_ON).days}<' in page


def test_more_than_there_is_room_for_is_said(grower, yard):
    put(grafted(8), yard["Bay"])
    page = text_of(grower, yard["Bay"])
    assert "More stands here than there is room for: 2 too many." in page
    assert "more than there was room for" in page


@pytest.mark.parametrize(
    ("name", "acts"),
    [
        ("Bench", ["Move all of it"]),
        ("Trolley", ["Move what is on it", "Move this trolley"]),
        ("Small trolley", ["Move this trolley"]),
        ("Bay", []),
    ],
)
def test_what_can_be_done_with_a_place(crew, yard, name, acts):
    put(grafted(1), yard["Bench"])
    put(grafted(1), yard["Trolley"])
    page = text_of(crew, yard[name])
    assert re.findall(r">(Move (?:all|what|this)[^<]*)</a>", page) == acts
    assert f"/{yard[name].code}/label" in page


def story(client, place, **query):
    """The lines of what came and went, as (in or out, what, from or to where)."""
    rows = text_of(client, place, **query).partition("Came and went")[2]
    what = r"(?:<a [^>]*>)?([^<]*?)(?:</a>)?\s*(?:<small>.*?)?</span></td>"
    found = re.findall(rf"<strong>(in|out)</strong> {what}\s*<td>(.*?)</td>", rows)
    return [tuple(part.strip() for part in line) for line in found]


def test_one_line_for_each_act_that_brought_or_took_flats(crew, yard):
    flats = grafted(3, place=yard["Bench"])
    put(flats, yard["Chamber"], hours=1)
    put(flats[:1], yard["Bay"], hours=2)
    put(flats[1:], yard["Chamber"], hours=3, stage="acclimation")  # stays: neither came nor went
    assert story(crew, yard["Chamber"]) == [
        ("out", spoken(flats[0].code), "to Bay"),
        ("in", "3 flats", "from Bench"),
    ]
    assert story(crew, yard["Bay"]) == [("in", spoken(flats[0].code), "from Chamber")]


def test_flats_from_several_places_and_what_left_the_farm(crew, yard):
    flats = [*grafted(1, place=yard["Bench"]), *grafted(1, place=yard["Hall"]), *grafted(1)]
    put(flats, yard["Bay"], hours=1)
    discard_flat(flats[0], is_loss=False, stamp=stamp(2))
    assert story(crew, yard["Bay"]) == [
        ("out", spoken(flats[0].code), ""),
        ("in", "3 flats", "from several places"),
    ]


def test_trolleys_that_came_and_went(crew, yard):
    act = move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(1))
    assert story(crew, yard["Chamber"]) == [("in", "Trolley", "from Hall")]
    assert story(crew, yard["Hall"]) == [("out", "Trolley", "to Chamber")]
    undo_move(act, stamp=stamp(2))
    assert story(crew, yard["Chamber"]) == story(crew, yard["Hall"]) == []


def test_fifty_lines_a_page_and_the_rest_behind_them(crew, yard):
    for number, flat in enumerate(flats := grafted(53)):
        put([flat], yard["Chamber"], hours=number + 1)
    first, second = story(crew, yard["Chamber"]), story(crew, yard["Chamber"], past=2)
    assert (len(first), len(second)) == (50, 3)
    assert second[-1][1] == spoken(flats[0].code)
    assert "past=2" in text_of(crew, yard["Chamber"])
    assert "past=3" not in text_of(crew, yard["Chamber"], past=2)
    for odd in ("x", "-1", "²", "99999999999"):
        assert crew.get(f"/{yard['Chamber'].code}", {"past": odd}).status_code == 200


def test_htmx_gets_the_story_alone(crew, yard):
    answer = crew.get(f"/{yard['Bay'].code}", {"past": 2}, headers={"HX-Request": "true"})
    assert answer.content.decode().strip().startswith('<section id="place-story"')


def test_a_long_story_costs_no_further_queries(crew, yard):
    def queries():
        with CaptureQueriesContext(connection) as captured:
            text_of(crew, yard["Chamber"])
        return len(captured)

    flats = grafted(12, place=yard["Bench"])
    put(flats[:1], yard["Chamber"], hours=1)
    put(flats[:1], yard["Bay"], hours=2)
    put(flats[1:2], yard["Chamber"], hours=3)
    few = queries()
    for number, flat in enumerate(flats[2:]):
        put([flat], yard["Chamber"], hours=2 * number + 4)
        put([flat], yard["Bay"], hours=2 * number + 5)
    put(flats[:1], yard["Chamber"], hours=99)
    assert queries() == few
