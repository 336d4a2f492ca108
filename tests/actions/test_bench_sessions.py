"""Sessions, pauses and blades."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.blades import note_blade, note_blade_once, void_blade
from nursery.actions.sessions import (
    end_session,
    pause_session,
    reopen_session,
    resume_session,
    start_session,
)
from nursery.actions.stamp import Stamp
from nursery.models import BladeEvent, Pause, Session
from tests.factories import make_place, make_session, make_worker

NINE = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def at(minutes=0, **signed):
    return Stamp.of(NINE + timedelta(minutes=minutes), **signed)


def test_starts_at_a_bench_or_without_one(farm, alice):
    bench = make_place("Bench 1")
    session = start_session(stamp=at(account=alice), place=bench)
    assert (session.place, session.started_at, session.opened_by) == (bench, NINE, alice)
    assert start_session(stamp=at()).place is None


def test_one_open_session_a_bench(farm):
    bench = make_place("Bench 1")
    start_session(stamp=at(), place=bench)
    start_session(stamp=at())
    with pytest.raises(ValidationError, match="open at Bench 1 already"):
        start_session(stamp=at(1), place=bench)
    with pytest.raises(ValidationError, match="open already"):
        start_session(stamp=at(1))
    assert Session.objects.count() == 2


def test_a_start_sent_twice_is_one_session(farm):
    key = uuid.uuid4()
    assert start_session(stamp=at(), key=key) == start_session(stamp=at(1), key=key)
    assert Session.objects.count() == 1


def test_pausing_twice_is_one_pause_and_going_on_ends_it(farm):
    session = make_session()
    assert pause_session(session, stamp=at(10)) == pause_session(session, stamp=at(12))
    resume_session(session, stamp=at(40))
    resume_session(session, stamp=at(50))
    pause = Pause.objects.get()
    assert (pause.started_at, pause.ended_at) == (at(10).at, at(40).at)


def test_ending_ends_the_pause_and_is_done_once(farm):
    session = make_session()
    pause_session(session, stamp=at(10))
    end_session(session, stamp=at(60))
    assert Pause.objects.get().ended_at == at(60).at
    with pytest.raises(ValidationError, match="has ended"):
        end_session(session, stamp=at(90))
    with pytest.raises(ValidationError, match="has ended"):
        pause_session(session, stamp=at(90))
    session.refresh_from_db()
    assert session.ended_at == at(60).at


def test_a_note_written_meanwhile_survives_the_end(farm):
    session = make_session()
    Session.objects.filter(pk=session.pk).update(note="Written behind the back")
    end_session(session, stamp=at(60))
    session.refresh_from_db()
    assert session.note == "Written behind the back"


def test_taking_a_session_up_again_counts_the_gap_as_a_pause(farm):
    session = make_session()
    end_session(session, stamp=at(60))
    reopen_session(session, stamp=at(70))
    session.refresh_from_db()
    assert session.ended_at is None
    pause = Pause.objects.get()
    assert (pause.started_at, pause.ended_at) == (at(60).at, at(70).at)


def test_a_session_is_not_taken_up_beside_another_at_its_bench(farm):
    session = make_session()
    end_session(session, stamp=at(60))
    start_session(stamp=at(61))
    with pytest.raises(ValidationError, match="open already"):
        reopen_session(session, stamp=at(70))
    session.refresh_from_db()
    assert session.ended_at == at(60).at


def test_a_blade_event_says_whose_and_with_what(farm, bob):
    wren, session = make_worker("Wren"), make_session()
    stamp = at(5, account=bob, worker=wren)
    note_blade(session, kind="disinfected", product=" Alcohol 70 % ", stamp=stamp)
    event = BladeEvent.objects.get()
    assert (event.by_worker, event.sent_by, event.product, event.at) == (wren, bob, "Alcohol 70 %", stamp.at)


def test_disinfected_needs_a_product_and_changed_has_none(farm):
    session = make_session()
    with pytest.raises(ValidationError, match="disinfected with"):
        note_blade(session, kind="disinfected", product=" ", stamp=at())
    assert note_blade(session, kind="changed", product="left over", stamp=at()).product == ""
    with pytest.raises(ValidationError):
        note_blade(session, kind="sharpened", stamp=at())
    assert BladeEvent.objects.count() == 1


def test_a_blade_event_sent_twice_is_kept_once_as_it_first_came(farm):
    session, mark = make_session(), uuid.uuid4()
    note_blade_once(BladeEvent(session=session, kind="changed"), stamp=at(), uuid=mark)
    note_blade_once(BladeEvent(session=session, kind="disinfected", product="Other"), stamp=at(1), uuid=mark)
    assert BladeEvent.objects.get().kind == "changed"


def test_a_voided_blade_event_stays_in_the_book(farm):
    event = note_blade(make_session(), kind="changed", stamp=at())
    void_blade(event, stamp=at(1))
    void_blade(event, stamp=at(2))
    assert BladeEvent.objects.count() == 1
    assert not BladeEvent.objects.standing().exists()
