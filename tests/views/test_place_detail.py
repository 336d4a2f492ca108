"""The page behind a place's label: what stands there now, in it and in what stands in it."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.actions.stamp import Stamp
from nursery.models import StageMove, Voiding
from tests.factories import GRAFTED_AT, make_flat, make_place, make_run

READERS = [("grower", 200), ("crew", 200), ("tablet", 200), ("stranger", 302)]


def move(flat, place, *, stage="chamber", hours=0):
    stamp = Stamp.of(GRAFTED_AT + timedelta(hours=hours))
    return StageMove.objects.create(flat=flat, place=place, stage=stage, **stamp.fields())


def shows(client, place, flat):
    return f'href="/{flat.code}"' in client.get(f"/{place.code}").content.decode()


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
