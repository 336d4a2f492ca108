"""Moving flats, trolleys, whole contents and sessions: what is written, what stays out, what is refused."""

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.actions import moves
from nursery.actions.codes import issue_code
from nursery.actions.leaving import discard_flat
from nursery.actions.moves import (
    Load,
    content_of,
    excess_of,
    flats_of_session,
    move_content,
    move_flats,
    move_place,
    move_session,
)
from nursery.actions.records import delete_record, save_record
from nursery.actions.yard import Yard
from nursery.models import Flat, Place, PlaceMove, Run, StageMove
from tests.factories import (
    make_flat,
    make_pairing,
    make_place,
    make_season,
    make_session,
    make_sowing,
    make_worker,
)
from tests.yard import grafted, insides, make_yard, put, stamp, where

pytestmark = pytest.mark.django_db


@pytest.fixture
def yard(farm):
    return make_yard()


def test_flats_come_to_the_place_and_to_its_stage_in_one_act(yard):
    flats, wren = grafted(3, place=yard["Bench"]), make_worker("Wren")
    act = move_flats(flats, to_place=yard["Chamber"], stamp=stamp(1, worker=wren), reason=" Humid ")
    assert where(flats) == [("Chamber", "chamber")] * 3
    written = StageMove.objects.filter(act=act)
    assert written.count() == 3
    assert {(m.by_worker, m.at, m.reason, m.is_over_capacity) for m in written} == {
        (wren, stamp(1).at, "Humid", False)
    }


@pytest.mark.parametrize(
    ("place", "stage"),
    [
        ("Chamber", "chamber"),
        ("Hall", "acclimation"),
        ("Bay", "growing_on"),
        ("Bench", "chamber"),  # a bench says nothing: the flats keep what they had
        ("Trolley", "acclimation"),  # it stands in the hall
        ("Small trolley", "chamber"),  # it stands nowhere
    ],
)
def test_the_stage_follows_from_the_kind_of_place(yard, place, stage):
    flats = grafted(1, place=yard["Bench"])
    put(flats, yard["Chamber"], hours=1)
    if place != "Chamber":
        put(flats, yard[place], hours=2)
    assert where(flats) == [(place, stage)]


def test_a_stage_that_is_said_counts(yard):
    flats = grafted(2)
    put(flats, yard["Chamber"], stage="acclimation")
    assert where(flats) == [("Chamber", "acclimation")] * 2


def test_what_was_only_sown_stays_sown(yard):
    sown, told, fresh = make_flat(), make_flat(), make_flat(sowing=make_sowing())
    for flat in (sown, told):
        StageMove.objects.create(flat=flat, stage="sown", **stamp().fields())
    put([sown, fresh], yard["Chamber"])
    put([told], yard["Chamber"], stage="chamber")
    assert where([sown, fresh, told]) == [("Chamber", "sown"), ("Chamber", "sown"), ("Chamber", "chamber")]


def test_a_stage_in_which_nothing_stands_is_a_fault_of_ours(yard):
    for stage in ("discarded", "dispatched", "nowhere"):
        with pytest.raises(ValueError, match=stage):
            put(grafted(1), yard["Bay"], stage=stage)


def test_what_left_and_what_is_in_hand_stays_out(yard):
    stays, left, in_hand = grafted(3, place=yard["Bench"])
    tally = Flat.objects.create(
        code=issue_code("F"), created_at=stamp().at, origin="tally", season=make_season(), own_name="Row 7"
    )
    discard_flat(left, is_loss=False, stamp=stamp(1))
    Run.objects.filter(flat=in_hand).update(started_at=stamp().at, finished_at=None)
    put([stays, left, in_hand, tally], yard["Chamber"], hours=2)
    assert [place for place, _stage in where([stays, left, in_hand, tally])] == [
        "Chamber",
        None,
        "Bench",
        None,
    ]


def test_says_why_nothing_can_be_moved(yard):
    left, in_hand = grafted(2, place=yard["Bench"])
    discard_flat(left, is_loss=True, stamp=stamp(1))
    Run.objects.filter(flat=in_hand).update(started_at=stamp().at, finished_at=None)
    for flats, words in (([left], "left the farm"), ([in_hand], "Finish it first"), ([], "choose flats")):
        with pytest.raises(ValidationError, match=words):
            put(flats, yard["Chamber"], hours=2)
    there = grafted(1, place=yard["Bench"])
    put(there, yard["Chamber"], hours=1)
    with pytest.raises(ValidationError, match="in Chamber already"):
        put(there, yard["Chamber"], hours=2)


def test_what_stands_there_already_is_not_moved_again(yard):
    old, new = grafted(2)
    put([old], yard["Chamber"], hours=1)
    put([old, new], yard["Chamber"], hours=2)
    assert [flat.moves.count() for flat in (old, new)] == [2, 2]


def test_a_move_that_overfills_is_made_and_says_so(yard):
    flats = grafted(9)
    put(flats[:4], yard["Bay"], hours=1)
    (excess,) = excess_of(Load(tuple(flats)), yard["Bay"])
    assert (excess.flats, excess.too_many) == (9, 3)
    assert "Bay has room for 6 flats and would hold 9: 3 too many." in str(excess)
    put(flats[4:], yard["Bay"], hours=2)
    flags = [flat.moves.latest("at").is_over_capacity for flat in flats]
    assert flags == [False] * 4 + [True] * 5


def test_what_fits_exactly_is_no_matter(yard):
    flats = grafted(6)
    assert excess_of(Load(tuple(flats)), yard["Bay"]) == []
    put(flats, yard["Bay"])
    assert not StageMove.objects.filter(is_over_capacity=True).exists()


def test_a_place_holds_what_stands_inside_it(yard):
    Place.objects.filter(name="Chamber").update(capacity_flats=5)
    put(grafted(4), yard["Trolley"], hours=1)
    move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(2))
    flats = grafted(2)
    (excess,) = excess_of(Load(tuple(flats)), yard["Trolley"])  # 20 have room on it, 5 in the chamber
    assert (excess.place.name, excess.flats) == ("Chamber", 6)
    now = Yard.read()
    assert [now.flats_in(yard[name]) for name in ("Trolley", "Chamber", "Hall", "Bay")] == [4, 4, 4, 0]


def test_moving_inside_a_crowded_place_makes_it_no_fuller(yard):
    Place.objects.filter(name="Hall").update(capacity_flats=3)
    flats = grafted(5, place=yard["Bench"])
    assert excess_of(Load(tuple(flats)), yard["Chamber"]) == []
    put(flats, yard["Chamber"])
    assert not StageMove.objects.filter(is_over_capacity=True).exists()


def test_a_trolley_takes_its_flats_into_the_chamber_and_its_stage(yard):
    flats = grafted(3)
    put(flats, yard["Small trolley"], hours=1)
    act = move_place(yard["Small trolley"], into=yard["Chamber"], stamp=stamp(2))
    assert insides()["Small trolley"] == "Chamber"
    assert where(flats) == [("Small trolley", "chamber")] * 3
    assert StageMove.objects.filter(act=act).count() == 3
    assert PlaceMove.objects.get(act=act).stands_in == yard["Chamber"]


def test_flats_on_a_trolley_get_no_move_where_nothing_changes_for_them(yard):
    flats = grafted(2)
    put(flats, yard["Trolley"], hours=1)
    move_place(yard["Trolley"], into=None, stamp=stamp(2))
    assert insides()["Trolley"] is None
    assert [flat.moves.count() for flat in flats] == [2, 2]
    assert where(flats) == [("Trolley", "acclimation")] * 2


def test_a_trolley_that_overfills_a_chamber_says_so_on_its_flats(yard):
    Place.objects.filter(name="Chamber").update(capacity_flats=2)
    flats = grafted(3)
    put(flats, yard["Trolley"], stage="chamber")
    move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(2))
    assert [flat.moves.latest("at").is_over_capacity for flat in flats] == [True] * 3


def test_a_bench_that_is_carried_into_a_room_changes_no_stage(yard):
    flats = grafted(2, place=yard["Bench"])
    move_place(yard["Bench"], into=make_place("Shed", kind="room"), stamp=stamp(1))
    assert where(flats) == [("Bench", "bench")] * 2


def test_a_place_never_stands_in_itself(yard):
    move_place(yard["Small trolley"], into=yard["Trolley"], stamp=stamp(1))
    for into in ("Trolley", "Small trolley"):
        with pytest.raises(ValidationError) as caught:
            move_place(yard["Trolley"], into=yard[into], stamp=stamp(2))
        assert "to_place" in caught.value.message_dict
    assert insides()["Trolley"] == "Hall"
    assert PlaceMove.objects.filter(place=yard["Trolley"]).count() == 0


def test_a_circle_is_seen_in_what_stands_now_not_in_what_was_loaded(yard):
    big, small = Place.objects.get(name="Trolley"), Place.objects.get(name="Small trolley")
    Place.objects.filter(pk=big.pk).update(stands_in=small)
    with pytest.raises(ValidationError, match="stands in"):
        move_place(small, into=big, stamp=stamp(1))


def test_a_place_that_stands_there_already_is_refused(yard):
    with pytest.raises(ValidationError, match="in Hall already"):
        move_place(yard["Trolley"], into=yard["Hall"], stamp=stamp(1))


def test_where_a_place_stood_before_its_first_move_is_written_down(yard):
    put(grafted(1), yard["Trolley"], hours=3)
    move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(9))
    told = PlaceMove.objects.filter(place=yard["Trolley"]).order_by("at").values_list("at", "stands_in__name")
    assert list(told) == [(stamp(0).at, "Hall"), (stamp(9).at, "Chamber")]


def test_keeps_what_somebody_else_changed_of_a_place(yard):
    trolley = Place.objects.get(name="Trolley")
    Place.objects.filter(pk=trolley.pk).update(note="wheel squeaks")
    move_place(trolley, into=yard["Chamber"], stamp=stamp(1))
    trolley.refresh_from_db()
    assert (trolley.note, trolley.stands_in) == ("wheel squeaks", yard["Chamber"])


def test_keeps_what_somebody_else_changed_of_a_flat(yard):
    (flat,) = grafted(1)
    Flat.objects.filter(pk=flat.pk).update(note="patchy")
    put([flat], yard["Chamber"])
    flat.refresh_from_db()
    assert flat.note == "patchy"


def test_the_whole_content_goes_with_its_trolleys(yard):
    loose, loaded = grafted(2, place=yard["Bench"]), grafted(3)
    put(loaded, yard["Trolley"], hours=1)
    put(apart := grafted(1), yard["Small trolley"], hours=1)
    act = move_content(yard["Hall"], to_place=yard["Bay"], stamp=stamp(2))
    assert where(loose) == [("Bay", "growing_on")] * 2
    assert where(loaded) == [("Trolley", "growing_on")] * 3
    assert insides()["Trolley"] == "Bay"
    assert where(apart) == [("Small trolley", "bench")]
    assert (StageMove.objects.filter(act=act).count(), PlaceMove.objects.filter(act=act).count()) == (5, 1)


def test_what_stands_in_the_target_already_is_left_there(yard):
    put(inside := grafted(1), yard["Chamber"], hours=1)
    put(loaded := grafted(1), yard["Trolley"], hours=1)
    move_content(yard["Hall"], to_place=yard["Trolley"], stamp=stamp(2))
    assert where(inside) == [("Trolley", "acclimation")]
    assert where(loaded) == [("Trolley", "acclimation")]
    assert insides()["Trolley"] == "Hall"
    assert content_of(yard["Hall"], Yard.read(), to_place=yard["Trolley"]) == Load()


def test_of_a_session_those_at_the_bench_go_first_then_all(yard):
    session = make_session()
    flats = grafted(3, session=session, place=yard["Bench"])
    put(flats[:1], yard["Chamber"], hours=1)
    assert flats_of_session(session) == flats[1:]
    move_session(session, to_place=yard["Chamber"], stamp=stamp(2))
    assert [flat.moves.count() for flat in flats] == [2, 2, 2]
    move_session(session, to_place=yard["Bay"], stamp=stamp(3))
    assert where(flats) == [("Bay", "growing_on")] * 3


def counted(act):
    with CaptureQueriesContext(connection) as queries:
        act()
    return len(queries)


@pytest.mark.parametrize("number", [40, 400])
def test_as_many_queries_for_400_flats_as_for_2(yard, number):
    Place.objects.update(capacity_flats=None)
    session, pairing = make_session(), make_pairing()

    def flats(size):
        made = [make_flat() for _ in range(size)]
        Run.objects.bulk_create(
            Run(flat=f, number=1, pairing=pairing, method="splice", grafted_on="2026-03-02", session=session)
            for f in made
        )
        StageMove.objects.bulk_create(StageMove(flat=f, stage="bench", **stamp().fields()) for f in made)
        return made

    few, many = flats(2), flats(number)
    assert counted(lambda: put(many, yard["Chamber"])) == counted(lambda: put(few, yard["Chamber"]))
    assert set(where(many)) == {("Chamber", "chamber")}


def test_a_grafted_flat_needs_no_run_of_its_own_to_be_moved(yard):
    pooled = make_flat(is_pooled=True)
    StageMove.objects.create(flat=pooled, stage="growing_on", **stamp().fields())
    put([pooled], yard["Hall"])
    assert where([pooled]) == [("Hall", "acclimation")]


def test_a_place_is_moved_from_its_record_in_the_same_way(yard):
    put(flats := grafted(1), yard["Trolley"], hours=1)
    trolley, bob = Place.objects.get(name="Trolley"), make_worker("Bob")
    Place.objects.filter(pk=trolley.pk).update(note="wheel squeaks")
    save_record(trolley, {"name": "Trolley 1", "stands_in": yard["Chamber"]}, stamp=stamp(2, worker=bob))
    trolley.refresh_from_db()
    assert (trolley.name, trolley.stands_in, trolley.note) == ("Trolley 1", yard["Chamber"], "wheel squeaks")
    last = PlaceMove.objects.filter(place=trolley).latest("at")
    assert (last.stands_in, last.by_worker) == (yard["Chamber"], bob)
    assert where(flats) == [("Trolley 1", "chamber")]
    save_record(trolley, {"name": "Trolley", "stands_in": yard["Chamber"]})
    assert PlaceMove.objects.filter(place=trolley).count() == 2


def test_a_place_that_somebody_else_has_just_moved_there_is_stored(yard):
    trolley = Place.objects.get(name="Trolley")
    move_place(yard["Trolley"], into=yard["Bay"], stamp=stamp(1))
    save_record(trolley, {"stands_in": yard["Bay"]}, stamp=stamp(2))
    assert PlaceMove.objects.filter(place=trolley, stands_in=yard["Bay"]).count() == 1


def test_a_record_that_would_make_a_circle_moves_nothing(yard):
    chamber = Place.objects.get(name="Chamber")
    move_place(yard["Trolley"], into=chamber, stamp=stamp(1))
    with pytest.raises(ValidationError) as caught:
        save_record(chamber, {"stands_in": yard["Trolley"]}, stamp=stamp(2))
    assert "stands_in" in caught.value.message_dict
    assert not PlaceMove.objects.filter(place=chamber).exists()
    assert insides()["Chamber"] == "Hall"


def test_a_place_with_a_history_is_kept(yard):
    move_place(yard["Trolley"], into=None, stamp=stamp(1))
    with pytest.raises(ValidationError, match="2 moves of places"):
        delete_record(yard["Trolley"])


def test_a_stage_that_was_said_stays_from_one_chamber_to_the_next(yard):
    put(flats := grafted(1), yard["Trolley"], hours=1)
    move_place(yard["Trolley"], into=yard["Chamber"], stage="acclimation", stamp=stamp(2))
    move_place(yard["Trolley"], into=make_place("Other", kind="chamber"), stamp=stamp(3))
    assert where(flats) == [("Trolley", "acclimation")]


def test_what_leaves_while_its_trolley_is_moved_stays_gone(yard, monkeypatch):
    put(flats := grafted(2), yard["Trolley"], hours=1)
    lock_flats = moves.lock_flats

    def lock(flat_ids):  # somebody else discards one right before it is held
        StageMove.objects.create(flat=flats[0], stage="discarded", **stamp(2).fields())
        lock_flats(flat_ids)

    monkeypatch.setattr(moves, "lock_flats", lock)
    move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(3))
    assert where(flats) == [(None, "discarded"), ("Trolley", "chamber")]
