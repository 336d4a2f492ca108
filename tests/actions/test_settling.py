"""What people disagree on, and how it is settled."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.moving import move_cells
from nursery.actions.recount import differences
from nursery.actions.settling import flat_disputes, settle
from nursery.actions.stamp import Stamp
from nursery.models import Cell, DayCount, Mark
from tests.actions.test_marks import DAY_14, check_in, close, mark_in, send
from tests.actions.test_mending import look, states
from tests.factories import make_flat, make_run

pytestmark = pytest.mark.django_db
DAY_7, DAY_10 = DAY_14 - timedelta(days=7), DAY_14 - timedelta(days=4)
STAMP = Stamp.of(DAY_14 + timedelta(days=1))


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat)
    return flat


def settled(flat, dispute, state):
    cell = Cell.objects.get(pk=dispute.cell.id)
    return settle(cell, uuids=dispute.open_uuids, state=state, reason="looked again", stamp=STAMP)


def test_as_one_of_them_says_and_it_is_settled(flat):
    look(flat, DAY_14, {1: "dead", 2: "dead"})
    look(flat, DAY_14 + timedelta(minutes=5), {1: "wilting"})
    [dispute] = flat_disputes(flat)
    assert (dispute.counted, dispute.cell.place_no, len(dispute.open_uuids)) == ("dead", 1, 2)
    correction = settled(flat, dispute, "wilting")
    assert (correction.kind, set(correction.replaces)) == ("correction", set(dispute.open_uuids))
    assert flat_disputes(flat) == []
    assert states(flat) == ({1: "wilting", 2: "dead"}, [])
    count = DayCount.objects.get()
    assert (count.dead, count.wilting, count.has_disagreement) == (1, 1, False)
    assert list(differences()) == []


def test_what_a_later_look_settled_is_in_dispute_on_the_day_before_and_can_be_settled_there(flat):
    look(flat, DAY_7, {1: "dead"})
    look(flat, DAY_7 + timedelta(hours=1), {1: "wilting"})
    both = tuple(str(uuid) for uuid in Mark.objects.values_list("uuid", flat=True))
    last = check_in(flat, DAY_14)
    firm = mark_in(last, 1, "firm", replaces=both)
    send(checks=[last], marks=[firm], closings=[close(last)])
    [dispute] = flat_disputes(flat)
    assert dispute.day == DAY_7.date()
    settled(flat, dispute, "wilting")
    assert flat_disputes(flat) == []
    assert states(flat) == ({1: "firm"}, [])
    days = DayCount.objects.order_by("day").values_list("dead", "wilting", "has_disagreement")
    assert list(days) == [(0, 1, False), (0, 0, False)]
    assert list(differences()) == []


def test_what_nobody_says_and_what_changed_meanwhile_is_refused(flat):
    look(flat, DAY_14, {1: "dead"})
    look(flat, DAY_14 + timedelta(minutes=5), {1: "wilting"})
    [dispute] = flat_disputes(flat)
    with pytest.raises(ValidationError, match="Nobody said so"):
        settled(flat, dispute, "firm")
    settled(flat, dispute, "dead")
    with pytest.raises(ValidationError):
        settled(flat, dispute, "wilting")
    assert Mark.objects.filter(kind="correction").count() == 1


def test_a_moved_plant_that_is_marked_in_its_old_place_is_listed_and_settled_as_gone(flat):
    target = make_flat()
    make_run(target, places=range(1, 10))
    move_cells(flat, places=[1], target=target, to_places=[10], stamp=Stamp.of(DAY_10))
    look(flat, DAY_14, {1: "dead"})
    [dispute] = flat_disputes(flat)
    assert (dispute.moved_on, dispute.counted) == (DAY_10.date(), "gone")
    with pytest.raises(ValidationError):
        settled(flat, dispute, "dead")
    settled(flat, dispute, "gone")
    assert flat_disputes(flat) == [] and states(target) == ({}, [])
    assert not DayCount.objects.filter(has_disagreement=True).exists()
    assert list(differences()) == []
