"""Two people who move things at once: no circle, nothing moved twice, nothing taken back twice."""

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.moves import move_place
from nursery.actions.undo_moves import undo_move
from nursery.models import Farm, Place, StageMove, Voiding
from tests.actions.test_concurrency import at_once, real_database  # noqa: F401
from tests.yard import grafted, insides, make_yard, put, stamp

pytestmark = pytest.mark.django_db(transaction=True)
ROUNDS = 8


@pytest.fixture
def yard(real_database):  # noqa: F811
    Farm.objects.create(pk=1, name="Test farm", label_address="http://192.0.2.7:8000")
    return make_yard()


def tried(act):
    try:
        return act()
    except ValidationError as error:
        return error.messages


def test_two_trolleys_pushed_into_each_other_end_in_no_circle(yard):
    big, small = yard["Trolley"], yard["Small trolley"]
    for hours in range(1, ROUNDS + 1):
        Place.objects.filter(pk__in=[big.pk, small.pk]).update(stands_in=None)
        told = at_once(
            lambda now=hours: tried(lambda: move_place(big, into=small, stamp=stamp(now))),
            lambda now=hours: tried(lambda: move_place(small, into=big, stamp=stamp(now))),
        )
        assert sum(isinstance(answer, list) for answer in told) == 1
        stands = insides()
        assert (stands["Trolley"] is None) != (stands["Small trolley"] is None)


def test_one_act_taken_back_by_two_is_taken_back_once(yard):
    flats = grafted(3, place=yard["Bench"])
    for hours in range(1, ROUNDS + 1):
        act = put(flats, yard["Chamber"], hours=2 * hours)
        undo = [lambda now=hours, act=act: tried(lambda: undo_move(act, stamp=stamp(2 * now + 1)))] * 2
        told = at_once(*undo)
        assert sorted(map(str, told)) == ["3", "['This was taken back already.']"]
    assert Voiding.objects.count() == StageMove.objects.filter(place=yard["Chamber"]).count() == 3 * ROUNDS
