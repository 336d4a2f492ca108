"""Taking in batches of marks."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest

from nursery.actions.batch import Batch, CheckIn, ClosingIn, MarkIn, Sender
from nursery.actions.marks import receive_batch
from nursery.models import Check, DayCount, Device, Mark
from tests.factories import make_flat, make_pairing, make_run

DAY_14 = datetime(2026, 3, 16, 10, 0, tzinfo=UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat)
    return flat


def check_in(flat, at=DAY_14, **fields):
    return CheckIn(uuid=uuid4(), flat_code=flat.code, opened_at=at, **fields)


def mark_in(check, place_no, state="dead", **fields):
    fields = {"at": check.opened_at, "graft_no": 1, **fields}
    return MarkIn(uuid=uuid4(), check=check.uuid, place_no=place_no, state=state, **fields)


def send(*, checks=(), marks=(), closings=(), received_at=DAY_14, sent_at=None, account=None, device=None):
    batch = Batch(sent_at or received_at, device, list(checks), list(marks), list(closings))
    return receive_batch(batch, Sender(account, None, received_at))


def close(check, **fields):
    fields = {"uuid": uuid4(), **fields}
    return ClosingIn(check=check.uuid, at=check.opened_at, **fields)


def statuses(receipt):
    return [result["status"] for result in receipt.results.values()]


def test_closed_check_counts_untapped_cells_as_seen_alive(flat):
    check = check_in(flat)
    send(checks=[check], marks=[mark_in(check, p) for p in (1, 2, 3)], closings=[close(check)])
    count = DayCount.objects.get()
    assert (count.grafted, count.seen, count.alive, count.dead) == (72, 72, 69, 3)
    assert count.is_record and count.day == date(2026, 3, 16)


def test_check_before_the_record_day_is_no_record(flat):
    check = check_in(flat, DAY_14 - timedelta(days=1))
    send(checks=[check], closings=[close(check)])
    assert not DayCount.objects.get().is_record


def test_open_check_shows_only_what_was_tapped(flat):
    check = check_in(flat)
    send(checks=[check], marks=[mark_in(check, 1), mark_in(check, 2, "wilting")])
    count = DayCount.objects.get()
    assert (count.seen, count.alive, count.wilting, count.dead, count.is_closed) == (2, 1, 1, 1, False)


def test_sending_twice_changes_nothing(flat):
    check = check_in(flat)
    parts = {"checks": [check], "marks": [mark_in(check, 1)], "closings": [close(check)]}
    assert statuses(send(**parts)) == ["stored"] * 3
    before = list(DayCount.objects.values())
    assert statuses(send(**parts)) == ["known"] * 3
    assert list(DayCount.objects.values()) == before
    assert Mark.objects.count() == 1


def test_uuid_with_other_content_is_refused_and_the_first_stays(flat):
    check = check_in(flat)
    first = mark_in(check, 1)
    send(checks=[check], marks=[first])
    other = MarkIn(uuid=first.uuid, check=check.uuid, place_no=1, graft_no=1, state="wilting", at=first.at)
    receipt = send(marks=[other])
    assert receipt.results[str(first.uuid)]["status"] == "refused"
    assert Mark.objects.get().state == "dead"


def test_one_unknown_cell_does_not_block_the_others(flat):
    check = check_in(flat)
    bad, good = mark_in(check, 99), mark_in(check, 5)
    receipt = send(checks=[check], marks=[bad, good])
    assert receipt.results[str(bad.uuid)]["status"] == "refused"
    assert receipt.results[str(good.uuid)]["status"] == "stored"


def test_unknown_flat_and_unknown_check_are_refused(flat):
    check = CheckIn(uuid=uuid4(), flat_code="F000000", opened_at=DAY_14)
    receipt = send(checks=[check], marks=[mark_in(check, 1)])
    assert statuses(receipt) == ["refused", "refused"]
    assert not Check.objects.exists()


def test_undo_brings_back_the_state_before(flat):
    check = check_in(flat)
    dead = mark_in(check, 1)
    undo = mark_in(check, 1, "unmarked", kind="undo", replaces=(str(dead.uuid),))
    receipt = send(checks=[check], marks=[undo, dead], closings=[close(check)])
    assert receipt.flats[flat.code].alive == 72
    assert DayCount.objects.get().alive == 72


def test_open_marks_of_different_state_are_a_disagreement_and_the_worse_counts(flat):
    one, other = check_in(flat), check_in(flat)
    send(checks=[one], marks=[mark_in(one, 1, "wilting")], closings=[close(one)])
    receipt = send(checks=[other], marks=[mark_in(other, 1)], closings=[close(other)])
    assert receipt.flats[flat.code].disagreements == 1
    count = DayCount.objects.get()
    assert count.has_disagreement and count.dead == 1


def test_late_mark_rewrites_its_day_and_the_later_days(flat):
    early, late = check_in(flat, DAY_14 - timedelta(days=7)), check_in(flat)
    send(checks=[early, late], closings=[close(early), close(late)])
    send(marks=[mark_in(early, 1)])
    assert list(DayCount.objects.order_by("day").values_list("dead", flat=True)) == [1, 1]


def test_replacement_of_a_later_day_does_not_reach_back(flat):
    early, late = check_in(flat, DAY_14 - timedelta(days=7)), check_in(flat)
    wilts = mark_in(early, 1, "wilting")
    firm = mark_in(late, 1, "firm", replaces=(str(wilts.uuid),))
    send(checks=[early, late], marks=[wilts, firm], closings=[close(early), close(late)])
    assert list(DayCount.objects.order_by("day").values_list("wilting", flat=True)) == [1, 0]


def test_untouched_wilting_cell_stays_wilting(flat):
    early, late = check_in(flat, DAY_14 - timedelta(days=7)), check_in(flat)
    send(checks=[early], marks=[mark_in(early, 1, "wilting")], closings=[close(early)])
    send(checks=[late], closings=[close(late)])
    record = DayCount.objects.get(is_record=True)
    assert (record.alive, record.wilting) == (72, 1)


def test_gone_before_day_7_is_early_and_later_counts_as_alive(flat):
    day_3, day_12 = check_in(flat, DAY_14 - timedelta(days=11)), check_in(flat, DAY_14 - timedelta(days=2))
    last = check_in(flat)
    send(
        checks=[day_3, day_12, last],
        marks=[mark_in(day_3, 1, "gone", cause="sold"), mark_in(day_12, 2, "gone", cause="planted")],
        closings=[close(last)],
    )
    record = DayCount.objects.get(is_record=True)
    assert (record.alive, record.gone, record.gone_early) == (70, 2, 1)


def test_run_with_nothing_alive_is_final_at_once(flat):
    check = check_in(flat, DAY_14 - timedelta(days=9))
    send(checks=[check], marks=[mark_in(check, p) for p in range(1, 73)], closings=[close(check)])
    assert DayCount.objects.get().is_record


def test_record_moves_when_its_check_is_opened_again(flat, alice):
    first, second = check_in(flat), check_in(flat, DAY_14 + timedelta(days=3))
    shut = close(first)
    send(checks=[first, second], closings=[shut, close(second)])
    assert DayCount.objects.get(is_record=True).day == date(2026, 3, 16)
    reopen = ClosingIn(uuid4(), first.uuid, DAY_14, kind="reopen", replaces=(str(shut.uuid),))
    send(closings=[reopen], account=alice)
    assert DayCount.objects.get(is_record=True).day == date(2026, 3, 19)


def test_crew_does_not_reopen(flat, bob):
    check = check_in(flat)
    shut = close(check)
    send(checks=[check], closings=[shut])
    reopen = ClosingIn(uuid4(), check.uuid, DAY_14, kind="reopen", replaces=(str(shut.uuid),))
    assert statuses(send(closings=[reopen], account=bob)) == ["refused"]
    assert Check.objects.get().is_closed


def test_closing_is_the_same_whatever_order_it_and_its_reopening_come_in(flat, alice):
    check = check_in(flat)
    shut = close(check)
    reopen = ClosingIn(uuid4(), check.uuid, DAY_14, kind="reopen", replaces=(str(shut.uuid),))
    send(checks=[check], closings=[reopen], account=alice)
    send(closings=[shut])
    assert not Check.objects.get().is_closed


def test_a_closing_sent_again_does_not_bring_its_cause_back(flat):
    check = check_in(flat)
    first, second = close(check, cause="rot"), close(check, cause="heat")
    send(checks=[check], closings=[first])
    send(closings=[second])
    send(closings=[first])
    assert Check.objects.get().cause == "heat"


def test_wrong_clock_is_corrected_and_the_raw_time_kept(flat):
    device_now = DAY_14 + timedelta(days=3)
    check = check_in(flat, device_now - timedelta(minutes=1))
    send(checks=[check], marks=[mark_in(check, 1)], sent_at=device_now, device=uuid4())
    mark, stored = Mark.objects.get(), Check.objects.get()
    assert mark.at == DAY_14 - timedelta(minutes=1) and mark.raw_at == check.opened_at
    assert stored.day == date(2026, 3, 16) and not mark.is_clock_odd
    assert Device.objects.get().skew_ms == -3 * 24 * 3600 * 1000


def test_mark_in_the_future_or_before_the_grafting_is_taken_in_and_flagged(flat):
    future = check_in(flat, DAY_14 + timedelta(days=2))
    past = check_in(flat, DAY_14 - timedelta(days=100))
    receipt = send(checks=[future, past], marks=[mark_in(future, 1), mark_in(past, 2)])
    assert set(statuses(receipt)) == {"stored"}
    assert list(Mark.objects.values_list("is_clock_odd", flat=True)) == [True, True]


def test_day_is_the_farms_local_date(flat, farm):
    type(farm).objects.update(time_zone="Pacific/Auckland")
    check = check_in(flat, datetime(2026, 3, 16, 11, 30, tzinfo=UTC))
    send(checks=[check], received_at=check.opened_at)
    assert Check.objects.get().day == date(2026, 3, 17)


def test_number_of_queries_does_not_grow_with_batch_or_flat(farm, django_assert_max_num_queries):
    flats = [make_flat(12, 24) for _ in range(4)]
    pairing = make_pairing()
    for flat in flats:
        make_run(flat, places=range(1, 289), pairing=pairing)
    checks = [check_in(flat) for flat in flats]
    marks = [mark_in(check, p) for check in checks for p in range(1, 101)]
    with django_assert_max_num_queries(38):  # what one mark of a 72-cell flat costs with its check
        send(checks=checks, marks=marks, closings=[close(c) for c in checks], device=uuid4())
