"""Leaving, discarding, severing, grafting again."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.bench import Tray
from nursery.actions.leaving import (
    Goal,
    discard_flat,
    let_all_leave,
    let_leave,
    let_leave_by_number,
    sever,
)
from nursery.actions.moving import begin_flat, move_by_number
from nursery.actions.recount import differences
from nursery.actions.regraft import regraft
from nursery.actions.stamp import Stamp
from nursery.actions.undo_leaving import undo_leaving
from nursery.actions.work import Work
from nursery.models import Cell, Closing, DayCount, Leaving, Mark, Run
from tests.actions.test_marks import DAY_14, check_in, close, mark_in, send
from tests.factories import GRAFTED_AT, make_flat, make_run, make_session

pytestmark = pytest.mark.django_db
DAY_3, DAY_12 = DAY_14 - timedelta(days=11), DAY_14 - timedelta(days=2)


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat)
    return flat


def look(flat, at=DAY_14, dead=()):
    check = check_in(flat, at)
    marks = [mark_in(check, place) for place in dead]
    return send(checks=[check], marks=marks, closings=[close(check)], received_at=at)


def test_sixty_leave_on_day_12_and_count_as_alive(flat):
    # 72 grafted, 60 sold on day 12; on day 14 the other 12 are looked at, 2 of them dead: take 70 of 72.
    let_leave(flat, places=range(1, 61), reason="sold", stamp=Stamp.of(DAY_12))
    assert not DayCount.objects.filter(is_record=True).exists()
    look(flat, dead=[61, 62])
    record = DayCount.objects.get(is_record=True)
    assert (record.alive + record.gone - record.gone_early, record.grafted - record.gone_early) == (70, 72)


def test_what_left_did_not_come_in_after_its_own_closing(flat):
    let_leave(flat, places=[1, 2], reason="sample", stamp=Stamp.of(DAY_3))
    known = Closing.objects.get().known_marks
    assert sorted(known) == sorted(str(mark.uuid) for mark in Mark.objects.all())


def test_leaving_before_day_7_leaves_the_denominator(flat):
    let_leave(flat, places=[1, 2], reason="sample", stamp=Stamp.of(DAY_3))
    look(flat)
    record = DayCount.objects.get(is_record=True)
    assert (record.alive, record.grafted - record.gone_early) == (70, 70)


def test_a_dead_plant_does_not_leave(flat):
    look(flat, DAY_12, dead=[5])
    with pytest.raises(ValidationError, match="A5"):
        let_leave(flat, places=[4, 5], reason="sold", stamp=Stamp.of(DAY_14))
    assert not Mark.objects.filter(state="gone").exists()


def test_discarded_as_a_loss_the_rest_is_dead_and_final_at_once(flat):
    assert discard_flat(flat, is_loss=True, stamp=Stamp.of(DAY_3), reason="Lid left open") == 72
    record = DayCount.objects.get(is_record=True)
    assert (record.alive, record.dead) == (0, 72)


def test_discarded_as_surplus_the_rest_left_alive(flat):
    look(flat, DAY_12, dead=[1])
    discard_flat(flat, is_loss=False, stamp=Stamp.of(DAY_14))
    record = DayCount.objects.get(is_record=True)
    assert (record.alive, record.gone, record.gone_early, record.dead) == (0, 71, 0, 1)


def test_a_flat_is_discarded_once(flat):
    discard_flat(flat, is_loss=True, stamp=Stamp.of(DAY_12))
    with pytest.raises(ValidationError):
        discard_flat(flat, is_loss=False, stamp=Stamp.of(DAY_14))


def test_tongue_approach_counts_from_severing(farm):
    # Grafted on 2 March, severed on the 9th: day 14 is the 23rd, so the look on the 16th is early.
    flat = make_flat()
    run = make_run(flat, method="tongue")
    look(flat)
    assert not DayCount.objects.filter(is_record=True).exists()
    sever(run, severed_on=date(2026, 3, 9), stamp=Stamp.of(datetime(2026, 3, 9, 8, tzinfo=UTC)))
    assert not DayCount.objects.filter(is_record=True).exists()
    look(flat, DAY_14 + timedelta(days=7))
    assert DayCount.objects.get(is_record=True).day == date(2026, 3, 23)


def test_only_a_tongue_approach_is_severed_and_not_before_its_grafting(farm):
    with pytest.raises(ValidationError):
        sever(make_run(), severed_on=date(2026, 3, 9), stamp=Stamp.of(DAY_14))
    with pytest.raises(ValidationError):
        sever(make_run(method="tongue"), severed_on=date(2026, 3, 1), stamp=Stamp.of(DAY_14))


def test_regraft_is_a_run_of_its_own_and_the_first_graft_stays_dead(flat):
    # 3 of 72 dead on day 7; grafted again that day. On day 21 the second run has its day 14: 2 of 3 live.
    day_7, day_21 = DAY_14 - timedelta(days=7), DAY_14 + timedelta(days=7)
    look(flat, day_7, dead=[1, 2, 3])
    first = Run.objects.named().get()
    run = regraft(
        flat, places=[1, 2, 3], session=make_session(started_at=day_7), work=Work.of(first),
        stamp=Stamp.of(day_7),
    )  # fmt: skip
    check = check_in(flat, day_21)
    send(checks=[check], marks=[mark_in(check, 2, graft_no=2)], closings=[close(check)], received_at=day_21)
    assert run.is_regraft and run.number == 2
    assert Cell.objects.filter(flat=flat, is_present=True).count() == 72
    records = DayCount.objects.filter(is_record=True).order_by("run__number")
    assert list(records.values_list("grafted", "alive", "dead")) == [(72, 69, 3), (3, 2, 1)]
    assert list(differences()) == []


def test_only_dead_plants_are_grafted_again(flat):
    with pytest.raises(ValidationError, match="A1"):
        regraft(
            flat, places=[1], session=make_session(), work=Work.of(Run.objects.get()),
            stamp=Stamp.of(GRAFTED_AT + timedelta(days=3)),
        )  # fmt: skip


def test_a_leaving_is_no_look_at_the_others(flat):
    # Numbers of the same day stand: nobody looked at the cells when two were sold.
    let_leave(flat, places=[1, 2], reason="sold", stamp=Stamp.of(DAY_14))
    count = DayCount.objects.get()
    assert (count.seen, count.gone, count.alive) == (2, 2, 0)


def test_cells_and_numbers_together_take_no_more_than_lives(flat):
    run = flat.runs.get()
    let_leave_by_number(flat, numbers={run.pk: 70}, reason="sold", stamp=Stamp.of(DAY_12))
    with pytest.raises(ValidationError, match="Only 2 plants"):
        let_leave(flat, places=[1, 2, 3], reason="sold", stamp=Stamp.of(DAY_14))


def test_nothing_leaves_in_the_future_or_before_the_grafting(flat):
    with pytest.raises(ValidationError, match="before the grafting"):
        let_leave(flat, places=[1], reason="sold", stamp=Stamp.of(DAY_14 - timedelta(days=30)))
    ahead = Stamp(at=DAY_14 + timedelta(days=2), raw_at=DAY_14, received_at=DAY_14)
    with pytest.raises(ValidationError, match="still to come"):
        let_leave(flat, places=[1], reason="sold", stamp=ahead)


def test_a_leaving_is_taken_back_once(flat):
    leaving = let_leave(flat, places=[1], reason="sold", stamp=Stamp.of(DAY_14))
    undo_leaving(leaving, stamp=Stamp.of(DAY_14))
    with pytest.raises(ValidationError, match="already"):
        undo_leaving(leaving, stamp=Stamp.of(DAY_14))
    assert list(differences()) == [] and not Mark.objects.exclude(check_ref__is_void=True).exists()


def test_a_leaving_stays_once_its_place_is_grafted_again(flat):
    leaving = let_leave(flat, places=[1], reason="sold", stamp=Stamp.of(DAY_14))
    work = Work.of(Run.objects.named().get())
    regraft(flat, places=[1], session=None, work=work, stamp=Stamp.of(DAY_14))
    with pytest.raises(ValidationError, match="other plants"):
        undo_leaving(leaving, stamp=Stamp.of(DAY_14))


def test_a_pooled_flat_is_discarded_as_a_loss(flat):
    tray = Tray(tray_format=flat.tray_format, layout=flat.layout)
    pool = begin_flat(tray, like=flat, is_pooled=True, stamp=Stamp.of(DAY_12))
    move_by_number(flat, numbers={flat.runs.get().pk: 30}, target=pool, stamp=Stamp.of(DAY_12))
    assert discard_flat(pool, is_loss=True, stamp=Stamp.of(DAY_14)) == 30
    count = pool.day_counts.get()
    assert (count.grafted, count.dead, count.is_record) == (30, 30, False)
    assert list(differences()) == []


def test_plants_of_several_flats_leave_in_one_act(flat):
    other = make_flat()
    make_run(other)
    goal = Goal("planted", "Bed 3")
    act, number = let_all_leave([flat, other], goal=goal, stamp=Stamp.of(DAY_14))
    assert number == 144 and {leaving.destination for leaving in Leaving.objects.filter(act=act)} == {"Bed 3"}
    with pytest.raises(ValidationError, match="nothing to send off"):
        let_all_leave([flat, other], goal=goal, stamp=Stamp.of(DAY_14))
