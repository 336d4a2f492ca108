"""Giving a check to the flat that was looked at, and voiding one."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.batch import Batch, NumbersIn, Sender
from nursery.actions.leaving import discard_flat, let_leave
from nursery.actions.marks import receive_batch
from nursery.actions.mending import give_check, unvoid_check, void_check
from nursery.actions.recount import differences
from nursery.actions.stamp import Stamp
from nursery.actions.states import flat_states
from nursery.models import Cell, Change, Check, DayCount, Mark, NumberCount, StageMove, Voiding
from tests.actions.test_marks import DAY_14, check_in, close, mark_in, send, statuses
from tests.factories import make_flat, make_run

pytestmark = pytest.mark.django_db
DAY_7, DAY_10 = DAY_14 - timedelta(days=7), DAY_14 - timedelta(days=4)
STAMP = Stamp.of(DAY_14 + timedelta(days=1))


@pytest.fixture
def flats(farm):
    """The flat that was said, and the one that was looked at."""
    flats = [make_flat(), make_flat()]
    for flat in flats:
        make_run(flat)
    return flats


def look(flat, at=DAY_14, states=(), closes=True):
    """Check ``flat``; ``states`` maps places to states. Returns the check and the parts that were sent."""
    check = check_in(flat, at)
    marks = [mark_in(check, place, state) for place, state in dict(states).items()]
    parts = {"checks": [check], "marks": marks, "closings": [close(check)] if closes else []}
    send(**parts, received_at=at)
    return Check.objects.get(uuid=check.uuid), parts


def give(check, to_flat):
    return give_check(check, to_flat=to_flat, reason="read the wrong label", stamp=STAMP)


def states(flat):
    """What is not simply alive, by place, and what is in dispute."""
    cells = flat_states(flat, day=DAY_14.date()).values()
    told = {cell.place_no: cell.state for cell in cells if cell.state != "unmarked"}
    return told, [cell.place_no for cell in cells if cell.disagreement]


def test_a_given_check_counts_in_the_right_flat_and_in_no_other(flats):
    said, looked_at = flats
    check, _parts = look(said, states={1: "dead", 2: "dead", 3: "wilting"})
    give(check, looked_at)
    count = DayCount.objects.get()
    assert (count.flat, count.alive, count.wilting, count.dead) == (looked_at, 70, 1, 2)
    assert set(Mark.objects.values_list("cell__flat", flat=True)) == {looked_at.pk}
    change = Change.objects.get()
    assert (change.field, change.old, change.new) == ("flat", said.code, looked_at.code)
    assert list(differences()) == []


def test_what_the_tablet_sends_again_is_known_and_what_it_sends_late_lands_in_the_right_flat(flats):
    said, looked_at = flats
    check, parts = look(said, states={1: "dead"})
    give(check, looked_at)
    assert statuses(send(**parts, received_at=DAY_14)) == ["known"] * 3
    late = mark_in(parts["checks"][0], 5)
    receipt = send(checks=parts["checks"], marks=[late], received_at=DAY_14)
    assert statuses(receipt) == ["known", "stored"]
    assert states(looked_at) == ({1: "dead", 5: "dead"}, [])
    assert states(said) == ({}, [])
    assert list(differences()) == []


def test_a_check_under_the_code_of_a_flat_it_never_was_of_is_refused(flats):
    check, parts = look(flats[0], states={1: "dead"})
    give(check, flats[1])
    stranger = make_flat()
    wrong = type(parts["checks"][0])(uuid=check.uuid, flat_code=stranger.code, opened_at=DAY_14)
    assert statuses(send(checks=[wrong], received_at=DAY_14)) == ["refused"]


def test_an_earlier_mark_of_the_right_flat_gives_way_to_the_given_check(flats):
    said, looked_at = flats
    look(looked_at, DAY_7, {1: "wilting", 2: "wilting"})
    check, _parts = look(said, states={1: "dead"})
    assert give(check, looked_at) == 1
    assert states(looked_at) == ({1: "dead", 2: "wilting"}, [])
    correction = Mark.objects.get(kind="correction")
    assert (correction.check_ref, correction.state, len(correction.replaces)) == (check, "dead", 2)
    assert not DayCount.objects.filter(has_disagreement=True).exists()
    assert list(differences()) == []


def test_a_later_days_mark_stands_and_the_day_of_the_check_is_right_too(flats):
    said, looked_at = flats
    look(looked_at, DAY_7, {1: "firm"})
    last = check_in(looked_at, DAY_14)
    wilting = mark_in(last, 1, "wilting", replaces=(str(Mark.objects.get().uuid),))
    send(checks=[last], marks=[wilting], closings=[close(last)])
    check, _parts = look(said, DAY_10, {1: "dead"})
    give(check, looked_at)
    assert states(looked_at) == ({1: "wilting"}, [])
    by_day = DayCount.objects.filter(flat=looked_at).order_by("day")
    assert [(row.dead, row.wilting, row.has_disagreement) for row in by_day] == [
        (0, 0, False), (1, 0, False), (0, 1, False),
    ]  # fmt: skip
    assert list(differences()) == []


def test_a_tap_that_was_taken_back_says_nothing_in_the_right_flat(flats):
    said, looked_at = flats
    look(looked_at, DAY_7, {1: "wilting"})
    check, parts = look(said, states={1: "dead"}, closes=False)
    undo = mark_in(parts["checks"][0], 1, "unmarked", kind="undo", replaces=(str(parts["marks"][0].uuid),))
    send(marks=[undo], closings=[close(parts["checks"][0])], received_at=DAY_14)
    give(check, looked_at)
    assert states(looked_at) == ({1: "wilting"}, [])
    assert list(differences()) == []


def test_what_people_disagreed_on_before_stays_in_dispute(flats):
    said, looked_at = flats
    look(looked_at, DAY_7, {1: "wilting"})
    look(looked_at, DAY_7 + timedelta(hours=1), {1: "dead"})
    check, _parts = look(said, states={1: "firm"})
    give(check, looked_at)
    assert states(looked_at)[1] == [1]


def test_the_later_marks_of_the_flat_it_is_taken_from_are_not_in_dispute(flats):
    # Day 7 wilting; day 10 (really another flat) dead; day 14 found firm again, seeing only the dead one.
    said, looked_at = flats
    look(said, DAY_7, {1: "wilting"})
    first = Mark.objects.get()
    check = check_in(said, DAY_10)
    dead = mark_in(check, 1, replaces=(str(first.uuid),))
    send(checks=[check], marks=[dead], closings=[close(check)], received_at=DAY_10)
    last = check_in(said, DAY_14)
    firm = mark_in(last, 1, "firm", kind="correction", replaces=(str(dead.uuid),))
    send(checks=[last], marks=[firm], closings=[close(last)], received_at=DAY_14)
    give(Check.objects.get(uuid=check.uuid), looked_at)
    assert states(said) == ({1: "firm"}, [])
    assert states(looked_at) == ({1: "dead"}, [])
    assert list(differences()) == []


def test_giving_it_back_brings_both_flats_back(flats):
    said, looked_at = flats
    look(looked_at, DAY_7, {1: "wilting", 4: "dead"})
    look(said, DAY_7, {2: "wilting"})
    check, _parts = look(said, states={1: "dead", 2: "dead"})
    before = [states(flat)[0] for flat in flats]
    give(check, looked_at)
    give(Check.objects.get(pk=check.pk), said)
    after = [states(flat) for flat in flats]
    assert after[1] == (before[1], [])
    assert after[0] == ({1: "dead", 2: "dead"}, []) and before[0] == after[0][0]
    assert list(differences()) == []


def test_a_column_that_somebody_else_wrote_survives(flats):
    stale, _parts = look(flats[0], states={1: "dead"})
    Check.objects.filter(pk=stale.pk).update(cause="rot")
    Mark.objects.update(cause="heat")
    give(stale, flats[1])
    assert (Check.objects.get().cause, Mark.objects.get().cause) == ("rot", "heat")
    void_check(Check.objects.get(), reason="no", stamp=STAMP)
    assert Check.objects.get().cause == "rot"


def test_places_without_such_a_plant_are_named(farm):
    said, looked_at = make_flat(), make_flat()
    make_run(said)
    make_run(looked_at, places=range(1, 71))
    check, _parts = look(said, states={70: "dead", 71: "dead", 72: "dead"})
    with pytest.raises(ValidationError, match="F11, F12"):
        give(check, looked_at)
    assert Check.objects.get().flat == said


def test_a_graft_made_after_the_check_is_no_such_plant(farm):
    said, looked_at = make_flat(), make_flat()
    make_run(said)
    make_run(looked_at, places=range(1, 72))
    make_run(looked_at, places=[72], grafted_on=DAY_10.date())
    check, _parts = look(said, DAY_7, {72: "dead"})
    with pytest.raises(ValidationError, match="F12"):
        give(check, looked_at)


@pytest.mark.parametrize(
    ("case", "said"),
    [
        ("same", "one of .* already"),
        ("shape", "another format"),
        ("later", "grafted on 17 March 2026"),
        ("empty", "Nothing is grafted"),
        ("void", "This check is void"),
    ],
)
def test_flats_that_cannot_have_been_meant_are_refused(flats, case, said):
    check, _parts = look(flats[0], states={1: "dead"})
    others = {"same": flats[0], "shape": make_flat(4, 6), "later": make_flat(), "empty": make_flat()}
    make_run(others["shape"], places=range(1, 25))
    make_run(others["later"], grafted_on=DAY_14.date() + timedelta(days=1))
    if case == "void":
        void_check(check, reason="no", stamp=STAMP)
        check.refresh_from_db()
    with pytest.raises(ValidationError, match=said):
        give(check, others.get(case, flats[1]))
    assert Check.objects.get().flat == flats[0]


def test_a_leaving_and_a_discarding_are_undone_where_they_were_done(flats):
    leaving = let_leave(flats[0], places=[1], reason="sold", stamp=Stamp.of(DAY_14))
    discard_flat(flats[1], is_loss=True, stamp=Stamp.of(DAY_14))
    last = Check.objects.get(flat=flats[1])
    StageMove.objects.filter(stage="discarded").update(uuid=last.uuid)  # as a discarding names its look
    for check, said in ((leaving.check_ref, "Undo the leaving"), (last, "Undo the discarding")):
        with pytest.raises(ValidationError, match=said):
            give(check, make_run().flat)
        with pytest.raises(ValidationError, match=said):
            void_check(check, reason="no", stamp=STAMP)


def test_numbers_go_to_the_run_of_the_same_number_and_are_known_when_sent_again(flats):
    check = check_in(flats[0], kind="numbers")
    by_key = NumbersIn(check.uuid, flats[0].runs.get().key, 9, 1)
    batch = Batch(DAY_14, None, [check], closings=[close(check)], numbers=[by_key])
    receive_batch(batch, Sender(None, None, DAY_14))
    stored = Check.objects.get()
    give(stored, flats[1])
    assert statuses(receive_batch(batch, Sender(None, None, DAY_14))) == ["known"] * 3
    assert NumberCount.objects.get().run.flat == flats[1]
    assert DayCount.objects.get().dead == 9
    two = make_flat()
    make_run(two, places=range(1, 37)), make_run(two, places=range(37, 73))
    with pytest.raises(ValidationError, match="numbers do not fit"):
        give(Check.objects.get(), two)
    assert list(differences()) == []


def test_a_void_check_counts_for_nothing_and_can_count_again_and_be_voided_again(flats):
    flat = flats[0]
    check, _parts = look(flat, states={1: "dead"})
    for _round in range(2):
        void_check(check, reason="the lamp was off", stamp=STAMP)
        assert not DayCount.objects.exists() and Check.objects.get().is_void
        unvoid_check(check, reason="it was on", stamp=STAMP)
        assert DayCount.objects.get().dead == 1
        assert list(differences()) == []
    chain = list(Voiding.objects.order_by("pk").values_list("target_uuid", "uuid"))
    assert [target for target, _uuid in chain] == [check.uuid, *(uuid for _target, uuid in chain[:-1])]


def test_voiding_twice_and_without_a_reason_is_refused(flats):
    check, _parts = look(flats[0], states={1: "dead"})
    with pytest.raises(ValidationError, match="in a few words"):
        void_check(check, reason=" ", stamp=STAMP)
    void_check(check, reason="no", stamp=STAMP)
    with pytest.raises(ValidationError):
        void_check(check, reason="no", stamp=STAMP)
    assert Voiding.objects.count() == 1


def test_every_cell_of_the_check_is_pointed_at_the_right_flat_once(flats):
    check, _parts = look(flats[0], states=dict.fromkeys(range(1, 73), "dead"))
    give(check, flats[1])
    there = Mark.objects.values_list("cell__place_no", "cell__flat")
    assert sorted(there) == [(place, flats[1].pk) for place in range(1, 73)]
    assert Cell.objects.filter(flat=flats[1]).count() == 72
