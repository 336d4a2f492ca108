"""Taking moves back; and, over random sequences, that no place ever stands in itself and an undo is exact."""

import random
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.actions.leaving import Goal, discard_flat, let_all_leave
from nursery.actions.moves import move_content, move_flats, move_place
from nursery.actions.undo_moves import is_move, undo_move
from nursery.models import Flat, Place, PlaceMove, StageMove, Voiding
from tests.factories import make_flat
from tests.yard import grafted, insides, make_yard, put, stamp, where

pytestmark = pytest.mark.django_db


@pytest.fixture
def yard(farm):
    return make_yard()


def test_everything_stands_where_it_stood(yard):
    flats = grafted(3, place=yard["Bench"])
    act = put(flats, yard["Chamber"], hours=1)
    assert is_move(act)
    assert undo_move(act, stamp=stamp(2), reason="Wrong ones") == 3
    assert where(flats) == [("Bench", "bench")] * 3
    assert StageMove.objects.filter(act=act).count() == 3
    assert set(Voiding.objects.values_list("reason", "target_noun")) == {("Wrong ones", "stage move")}
    assert not is_move(act)


def test_a_trolley_goes_back_with_its_flats(yard):
    flats = grafted(2)
    put(flats, yard["Trolley"], hours=1)
    act = move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(2))
    undo_move(act, stamp=stamp(3))
    assert insides()["Trolley"] == "Hall"
    assert where(flats) == [("Trolley", "acclimation")] * 2


def test_a_trolley_that_stood_in_nothing_does_so_again(yard):
    act = move_place(yard["Small trolley"], into=yard["Chamber"], stamp=stamp(2))
    undo_move(act, stamp=stamp(3))
    assert insides()["Small trolley"] is None


def test_whole_contents_go_back(yard):
    put(loaded := grafted(2), yard["Trolley"], hours=1)
    put(loose := grafted(2), yard["Hall"], hours=1)
    before = where(loaded + loose), insides()
    act = move_content(yard["Hall"], to_place=yard["Bay"], stamp=stamp(2))
    assert (where(loaded + loose), insides()) != before
    undo_move(act, stamp=stamp(3))
    assert (where(loaded + loose), insides()) == before


def refused(act, words):
    before = Voiding.objects.count()
    with pytest.raises(ValidationError, match=words):
        undo_move(act, stamp=stamp(9))
    assert Voiding.objects.count() == before


def test_once_is_enough(yard):
    act = put(grafted(1), yard["Bay"])
    undo_move(act, stamp=stamp(2))
    refused(act, "taken back already")
    refused(uuid4(), "taken back already")


def test_what_was_moved_since_is_named_and_all_stays(yard):
    flats = grafted(2)
    act = put(flats, yard["Chamber"], hours=1)
    later = put(flats[:1], yard["Bay"], hours=2)
    refused(act, f"{flats[0].code[:3]}-{flats[0].code[3:]} was moved again")
    assert where(flats) == [("Bay", "growing_on"), ("Chamber", "chamber")]
    undo_move(later, stamp=stamp(3))
    undo_move(act, stamp=stamp(4))
    assert where(flats) == [(None, "bench")] * 2


def test_what_left_since_keeps_its_move(yard):
    act = put(flats := grafted(1), yard["Chamber"], hours=1)
    discard_flat(flats[0], is_loss=False, stamp=stamp(2))
    refused(act, "moved again")


def test_a_trolley_moved_on_since_is_named(yard):
    act = move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(1))
    move_place(yard["Trolley"], into=yard["Bay"], stamp=stamp(2))
    refused(act, "Trolley was moved again")


def test_a_trolley_that_took_on_more_since_stays(yard):
    act = move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(1))
    later = put(grafted(1), yard["Trolley"], hours=2)
    refused(act, "put on Trolley since")
    undo_move(later, stamp=stamp(3))
    undo_move(act, stamp=stamp(4))
    assert insides()["Trolley"] == "Hall"


def test_a_trolley_on_a_trolley_keeps_the_lower_one(yard):
    act = move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(1))
    move_place(yard["Small trolley"], into=yard["Trolley"], stamp=stamp(2))
    refused(act, "put on Trolley since")


def test_a_leaving_is_not_taken_back_as_a_move(yard):
    act, _count = let_all_leave(grafted(1), goal=Goal("sold"), stamp=stamp(1))
    with pytest.raises(ValueError, match="leaving"):
        undo_move(act, stamp=stamp(2))
    assert not is_move(act)


def test_keeps_what_somebody_else_changed_of_the_place(yard):
    act = move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(1))
    Place.objects.filter(name="Trolley").update(note="wheel squeaks")
    undo_move(act, stamp=stamp(2))
    assert Place.objects.get(name="Trolley").note == "wheel squeaks"


def test_as_many_queries_for_40_flats_as_for_2(yard):
    def undone(number, hours):
        act = put(grafted(number), yard["Chamber"], hours=hours)
        with CaptureQueriesContext(connection) as queries:
            undo_move(act, stamp=stamp(hours + 1))
        return len(queries)

    assert undone(40, 1) == undone(2, 3)


class Chance:
    """Somebody who moves things about at random, and takes some of it back."""

    def __init__(self, seed, yard):
        self.chance, self.clock, self.acts = random.Random(seed), 1, []
        self.places, self.flats = list(yard.values()), [*grafted(4), *[make_flat() for _ in range(2)]]

    def now(self):
        self.clock += 1
        return stamp(self.clock)

    def move(self):
        """Do something and return its act, None where it was refused."""
        chance = self.chance
        into = chance.choice(self.places)
        try:
            match chance.randrange(4):
                case 0:
                    flats = chance.sample(self.flats, chance.randint(1, 4))
                    return move_flats(flats, to_place=into, stamp=self.now())
                case 1:
                    return move_content(chance.choice(self.places), to_place=into, stamp=self.now())
                case _:
                    place = chance.choice(self.places)
                    goal = chance.choice([into, into, into, None])
                    return move_place(place, into=goal, stamp=self.now())
        except ValidationError:
            return None


def everything(flats):
    return where(flats), insides()


def stands_in_no_circle():
    above = dict(Place.objects.values_list("pk", "stands_in"))
    for place in above:
        passed = set()
        while place is not None:
            assert place not in passed
            passed.add(place)
            place = above[place]


def places_stand_where_their_last_move_says():
    for place in Place.objects.all():
        last = PlaceMove.objects.standing().filter(place=place).order_by("-at", "-pk").first()
        if last:
            assert place.stands_in_id == last.stands_in_id


@pytest.mark.parametrize("seed", range(12))
def test_no_sequence_makes_a_circle_and_every_undo_is_exact(yard, seed, whole):
    somebody = Chance(seed, yard)
    done = []
    for _ in range(60 if whole else 15):
        before = everything(somebody.flats)
        act = somebody.move()
        if act is None:
            assert everything(somebody.flats) == before  # what is refused changes nothing
        elif somebody.chance.random() < 0.3:
            undo_move(act, stamp=somebody.now())
            assert everything(somebody.flats) == before
        else:
            done.append((act, before))
        stands_in_no_circle()
        places_stand_where_their_last_move_says()
    assert len(done) >= 3
    for act, before in reversed(done):  # what came last is always free to be taken back
        undo_move(act, stamp=somebody.now())
        assert everything(somebody.flats) == before
    assert Flat.objects.count() == 6
