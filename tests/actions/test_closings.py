"""What a closing says was seen; asking to open a check again."""

from datetime import timedelta
from itertools import permutations
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.batch import CheckIn, ClosingIn
from nursery.actions.closings import ask_to_reopen, leave_closed
from nursery.actions.recount import differences
from nursery.actions.stamp import Stamp
from nursery.models import Check, Closing, DayCount, Voiding
from tests.actions.test_marks import DAY_14, check_in, close, mark_in, send, statuses
from tests.factories import make_flat, make_run

pytestmark = pytest.mark.django_db
ROWS_A_TO_C = tuple(range(1, 37))


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat)
    return flat


def part(check, places=ROWS_A_TO_C, **fields):
    return close(check, seen="part", seen_places=tuple(places), **fields)


def test_rows_a_to_c_are_36_of_72_seen_and_no_record(flat):
    # 36 cells seen, 2 of them dead; D1 was tapped dead as well: 37 of 72 seen, 34 alive, 3 dead
    check = check_in(flat)
    send(checks=[check], marks=[mark_in(check, p) for p in (1, 2, 37)], closings=[part(check)])
    count = DayCount.objects.get()
    assert (count.grafted, count.seen, count.alive, count.dead) == (72, 37, 34, 3)
    assert count.is_closed and not count.is_record
    stored = Check.objects.get()
    assert (stored.kind, stored.seen_places) == ("part", list(ROWS_A_TO_C))
    assert not list(differences())


def test_the_rest_later_that_day_completes_it(flat):
    before, after = check_in(flat), check_in(flat, DAY_14 + timedelta(hours=2))
    send(checks=[before], marks=[mark_in(before, 1)], closings=[part(before)])
    send(checks=[after], marks=[mark_in(after, 72)], closings=[part(after, range(37, 73))])
    count = DayCount.objects.get()
    assert (count.seen, count.alive, count.dead, count.is_record) == (72, 70, 2, True)
    assert not list(differences())


def test_the_rest_another_day_completes_neither(flat):
    before, after = check_in(flat), check_in(flat, DAY_14 + timedelta(days=1))
    send(checks=[before, after], closings=[part(before), part(after, range(37, 73))])
    assert list(DayCount.objects.values_list("seen", "is_record")) == [(36, False), (36, False)]


def test_check_and_closing_sent_again_change_nothing(flat):
    check = check_in(flat)
    parts = {"checks": [check], "marks": [mark_in(check, 1)], "closings": [part(check)]}
    send(**parts)
    assert statuses(send(**parts)) == ["known"] * 3
    assert Check.objects.get().kind == "part"


def test_a_closing_with_other_places_is_refused_and_the_first_stays(flat):
    check = check_in(flat)
    first = part(check)
    send(checks=[check], closings=[first])
    for other in (part(check, [1], uuid=first.uuid), close(check, uuid=first.uuid)):
        assert statuses(send(closings=[other])) == ["refused"]
    assert Check.objects.get().seen_places == list(ROWS_A_TO_C)


def test_a_check_of_the_same_uuid_opened_for_something_else_is_refused(flat):
    check = check_in(flat)
    send(checks=[check], closings=[part(check)])
    others = [
        CheckIn(check.uuid, flat.code, check.opened_at, kind=kind, seen_places=places)
        for kind, places in (("part", ()), ("part", ROWS_A_TO_C), ("numbers", ()))
    ]
    for other in others:
        assert statuses(send(checks=[other])) == ["refused"]


def test_reopened_it_is_whole_again_until_it_is_closed_as_part(flat, alice):
    check = check_in(flat)
    first = part(check)
    send(checks=[check], closings=[first])
    reopen = ClosingIn(uuid4(), check.uuid, DAY_14, kind="reopen", replaces=(str(first.uuid),))
    send(closings=[reopen], account=alice)
    stored = Check.objects.get()
    assert (stored.kind, stored.seen_places, stored.opened_as, stored.is_closed) == (
        "whole",
        None,
        None,
        False,
    )
    send(closings=[close(check, seen="whole")])
    assert DayCount.objects.get().seen == 72
    assert not list(differences())


def test_two_devices_closing_one_check_saw_what_both_saw(flat):
    check = check_in(flat)
    send(checks=[check], closings=[part(check, [1, 2]), part(check, [2, 3])])
    assert Check.objects.get().seen_places == [1, 2, 3]
    send(closings=[close(check)])
    assert Check.objects.get().kind == "whole"


def test_a_check_opened_as_part_keeps_its_places_where_the_closing_says_nothing(flat):
    check = check_in(flat, kind="part", seen_places=(5, 6))
    send(checks=[check], closings=[close(check)])
    assert (Check.objects.get().seen_places, DayCount.objects.get().seen) == ([5, 6], 2)


def test_it_is_the_same_in_any_order(flat, alice):
    # Closed as part, opened again, closed with other rows: only the last counts.
    check = check_in(flat)
    first = part(check, [1, 2, 3])
    reopen = ClosingIn(uuid4(), check.uuid, DAY_14, kind="reopen", replaces=(str(first.uuid),))
    for order in permutations([first, reopen, part(check, [4, 5])]):
        Closing.objects.all().delete()
        for closing in order:
            send(checks=[check], closings=[closing], account=alice)
        stored = Check.objects.get()
        assert (stored.kind, stored.seen_places, stored.is_closed) == ("part", [4, 5], True)


def test_recount_finds_a_check_that_says_more_than_its_closing(flat):
    check = check_in(flat)
    send(checks=[check], closings=[part(check)])
    Check.objects.update(seen_places=[1])
    assert any("it saw" in line for line in differences())


# --- asking


@pytest.fixture
def closed(flat):
    check = check_in(flat)
    send(checks=[check], closings=[close(check)])
    return Check.objects.get()


def ask(check, account):
    return ask_to_reopen(check, stamp=Stamp.now(account, account.worker))


def test_asking_changes_no_count_and_asking_twice_is_once(closed, bob):
    before = list(DayCount.objects.values())
    assert ask(closed, bob) == ask(closed, bob)
    closed.refresh_from_db()
    assert closed.is_closed and list(DayCount.objects.values()) == before
    (asked,) = Closing.objects.pending_asks()
    assert (asked.kind, asked.by_worker, asked.sent_by) == ("ask", bob.worker, bob)
    assert not list(differences())


def test_an_asking_naming_a_closing_does_not_open_it(closed, bob):
    shut = Closing.objects.get()
    sent = ClosingIn(uuid4(), closed.uuid, DAY_14, kind="ask", replaces=(str(shut.uuid),))
    assert statuses(send(closings=[sent], account=bob)) == ["stored"]
    closed.refresh_from_db()
    assert closed.is_closed


def test_opened_again_the_asking_is_answered_for_good(closed, bob, alice):
    ask(closed, bob)
    shut = Closing.objects.get(kind="close")
    reopen = ClosingIn(uuid4(), closed.uuid, DAY_14, kind="reopen", replaces=(str(shut.uuid),))
    again = ClosingIn(uuid4(), closed.uuid, DAY_14)
    send(closings=[reopen], account=alice)
    assert not Closing.objects.pending_asks()
    send(closings=[again], account=bob)
    assert not Closing.objects.pending_asks()
    ask(closed, bob)
    assert Closing.objects.pending_asks().count() == 1


def test_left_closed_the_asking_is_voided_once(closed, bob, alice):
    asked = ask(closed, bob)
    for _ in range(2):
        leave_closed(asked, stamp=Stamp.now(alice))
    assert not Closing.objects.pending_asks()
    voiding = Voiding.objects.get()
    assert (voiding.target_uuid, voiding.target_noun, voiding.sent_by) == (asked.uuid, "asking", alice)
    closed.refresh_from_db()
    assert closed.is_closed


def test_an_open_check_is_not_asked_for(flat, bob):
    check = check_in(flat)
    send(checks=[check])
    with pytest.raises(ValidationError, match="open"):
        ask(Check.objects.get(), bob)
