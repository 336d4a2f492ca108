"""Two connections at once: nobody waits for ever, nothing is stored twice, the counts stay true.

On SQLite the test database lives in memory, where threads share one connection or none. So these tests move
to a copy of it in a file, opened with the program's own options, as a farm's database is.
"""

import random
import re
import sqlite3
import threading
import time
from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import connection, connections, transaction
from django.db.models import QuerySet
from django.test.utils import CaptureQueriesContext

from nursery.actions import counting, marks
from nursery.actions.accounts import change_account
from nursery.actions.batch import Batch, ClosingIn, MarkIn, Sender
from nursery.actions.marks import receive_batch
from nursery.actions.records import save_record
from nursery.actions.recount import differences
from nursery.models import Account, Check, DayCount, Farm, Mark, Season
from tests.actions.test_marks import DAY_14, check_in, close, mark_in
from tests.factories import make_flat, make_run

pytestmark = pytest.mark.django_db(transaction=True)
PATIENCE = 60  # seconds, after which a test says that somebody waits for ever


@pytest.fixture
def real_database(transactional_db, tmp_path):
    """A database that several connections can write: PostgreSQL as it is, SQLite copied into a file."""
    if connection.vendor != "sqlite":
        yield
        return
    in_memory = connections["default"]
    in_memory.ensure_connection()
    path = tmp_path / "farm.sqlite3"
    with sqlite3.connect(path) as copy:
        in_memory.connection.backup(copy)
    copy.close()
    settings = connections.settings["default"]
    connections.settings["default"] = {**settings, "NAME": str(path)}
    connections["default"] = connections.create_connection("default")
    try:
        yield
    finally:
        connections["default"].close()
        connections.settings["default"] = settings
        connections["default"] = in_memory


@pytest.fixture
def flats(real_database):
    Farm.objects.create(pk=1, name="Test farm", label_address="http://192.0.2.7:8000")
    flats = [make_flat(2, 6), make_flat(2, 6)]
    for flat in flats:
        make_run(flat, places=range(1, 13))
    return flats


@pytest.fixture(params=range(3))
def rounds(request):
    """Chance differs from round to round; a race that is lost now and then shall be lost here."""
    return request.param


def at_once(*errands):
    """Do each errand in a thread with a connection of its own, begun together; return what they return."""
    barrier = threading.Barrier(len(errands))
    results, errors = [None] * len(errands), []

    def go(number, errand):
        try:
            connection.ensure_connection()
            barrier.wait(PATIENCE)
            results[number] = errand()
        except BaseException as error:
            errors.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=go, args=pair, daemon=True) for pair in enumerate(errands)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(PATIENCE)
    assert not any(thread.is_alive() for thread in threads), "somebody waits for ever"
    assert errors == []  # no deadlock, no "database is locked"
    return results


def batch(*, checks=(), marks=(), closings=(), device=None):
    return Batch(DAY_14, device or uuid4(), list(checks), list(marks), list(closings))


def deliver(sent):
    return receive_batch(sent, Sender(None, None, DAY_14))


def all_statuses(receipts):
    return sorted(result["status"] for receipt in receipts for result in receipt.results.values())


def counts(flat):
    row = DayCount.objects.get(flat=flat)
    return row.grafted, row.seen, row.alive, row.dead, row.is_closed


def test_errands_run_on_connections_of_their_own(flats):
    def session():
        with connection.cursor() as cursor:
            assert Farm.objects.exists()
            cursor.execute("SELECT 1")
        return id(connection.connection)

    assert len({*at_once(session, session), id(connection.connection)}) == 3


@pytest.mark.usefixtures("rounds")
def test_same_batch_twice_at_once_is_stored_once(flats):
    flat, check = flats[0], check_in(flats[0])
    sent = batch(checks=[check], marks=[mark_in(check, p) for p in range(1, 9)], closings=[close(check)])
    receipts = at_once(lambda: deliver(sent), lambda: deliver(sent))
    assert all_statuses(receipts) == ["known"] * 10 + ["stored"] * 10
    assert Mark.objects.count() == 8 and Check.objects.count() == 1
    assert counts(flat) == (12, 12, 4, 8, True)
    assert list(differences()) == []


@pytest.mark.usefixtures("rounds")
def test_two_batches_for_one_flat_at_once_are_both_counted(flats):
    flat, one, other = flats[0], check_in(flats[0]), check_in(flats[0])
    sent = [
        batch(checks=[check], marks=[mark_in(check, p) for p in places], closings=[close(check)])
        for check, places in ((one, range(1, 6)), (other, range(4, 9)))
    ]
    at_once(*(lambda part=part: deliver(part) for part in sent))
    assert counts(flat) == (12, 12, 4, 8, True)
    assert list(differences()) == []


@pytest.fixture
def lock_together(monkeypatch):
    """Let two batches meet right before they lock their flats, where the database lets both get there."""
    meeting, lock_flats = threading.Barrier(2), marks.lock_flats

    def lock(flat_ids):
        if connection.vendor != "sqlite":
            meeting.wait(PATIENCE)
        lock_flats(flat_ids)

    monkeypatch.setattr(marks, "lock_flats", lock)


@pytest.mark.usefixtures("rounds", "lock_together")
def test_two_batches_for_the_same_flats_in_opposite_order_do_not_wait_for_each_other(flats):
    flats += [make_flat(1, 3) for _ in range(10)]
    for flat in flats[2:]:
        make_run(flat, places=[1, 2, 3], pairing=flats[0].runs.get().pairing)

    def sent(ordered):
        checks = [check_in(flat) for flat in ordered]
        said = [mark_in(check, place) for check in checks for place in (1, 2)]
        return batch(checks=checks, marks=said, closings=[close(check) for check in checks])

    forth, back = [sent(flats) for _ in range(4)], [sent(flats[::-1]) for _ in range(4)]
    at_once(lambda: [deliver(part) for part in forth], lambda: [deliver(part) for part in back])
    assert Mark.objects.count() == 8 * 12 * 2
    assert [counts(flat) for flat in flats] == [(12, 12, 10, 2, True)] * 2 + [(3, 3, 1, 2, True)] * 10
    assert list(differences()) == []


def test_flats_are_locked_in_one_order(flats):
    # the moment in which two batches could lock crosswise is too short to be met by chance
    with transaction.atomic(), CaptureQueriesContext(connection) as queries:
        marks.lock_flats([flat.pk for flat in flats])
    locks = [query["sql"] for query in queries if "nursery_flat" in query["sql"]]
    if connection.vendor == "sqlite":  # no locks of rows: its transactions lock the whole database, see below
        assert locks == []
    else:
        (lock,) = locks
        assert re.search(
            r'^SELECT "nursery_flat"."id" .* ORDER BY (1|"nursery_flat"."id") ASC FOR UPDATE$', lock
        )


@pytest.fixture
def insert_marks_together(monkeypatch):
    """Let two batches meet right before they insert their marks, where the database lets both get there."""
    meeting, insert_new = threading.Barrier(2), marks.insert_new

    def insert(rows):
        if rows and isinstance(rows[0], Mark) and connection.vendor != "sqlite":
            meeting.wait(PATIENCE)
        insert_new(rows)

    monkeypatch.setattr(marks, "insert_new", insert)


@pytest.mark.usefixtures("rounds", "insert_marks_together")
def test_same_uuids_for_two_flats_in_opposite_order_do_not_wait_for_each_other(flats):
    # the flats' locks do not order these two: only the unique keys of the marks do
    uuids = [uuid4() for _ in range(500)]

    def sent(flat, ordered):
        check = check_in(flat)
        return batch(
            checks=[check], marks=[MarkIn(uuid, check.uuid, 1, 1, "dead", DAY_14) for uuid in ordered]
        )

    forth, back = sent(flats[0], uuids), sent(flats[1], uuids[::-1])
    receipts = at_once(lambda: deliver(forth), lambda: deliver(back))
    said = [{receipt.results[str(uuid)]["status"] for uuid in uuids} for receipt in receipts]
    assert sorted(said, key=str) == [{"refused"}, {"stored"}]
    assert Mark.objects.count() == len(uuids)
    assert list(differences()) == []


@pytest.mark.usefixtures("rounds")
def test_one_uuid_with_two_contents_at_once_is_stored_once_and_refused_once(flats):
    flat, check, uuid = flats[0], check_in(flats[0]), uuid4()
    deliver(batch(checks=[check]))
    sent = {
        state: batch(checks=[check], marks=[MarkIn(uuid, check.uuid, 1, 1, state, DAY_14)])
        for state in ("dead", "firm")
    }
    receipts = at_once(*(lambda part=part: deliver(part) for part in sent.values()))
    said = dict(zip(sent, (receipt.results[str(uuid)]["status"] for receipt in receipts), strict=True))
    kept = Mark.objects.get()
    assert sorted(said.values()) == ["refused", "stored"]
    assert said[kept.state] == "stored"
    assert counts(flat)[3] == (kept.state == "dead")
    assert list(differences()) == []


def test_a_season_that_begins_during_a_first_count_is_seen_by_it(flats, monkeypatch):
    store = counting._store

    def slow_store(*parts):  # the count is derived, and not stored yet
        time.sleep(0.4)
        store(*parts)

    monkeypatch.setattr(counting, "_store", slow_store)
    check = check_in(flats[0])

    def make_season():
        time.sleep(0.2)
        save_record(Season(), {"name": "Spring", "starts_on": date(2026, 3, 1), "ends_on": date(2026, 4, 1)})

    at_once(lambda: deliver(batch(checks=[check], closings=[close(check)])), make_season)
    assert DayCount.objects.get().season == Season.objects.get()
    assert list(differences()) == []


@pytest.mark.usefixtures("real_database")
def test_two_growers_who_demote_each_other_at_once_leave_one(monkeypatch):
    accounts = [Account.objects.create_user(name, role="grower") for name in ("ada", "ben")]
    exists = QuerySet.exists
    monkeypatch.setattr(QuerySet, "exists", lambda rows: (time.sleep(0.2), exists(rows))[1])

    def demote(account):
        try:
            change_account(account, kind="crew", worker=None, is_active=True)
        except ValidationError:
            return "refused"
        return "done"

    assert sorted(at_once(*(lambda a=a: demote(a) for a in accounts))) == ["done", "refused"]
    assert Account.objects.filter(role="grower").count() == 1


@pytest.mark.usefixtures("rounds")
def test_closing_against_marking_loses_neither(flats):
    flat, check = flats[0], check_in(flats[0])
    deliver(batch(checks=[check]))
    marking = [batch(marks=[mark_in(check, place)]) for place in range(1, 9)]
    closing = batch(closings=[close(check)])
    at_once(lambda: [deliver(part) for part in marking], lambda: deliver(closing))
    assert counts(flat) == (12, 12, 4, 8, True)
    assert list(differences()) == []


@pytest.mark.usefixtures("rounds")
def test_closing_against_reopening_ends_as_if_one_came_after_the_other(flats):
    flat, check = flats[0], check_in(flats[0])
    first, second = close(check), close(check)
    deliver(batch(checks=[check], closings=[first]))
    reopening = ClosingIn(uuid4(), check.uuid, DAY_14, kind="reopen", replaces=(str(first.uuid),))
    at_once(lambda: deliver(batch(closings=[second])), lambda: deliver(batch(closings=[reopening])))
    assert counts(flat) == (12, 12, 12, 0, True)  # nobody took the second closing back
    assert list(differences()) == []


def test_four_tablets_on_two_flats_for_a_while(flats, whole):
    # each tablet sends small batches for both flats, in its own order, some of them twice
    chance = random.Random(14)

    def tablet():
        checks = [check_in(flat, DAY_14 - timedelta(days=day)) for flat in flats for day in (0, 7)]
        device = uuid4()
        sent = [
            batch(checks=[check], marks=[mark_in(check, place)], device=device)
            for check in checks
            for place in chance.sample(range(1, 13), 8 if whole else 3)
        ]
        sent += [batch(checks=[check], closings=[close(check)], device=device) for check in checks]
        sent += chance.sample(sent, 4)
        chance.shuffle(sent)
        return sent

    tablets = [tablet() for _ in range(4)]
    at_once(*(lambda sent=sent: [deliver(part) for part in sent] for sent in tablets))
    marked = {mark.uuid for sent in tablets for part in sent for mark in part.marks}
    assert set(Mark.objects.values_list("uuid", flat=True)) == marked
    for flat in flats:
        places = {
            mark.place_no for sent in tablets for part in sent for mark in part.marks
            if part.checks[0].flat_code == flat.code
        }  # fmt: skip
        assert DayCount.objects.get(flat=flat, day=DAY_14.date()).dead == len(places)
    assert list(differences()) == []


# --- SQLite as the program sets it


@pytest.fixture
def sqlite_file(real_database):
    return connection.settings_dict["NAME"]


def pragma(name):
    with connection.cursor() as cursor:
        return cursor.execute(f"PRAGMA {name}").fetchone()[0]


@pytest.mark.sqlite
def test_sqlite_writes_ahead_and_flushes_what_it_acknowledged(sqlite_file):
    # https://sqlite.org/pragma.html#pragma_synchronous: 2 is FULL
    assert (pragma("journal_mode"), pragma("synchronous")) == ("wal", 2)
    assert pragma("busy_timeout") == 20_000


@pytest.mark.sqlite
def test_sqlite_transaction_takes_the_write_lock_at_its_beginning(sqlite_file):
    other = sqlite3.connect(sqlite_file, timeout=0, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    other.execute("ROLLBACK")
    with transaction.atomic(), pytest.raises(sqlite3.OperationalError, match="database is locked"):
        other.execute("BEGIN IMMEDIATE")
    other.close()
