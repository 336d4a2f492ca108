"""Where a flat stood, place within place, also while its trolley was moved."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.actions.leaving import discard_flat
from nursery.actions.moves import move_flats, move_place
from nursery.actions.undo_moves import undo_move
from nursery.views.flat_stays import stays_of
from tests.factories import make_flat, make_worker
from tests.yard import grafted, make_yard, put, stamp


@pytest.fixture
def yard(farm):
    return make_yard()


def told(flat):
    """The stays as (from hour, up to hour, where, stage)."""

    def hour(at):
        return None if at is None else (at - stamp().at).total_seconds() / 3600

    return [(hour(stay.since), hour(stay.until), stay.where, stay.stage) for stay in stays_of(flat)]


def test_a_trolley_that_was_moved_under_the_flat(yard):
    (flat,) = grafted(1, place=yard["Bench"])
    put([flat], yard["Trolley"], hours=1, stage="chamber")
    move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(3))
    put([flat], yard["Bay"], hours=8)
    move_place(yard["Trolley"], into=yard["Bay"], stamp=stamp(9))  # without the flat
    assert told(flat) == [
        (0, 1, "Bench in Hall", "On the bench"),
        (1, 3, "Trolley in Hall", "Chamber"),
        (3, 8, "Trolley in Chamber in Hall", "Chamber"),
        (8, None, "Bay", "Growing on"),
    ]


def test_says_who_moved_it_and_with_what(yard):
    wren, ash = make_worker("Wren"), make_worker("Ash")
    (flat,) = grafted(1, place=yard["Bench"])
    move_flats(
        [flat], to_place=yard["Trolley"], stage="chamber", stamp=stamp(1, worker=wren), reason="No room"
    )
    move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(3, worker=ash))
    _bench, on_it, in_it = stays_of(flat)
    assert (on_it.who, on_it.reason, on_it.with_place) == ("Wren", "No room", "")
    assert (in_it.who, in_it.reason, in_it.with_place) == ("Ash", "", "Trolley")


def test_where_the_stage_changes_with_the_trolley_it_is_one_stay(yard):
    (flat,) = grafted(1)
    put([flat], yard["Trolley"], hours=1)
    move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(3))
    assert told(flat)[1:] == [
        (1, 3, "Trolley in Hall", "Acclimation"),
        (3, None, "Trolley in Chamber in Hall", "Chamber"),
    ]


def test_what_was_taken_back_is_no_stay(yard):
    (flat,) = grafted(1)
    put([flat], yard["Trolley"], hours=1, stage="chamber")
    before = told(flat)
    undo_move(move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(3)), stamp=stamp(4))
    undo_move(put([flat], yard["Bay"], hours=5), stamp=stamp(6))
    assert told(flat) == before


def test_a_flat_that_left_says_when_and_why(yard):
    (flat,) = grafted(1, place=yard["Bench"])
    discard_flat(flat, is_loss=True, stamp=stamp(2), reason="Lid left open")
    last = stays_of(flat)[-1]
    assert (last.where, last.stage, last.reason, last.is_loss) == ("", "Discarded", "Lid left open", True)


def test_a_flat_that_never_moved_stood_nowhere(yard):
    assert stays_of(make_flat()) == []


def test_the_page_shows_the_stays_in_order(crew, yard):
    (flat,) = grafted(1, place=yard["Bench"])
    put([flat], yard["Trolley"], hours=1, stage="chamber")
    move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(3))
    page = crew.get(f"/{flat.code}").content.decode().partition("Where it stood")[2]
    places = [page.index(where) for where in ("Bench in Hall", "Trolley in Hall", "Trolley in Chamber")]
    assert places == sorted(places)
    assert "taken along with Trolley" in page
    assert f'href="/move?flat={flat.code}"' in crew.get(f"/{flat.code}").content.decode()


def test_a_flat_that_left_is_not_moved(crew, yard):
    (flat,) = grafted(1, place=yard["Bench"])
    discard_flat(flat, is_loss=True, stamp=stamp(2))
    assert "/move?flat=" not in crew.get(f"/{flat.code}").content.decode()


def test_as_many_queries_for_a_long_way_as_for_a_short_one(yard):
    def queries(flat):
        with CaptureQueriesContext(connection) as captured:
            stays_of(flat)
        return len(captured)

    short, long = grafted(2, place=yard["Bench"])
    put([short, long], yard["Trolley"], hours=1)
    few = queries(short)
    for hours in range(2, 42, 2):
        move_place(yard["Trolley"], into=yard["Bay" if hours % 4 else "Hall"], stamp=stamp(hours))
        put([long], yard["Bench" if hours % 4 else "Trolley"], hours=hours + 1)
    assert queries(long) == few
