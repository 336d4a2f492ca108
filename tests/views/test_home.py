from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from nursery.calc.codes import spoken
from nursery.models import DayCount, StageMove
from tests.factories import GRAFTED_AT, make_flat, make_pairing, make_place, make_run, make_session


def grafted_days_ago(days, **fields):
    return make_run(grafted_on=timezone.localdate() - timedelta(days=days), **fields)


def count(run, *, days_after, is_record=False, seen=72):
    return DayCount.objects.create(
        flat=run.flat, run=run, pairing=run.pairing, day=run.grafted_on + timedelta(days=days_after),
        grafted=72, seen=seen, alive=seen, wilting=0, dead=0, gone=0, gone_early=0,
        is_closed=True, is_record=is_record,
    )  # fmt: skip


def page(client):
    answer = client.get(reverse("home"))
    assert answer.status_code == 200
    return answer.content.decode()


def test_says_what_to_do_first_in_an_empty_book(grower):
    text = page(grower)
    assert "What to do first" in text
    assert reverse("records") in text
    assert "Due for a check" not in text


def test_shows_an_open_session(crew):
    session = make_session(place=make_place("North bench"))
    ended = make_session(place=make_place("South bench"), ended_at=GRAFTED_AT)
    text = page(crew)
    assert reverse("bench-session", args=[session.key]) in text
    assert reverse("bench-session", args=[ended.key]) not in text


@pytest.mark.parametrize(
    ("days", "says"),
    [
        (6, None),
        (7, "an early look"),
        (13, "an early look"),
        (14, "makes the record"),
        (40, "makes the record"),
    ],
)
def test_a_flat_falls_due_on_day_7_and_on_its_record_day(crew, days, says):
    run = grafted_days_ago(days)
    text = page(crew)
    assert (spoken(run.flat.code) in text) == bool(says)
    assert says is None or (f"Day {days}: " in text and says in text)


def test_the_pairing_says_when_the_record_is_due(crew):
    grafted_days_ago(14, pairing=make_pairing(record_days=21))
    assert "an early look" in page(crew)


def test_a_closed_check_since_day_7_settles_the_early_look(crew):
    run = grafted_days_ago(9)
    count(run, days_after=6)
    assert spoken(run.flat.code) in page(crew)
    count(run, days_after=8)
    assert spoken(run.flat.code) not in page(crew)


def test_half_a_flat_seen_on_the_record_day_leaves_it_due(crew):
    run = grafted_days_ago(15)
    count(run, days_after=14, seen=30)
    assert spoken(run.flat.code) in page(crew)


def test_a_record_settles_a_flat(crew):
    run = grafted_days_ago(20)
    count(run, days_after=15, is_record=True)
    assert spoken(run.flat.code) not in page(crew)


def test_a_flat_that_left_is_not_due(crew):
    run = grafted_days_ago(20)
    now = timezone.now()
    StageMove.objects.create(flat=run.flat, stage="dispatched", at=now, raw_at=now, received_at=now)
    assert spoken(run.flat.code) not in page(crew)


def test_tongue_approach_waits_for_its_severing(crew):
    run = grafted_days_ago(20, method="tongue")
    count(run, days_after=8)
    assert spoken(run.flat.code) not in page(crew)
    now = timezone.now()
    run.severings.create(
        severed_on=timezone.localdate() - timedelta(days=14), at=now, raw_at=now, received_at=now
    )
    assert "makes the record" in page(crew)


def test_lists_a_flat_with_two_runs_once(crew):
    flat = make_flat()
    for places in (range(1, 37), range(37, 73)):
        grafted_days_ago(8, flat=flat, places=places)
    assert page(crew).count(spoken(flat.code)) == 1


def test_asks_the_database_as_often_for_2_flats_as_for_20(crew, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as few:
        grafted_days_ago(8), grafted_days_ago(8)
        few_began = len(few)
        page(crew)
    for _ in range(18):
        grafted_days_ago(8, places=range(1, 3))
    with django_assert_num_queries(len(few) - few_began):
        page(crew)
