"""Counting a flat by numbers: so many dead and wilting of each run."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.batch import Batch, ClosingIn, NumbersIn, Sender
from nursery.actions.leaving import Goal, let_leave_by_number
from nursery.actions.marks import receive_batch
from nursery.actions.numbers import count_by_numbers, runs_standing
from nursery.actions.recount import differences
from nursery.actions.stamp import Stamp
from nursery.models import Check, DayCount, Mark, NumberCount, Run
from tests.actions.test_marks import DAY_14, check_in, close, mark_in, send
from tests.factories import make_flat, make_run

pytestmark = pytest.mark.django_db


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat)
    return flat


@pytest.fixture
def run(flat):
    return flat.runs.get()


def batch(check, *numbers, closes=True):
    closings = [ClosingIn(uuid4(), check.uuid, check.opened_at)] if closes else []
    return Batch(DAY_14, checks=[check], closings=closings, numbers=list(numbers))


def take(sent):
    return receive_batch(sent, Sender(None, None, DAY_14))


def result(receipt, numbers):
    return receipt.results[numbers.name]["status"], receipt.results[numbers.name].get("reason", "")


def test_50_of_72_dead_are_22_alive_and_the_record(flat, run):
    check = check_in(flat, kind="numbers")
    receipt = take(batch(check, NumbersIn(check.uuid, 1, 50, 4)))
    assert {one["status"] for one in receipt.results.values()} == {"stored"}
    count = DayCount.objects.get()
    assert (count.seen, count.alive, count.wilting, count.dead) == (72, 22, 4, 50)
    assert (count.source, count.is_record) == ("numbers", True)
    assert receipt.flats[flat.code].alive == 22
    assert not list(differences())


def test_sent_again_it_is_known_and_changes_nothing_by_number_or_by_key(flat, run):
    check = check_in(flat, kind="numbers")
    numbers = NumbersIn(check.uuid, 1, 50, 4)
    sent = batch(check, numbers)
    take(sent)
    before = list(DayCount.objects.values())
    assert {one["status"] for one in take(sent).results.values()} == {"known"}
    by_key = NumbersIn(check.uuid, run.key, 50, 4)
    assert result(take(batch(check, by_key, closes=False)), by_key)[0] == "known"
    assert list(DayCount.objects.values()) == before and NumberCount.objects.count() == 1


def test_other_numbers_for_the_same_check_are_refused_and_the_first_stay(flat, run):
    check = check_in(flat, kind="numbers")
    first, other = NumbersIn(check.uuid, 1, 50, 4), NumbersIn(check.uuid, 1, 51, 4)
    receipt = take(batch(check, first, other))
    assert result(receipt, first)[0] == "refused"  # one name, two contents in one batch
    assert result(take(batch(check, other)), other)[0] == "refused"
    assert NumberCount.objects.get().dead_count == 50


@pytest.mark.parametrize(
    ("dead", "wilting", "reason"),
    [(70, 3, "72 plants stand here"), (73, 0, "72 plants stand here"), (2, 0, "3 cells are marked dead")],
)
def test_what_cannot_be_is_refused_in_words(flat, run, dead, wilting, reason):
    before = check_in(flat, DAY_14 - timedelta(days=3))
    send(checks=[before], marks=[mark_in(before, p) for p in (1, 2, 3)], closings=[close(before)])
    check = check_in(flat, kind="numbers")
    numbers = NumbersIn(check.uuid, 1, dead, wilting)
    status, why = result(take(batch(check, numbers)), numbers)
    assert status == "refused" and reason in why
    assert not NumberCount.objects.exists()


def test_cells_that_died_later_do_not_judge_an_earlier_day(flat, run):
    late = check_in(flat)
    send(checks=[late], marks=[mark_in(late, p) for p in range(1, 11)], closings=[close(late)])
    early = check_in(flat, DAY_14 - timedelta(days=3), kind="numbers")
    numbers = NumbersIn(early.uuid, 1, 4)
    assert result(take(batch(early, numbers)), numbers)[0] == "stored"
    assert DayCount.objects.order_by("day").first().dead == 4
    assert not list(differences())


def test_plants_that_left_do_not_stand_here(flat, run):
    # 72, 60 of them sold on day 12: 12 stand
    let_leave_by_number(
        flat, numbers={run.pk: 60}, goal=Goal("sold"), stamp=Stamp.of(DAY_14 - timedelta(days=2))
    )
    check = check_in(flat, kind="numbers")
    numbers = NumbersIn(check.uuid, 1, 13)
    status, why = result(take(batch(check, numbers)), numbers)
    assert status == "refused" and "12 plants stand here" in why


@pytest.mark.parametrize(
    ("kind", "run_named", "reason"),
    [("whole", 1, "cell by cell"), ("numbers", 2, "No plant of this run"), ("numbers", uuid4(), "No plant")],
)
def test_numbers_in_the_wrong_place_are_refused(flat, run, kind, run_named, reason):
    check = check_in(flat, kind=kind)
    numbers = NumbersIn(check.uuid, run_named, 5)
    status, why = result(take(batch(check, numbers)), numbers)
    assert status == "refused" and reason in why


def test_numbers_without_their_check_are_refused_and_block_nothing(flat, run):
    check = check_in(flat, kind="numbers")
    lost, good = NumbersIn(uuid4(), 1, 5), NumbersIn(check.uuid, 1, 5)
    receipt = take(batch(check, lost, good))
    assert (result(receipt, lost)[0], result(receipt, good)[0]) == ("refused", "stored")


@pytest.fixture
def pool(flat, run):
    """A flat into which 30 plants were moved by number on day 10; no cell of it is known."""
    target = make_flat(is_pooled=True)
    let_leave_by_number(
        flat,
        numbers={run.pk: 30},
        goal=Goal("moved", to_flat=target),
        stamp=Stamp.of(DAY_14 - timedelta(days=4)),
    )
    return target


def test_a_pooled_flat_is_counted_by_the_keys_of_its_runs(pool, run):
    check = check_in(pool, kind="numbers")
    by_number, by_key = NumbersIn(check.uuid, 1, 8), NumbersIn(check.uuid, run.key, 8, 2)
    receipt = take(batch(check, by_number, by_key))
    assert result(receipt, by_number)[0] == "refused"  # run 1 is a number of the other flat
    assert result(receipt, by_key)[0] == "stored"
    count = DayCount.objects.get(flat=pool)
    assert (count.grafted, count.alive, count.wilting, count.dead) == (30, 22, 2, 8)
    assert not count.is_record  # a later loss of the pool, no take
    assert not list(differences())


# --- as an act of its own


def stamp(days_ago=0):
    return Stamp.of(DAY_14 - timedelta(days=days_ago))


def test_a_count_is_a_closed_check_and_sent_again_the_same(flat, run):
    uuid = uuid4()
    check = count_by_numbers(flat, uuid=uuid, numbers={run: (50, 4)}, stamp=stamp())
    again = count_by_numbers(
        flat, uuid=uuid, numbers={run: (50, 4)}, stamp=Stamp.of(DAY_14 + timedelta(minutes=1))
    )
    assert check == again and Check.objects.count() == 1
    assert (check.kind, check.is_closed) == ("numbers", True)
    with pytest.raises(ValidationError, match="saved before"):
        count_by_numbers(flat, uuid=uuid, numbers={run: (49, 4)}, stamp=stamp())


def test_what_cannot_be_stores_nothing_and_names_the_run(flat, run):
    second = make_run(flat, places=range(1, 3))
    with pytest.raises(ValidationError) as caught:
        count_by_numbers(flat, uuid=uuid4(), numbers={run: (50, 0), second: (3, 0)}, stamp=stamp())
    assert list(caught.value.message_dict) == [str(second.key)]
    assert not Check.objects.exists() and not NumberCount.objects.exists()


def test_a_day_that_was_looked_at_cell_by_cell_takes_no_numbers(flat, run):
    look = check_in(flat)
    send(checks=[look], closings=[close(look)])
    with pytest.raises(ValidationError, match="cell by cell"):
        count_by_numbers(flat, uuid=uuid4(), numbers={run: (5, 0)}, stamp=stamp())


def test_what_stands_is_told_with_what_is_known_dead(flat, run):
    look = check_in(flat, DAY_14 - timedelta(days=5))
    send(checks=[look], marks=[mark_in(look, 1)], closings=[close(look)])
    count_by_numbers(flat, uuid=uuid4(), numbers={run: (9, 0)}, stamp=stamp(days_ago=2))
    ((one, standing, dead),) = runs_standing(flat, DAY_14.date())
    assert (one, standing.plants, standing.dead_in_cells, dead) == (run, 72, 1, 9)


def test_columns_changed_meanwhile_survive(flat, run):
    Run.objects.update(clip="silicone")
    count_by_numbers(flat, uuid=uuid4(), numbers={run: (5, 0)}, stamp=stamp())
    assert Run.objects.get().clip == "silicone" and not Mark.objects.exists()
