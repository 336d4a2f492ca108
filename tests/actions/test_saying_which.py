"""Plants that left by number get their cells afterwards."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.grading import Graded, record_grading
from nursery.actions.leaving import Goal, let_all_leave, let_leave, let_leave_by_number
from nursery.actions.recount import differences
from nursery.actions.saying_which import say_which
from nursery.actions.stamp import Stamp
from nursery.actions.stock import flat_stock
from nursery.actions.undo_leaving import undo_leaving
from nursery.models import DayCount, Grading, Leaving, StageMove
from tests.actions.test_leaving import DAY_12, look
from tests.actions.test_marks import DAY_14
from tests.factories import make_flat, make_run

pytestmark = pytest.mark.django_db


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat)
    return flat


def by_number(flat, plants, **goal):
    return let_leave_by_number(
        flat, numbers={flat.runs.get().pk: plants}, stamp=Stamp.of(DAY_12), goal=Goal("sold", **goal)
    )


def test_the_cells_take_the_place_of_the_number(flat):
    # 72 grafted, 12 sold by number on day 12. Said on day 14: it was row A. 60 live, and none left twice.
    leaving = by_number(flat, 12, destination="bed 4")
    new = say_which(leaving, places=range(1, 13), stamp=Stamp.of(DAY_14))
    assert (new.day, new.destination, new.reason) == (leaving.day, "bed 4", "sold")
    assert list(Leaving.objects.standing()) == [new]
    stock = next(iter(flat_stock(flat).values()))
    assert (stock.alive, stock.gone_in_cells, stock.left_by_number) == (60, 12, 0)
    row = DayCount.objects.get(day=DAY_12.date())
    assert (row.gone, row.gone_early) == (12, 0)
    assert list(differences()) == []


def test_their_grades_stay_with_them(flat):
    leaving = by_number(flat, 12)
    run = flat.runs.get()
    record_grading(
        flat, counts=[Graded(run.pk, "first", 9, heads=2, is_even=True), Graded(run.pk, "cull", 3)],
        stamp=Stamp.of(DAY_12), leaving=leaving,
    )  # fmt: skip
    new = say_which(leaving, places=range(1, 13), stamp=Stamp.of(DAY_14))
    assert list(Grading.objects.standing()) == [new.gradings.get()]
    kept = (
        new.gradings.get()
        .counts.order_by("pk")
        .values_list("grade", "plants_count", "heads_per_plant", "is_even")
    )
    assert list(kept) == [("first", 9, 2, True), ("cull", 3, 1, None)]


def test_as_many_cells_as_left(flat):
    leaving = by_number(flat, 12)
    with pytest.raises(ValidationError, match="12 plants left by number, and 11 are chosen"):
        say_which(leaving, places=range(1, 12), stamp=Stamp.of(DAY_14))
    assert list(Leaving.objects.standing()) == [leaving]


def test_a_dead_cell_did_not_leave_and_the_number_stays(flat):
    look(flat, DAY_12 - timedelta(days=1), dead=[1])
    leaving = by_number(flat, 12)
    with pytest.raises(ValidationError, match="A1"):
        say_which(leaving, places=range(1, 13), stamp=Stamp.of(DAY_14))
    assert list(Leaving.objects.standing()) == [leaving]


def test_what_was_told_by_cells_is_not_told_again(flat):
    leaving = let_leave(flat, places=[1], reason="sold", stamp=Stamp.of(DAY_12))
    with pytest.raises(ValidationError):
        say_which(leaving, places=[2], stamp=Stamp.of(DAY_14))


def test_one_flat_of_an_act_is_taken_back_with_what_it_says_of_its_stage(flat):
    other = make_flat()
    make_run(other)
    let_all_leave([flat, other], goal=Goal("sold"), stamp=Stamp.of(DAY_12))
    undo_leaving(flat.leavings.get(), stamp=Stamp.of(DAY_14))
    assert list(StageMove.objects.standing().values_list("flat", flat=True)) == [other.pk]
    assert [run.alive for run in flat_stock(flat).values()] == [72]
