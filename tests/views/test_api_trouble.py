"""What a script hears when the book cannot answer: that it may send again, or that the disk is full."""

import sqlite3
from uuid import uuid4

import psycopg
import pytest
from django.db import IntegrityError, InterfaceError, OperationalError, connection

from nursery.models import Mark
from nursery.models.farm import FarmQuerySet
from nursery.views import api, api_flats
from tests.factories import make_flat, make_run
from tests.views.test_api_marks import body, post

pytestmark = pytest.mark.django_db


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat)
    return flat


def caused_by(cause):
    error = OperationalError(*cause.args)
    error.__cause__ = cause
    return error


def of_sqlite(words):
    return caused_by(sqlite3.OperationalError(words))


# The classes are those that psycopg raises for these states; Appendix A of PostgreSQL's manual lists them.
BUSY = [
    of_sqlite("database is locked"),
    of_sqlite("database table is locked: nursery_mark"),
    of_sqlite("unable to open database file"),
    caused_by(psycopg.OperationalError("connection refused")),
    caused_by(psycopg.errors.TooManyConnections("too many clients already")),
    caused_by(psycopg.errors.AdminShutdown("terminating connection")),
    caused_by(psycopg.errors.CannotConnectNow("the database system is starting up")),
    caused_by(psycopg.errors.DeadlockDetected("deadlock detected")),
    InterfaceError("connection already closed"),
]
FULL = [of_sqlite("database or disk is full"), caused_by(psycopg.errors.DiskFull("could not extend file"))]
OTHER = [of_sqlite("no such table: nursery_mark"), IntegrityError("UNIQUE constraint failed")]


def failing(error):
    def fail(*args, **given):
        raise error

    return fail


@pytest.mark.parametrize("error", BUSY, ids=str)
def test_a_book_that_is_busy_asks_to_send_again(crew, flat, monkeypatch, error):
    monkeypatch.setattr(api, "receive_batch", failing(error))
    answer = post(crew, body(flat))
    assert (answer.status_code, answer.json()["error"]) == (503, "busy")
    assert answer.headers["Retry-After"] == "1"
    assert "nothing was lost" in answer.json()["message"]


@pytest.mark.parametrize("error", FULL, ids=str)
def test_a_full_disk_is_said_in_plain_words(crew, flat, monkeypatch, error):
    monkeypatch.setattr(api, "receive_batch", failing(error))
    answer = post(crew, body(flat))
    assert (answer.status_code, answer.json()["error"]) == (507, "full")
    assert "full" in answer.json()["message"] and "Retry-After" not in answer.headers


@pytest.mark.parametrize("error", OTHER, ids=str)
def test_a_fault_of_ours_is_not_called_busy(crew, flat, monkeypatch, error):
    monkeypatch.setattr(api, "receive_batch", failing(error))
    with pytest.raises(type(error)):
        post(crew, body(flat))
    crew.raise_request_exception = False
    answer = post(crew, body(flat))
    assert (answer.status_code, answer.json()["error"]) == (500, "failed")


def test_sheets_say_so_too(crew, flat, monkeypatch):
    monkeypatch.setattr(api_flats, "heads_of", failing(BUSY[0]))
    assert crew.get(f"/api/flats/{flat.code}").status_code == 503
    assert crew.get("/api/flats", {"code": flat.code}).status_code == 503


@pytest.mark.parametrize(("error", "status"), [(BUSY[0], 503), (FULL[0], 507)])
def test_a_fault_before_the_view_is_reached_is_said_in_json(crew, flat, monkeypatch, error, status):
    monkeypatch.setattr(FarmQuerySet, "current", failing(error))
    crew.raise_request_exception = False
    answer = post(crew, body(flat))
    assert answer.status_code == status and answer.headers["Content-Type"] == "application/json"
    assert not Mark.objects.exists()


def test_a_page_that_fails_is_still_a_page(crew, monkeypatch):
    monkeypatch.setattr(FarmQuerySet, "current", failing(BUSY[0]))
    crew.raise_request_exception = False
    answer = crew.get("/flats")
    assert answer.status_code == 500 and answer.headers["Content-Type"].startswith("text/html")


@pytest.mark.sqlite
@pytest.mark.django_db(transaction=True)
def test_a_disk_that_is_really_full_loses_nothing_and_is_said(crew, flat):
    sent = body(flat)
    mark = {**sent["marks"][0], "reason": "x" * 200}
    sent["marks"] = [{**mark, "uuid": str(uuid4()), "cell": str(place)} for place in range(1, 73)]
    with connection.cursor() as cursor:
        cursor.execute("VACUUM")  # leaves no free page within
        pages = cursor.execute("PRAGMA page_count").fetchone()[0]
        most = cursor.execute("PRAGMA max_page_count").fetchone()[0]
        cursor.execute(f"PRAGMA max_page_count = {pages}")
        try:
            answer = post(crew, sent)
        finally:
            cursor.execute(f"PRAGMA max_page_count = {most}")
    assert (answer.status_code, answer.json()["error"]) == (507, "full")
    assert not Mark.objects.exists()
    assert post(crew, sent).status_code == 200
    assert Mark.objects.count() == 72
