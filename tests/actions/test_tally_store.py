"""A large import: short transactions, taps get through meanwhile, and all of it or nothing."""

import contextlib
import threading
import time

import pytest
from django.db import IntegrityError, connection
from django.utils import timezone

from nursery.actions import jobs, tally_store
from nursery.actions.job_kinds import KINDS
from nursery.actions.job_line import run_line
from nursery.actions.jobs import ask_for
from nursery.actions.recount import differences
from nursery.actions.tallies import options_as_data
from nursery.actions.tally_plan import TallyOptions
from nursery.models import (
    Crop,
    Cultivar,
    DayCount,
    Device,
    Flat,
    Job,
    Pairing,
    Run,
    Season,
    TallyRow,
    Worker,
)
from tests.actions.test_concurrency import PATIENCE, real_database  # noqa: F401
from tests.actions.test_tallies import TODAY, file_of, row, run_import

pytestmark = pytest.mark.django_db
MODELS = (Season, Crop, Cultivar, Pairing, Worker, Flat, Run, TallyRow, DayCount)
ROWS = [row(flat=f"A{n}", scion=f"Scion {n % 20}", grafter=f"Worker {n % 5}") for n in range(120)]


def contents():
    """Return everything an import can touch; a count that is derived anew may have another key."""
    found = []
    for model in MODELS:
        left_out = {"id"} if model is DayCount else set()
        rows = [
            {name: value for name, value in row.items() if name not in left_out}
            for row in model.objects.values()
        ]
        found.append(sorted(map(str, rows)))
    return found


def imported(*rows, **options):
    """Bring in rows as long work; return its job."""
    data = options_as_data(TallyOptions(today=TODAY, **options))
    job = ask_for("tally_import", data, None, content=file_of(*rows))
    run_line(KINDS, heart=lambda _job: contextlib.nullcontext())
    job.refresh_from_db()
    return job


def test_is_stored_and_counted_as_a_small_one_is():
    job = imported(*ROWS)
    assert (job.state, job.done_count, job.total_count) == ("done", 120, 120)
    assert job.result["counts"] == {"new": 120, "unchanged": 0, "replaced": 0}
    assert DayCount.objects.records().count() == 120
    assert list(differences()) == []


def test_the_same_again_changes_nothing():
    imported(*ROWS)
    before = contents()
    assert imported(*ROWS).state == "done"
    assert contents() == before


def test_a_failing_row_leaves_nothing():
    before = contents()
    job = imported(*ROWS, row(flat="B", alive="73"))
    assert job.state == "failed" and "row 122, column alive" in job.message
    assert contents() == before


@pytest.mark.parametrize("error", [IntegrityError("raced"), ZeroDivisionError("broke")])
def test_a_failure_in_the_middle_takes_out_what_was_stored(monkeypatch, error, capsys):
    run_import(row(), row(flat="A1", checked_on="2025-03-24", alive="67"), row(flat="kept"))
    before = contents()
    store, calls = tally_store.store_flats, []

    def failing(*given):
        calls.append(TallyRow.objects.count())
        if len(calls) > 2:
            raise error
        return store(*given)

    monkeypatch.setattr(tally_store, "store_flats", failing)
    # A1's first count is replaced and gets a third day; a second grafter's run comes to the flat "kept"
    changed = [row(alive="50"), row(checked_on="2025-03-31", alive="60"), row(flat="kept", grafter="New")]
    job = imported(*changed, *ROWS, replaces=True)
    assert calls[-1] > calls[0]  # something had been stored
    assert job.state == "failed"
    assert contents() == before
    assert list(differences()) == []


def test_a_name_that_was_taken_into_use_meanwhile_stays(monkeypatch, capsys):
    def failing(*given):
        Pairing.objects.create(
            scion=Cultivar.objects.get(name="Scion 3"), rootstock=Cultivar.objects.get(name="Scion 3")
        )
        raise ZeroDivisionError

    monkeypatch.setattr(tally_store, "store_flats", failing)
    imported(*ROWS)
    assert [cultivar.name for cultivar in Cultivar.objects.all()] == ["Scion 3"]
    assert (Crop.objects.count(), Worker.objects.count(), Season.objects.count()) == (1, 0, 0)


def test_taking_out_twice_changes_nothing():
    imported(*ROWS)
    job = Job.objects.get()
    brought = tally_store.Brought.from_data({"moment": job.result["moment"], "names": {}})
    tally_store.take_out(brought)
    tally_store.take_out(brought)
    assert not Flat.objects.exists() and not DayCount.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_taps_get_through_meanwhile(real_database, monkeypatch):  # noqa: F811
    """Another connection writes all the time; its longest wait is bounded by one short transaction."""
    held, waits, is_over = [], [], threading.Event()
    store = tally_store.store_flats

    def timed(*given):
        held.append(store(*given))
        return held[-1]

    def tap():
        try:
            while not is_over.is_set():
                began = time.perf_counter()
                now = timezone.now()
                Device.objects.create(first_seen_at=now, last_seen_at=now)
                waits.append(time.perf_counter() - began)
                time.sleep(0.005)
        finally:
            connection.close()

    monkeypatch.setattr(tally_store, "store_flats", timed)
    monkeypatch.setattr(jobs, "start_process", lambda key: None)  # it is done here
    thread = threading.Thread(target=tap, daemon=True)
    thread.start()
    job = imported(*[row(flat=f"A{n}") for n in range(1500)])
    is_over.set()
    thread.join(PATIENCE)
    assert job.state == "done", job.message
    middle = sorted(held)[len(held) // 2]
    print(f"locked for {middle:.3f} s, at the most {max(held):.3f} s; longest wait {max(waits):.3f} s")
    assert len(waits) > len(held)  # a tap between any two transactions of the import
    assert max(waits) < 20 * middle + 1  # never as long as the whole import
    assert max(waits) < sum(held)
