"""manage.py run_job as the process that it is: killed in the middle, the book is true after the next one."""

import csv
import io
import os
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from uuid import uuid4

import pytest

from tests.actions.test_tallies import file_of, row
from tests.commands.copying import good, manage, run_python
from tests.commands.server import ROOT, environment

pytestmark = pytest.mark.sqlite
ROWS = 1500

ASK = """
import sys
import django; django.setup()
from nursery.actions import jobs
from nursery.actions.jobs import ask_for
jobs.start_process = lambda key: None
options = {"today": "2026-11-01", "season": "", "replaces": False}
content = open(sys.argv[1], "rb").read() if len(sys.argv) > 1 else None
print(ask_for(KIND, options, None, content=content).key)
"""
STATE = """
import django; django.setup()
from nursery.models import Flat, Job, Pairing, Season, TallyRow
job = Job.objects.latest("pk")
print(job.state, job.done_count, TallyRow.objects.count(), Flat.objects.filter(origin="tally").count(),
      Pairing.objects.count(), Season.objects.count(), job.message, sep="|")
"""
DIED_LONG_AGO = """
import django; django.setup()
from datetime import timedelta
from django.utils import timezone
from nursery.models import Job
Job.objects.filter(state="running").update(seen_at=timezone.now() - timedelta(minutes=1))
"""
SOME_FLATS = """
import django; django.setup()
from nursery.models import Farm
from tests.factories import make_flat
Farm.objects.create(pk=1, name="Test farm")
for _number in range(12):
    make_flat()
"""
SNAPSHOT = """
import django; django.setup()
from nursery.actions.export import snapshot
from nursery.models import Crop
before = Crop.objects.count()
with snapshot() as using:
    Crop.objects.create(name="Made meanwhile")
    print(Crop.objects.using(using).count() - before, Crop.objects.count() - before)
"""


@pytest.fixture(scope="session")
def some_flats(new_migrated_folder, tmp_path_factory):
    """A folder with a book of a dozen flats on SQLite, to be copied: bringing up a new one takes a while."""
    folder = new_migrated_folder(tmp_path_factory.mktemp("some-flats"))
    run_python(SOME_FLATS, TAKEBOOK_DATA=str(folder))
    return folder


@pytest.fixture(scope="session")
def some_flats_on_postgresql(new_migrated_database, tmp_path_factory):
    """A database with the same."""
    found = {**new_migrated_database(), "TAKEBOOK_DATA": str(tmp_path_factory.mktemp("some-flats"))}
    run_python(SOME_FLATS, **found)
    return found


@pytest.fixture(params=["sqlite", "postgresql"])
def book(request, tmp_path):
    """A book with a dozen flats on either database; the variables by which its commands find it."""
    folder = tmp_path / "book"
    if request.param == "sqlite":
        shutil.copytree(request.getfixturevalue("some_flats"), folder)
        return {"TAKEBOOK_DATA": str(folder)}
    import psycopg

    url = request.getfixturevalue("some_flats_on_postgresql")["DATABASE_URL"]
    server, template = url.rsplit("/", 1)
    name = f"copy_{uuid4().hex}"
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
    return {"DATABASE_URL": f"{server}/{name}", "TAKEBOOK_DATA": str(folder)}


@pytest.fixture
def table(tmp_path):
    path = tmp_path / "past.csv"
    rows = [row(flat=f"A{n}", scion=f"Scion {n % 50}", grafter=f"Worker {n % 9}") for n in range(ROWS)]
    path.write_bytes(file_of(*rows))
    return path


def ask(kind, book, *arguments):
    code = ASK.replace("KIND", repr(kind))
    extra = {**book, "DJANGO_SETTINGS_MODULE": "nursery.settings"}
    ended = subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)],
        capture_output=True, text=True, cwd=ROOT, env=environment(**extra),
    )  # fmt: skip
    assert ended.returncode == 0, ended.stderr
    return ended.stdout.strip()


def state(book):
    return run_python(STATE, **book).split("|")


def begun(key, book):
    return subprocess.Popen(
        [sys.executable, str(ROOT / "manage.py"), "run_job", key],
        env=environment(**book), stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip


def wait_for_rows(book):
    """Wait until the import has stored some of its rows, and not all."""
    end = time.monotonic() + 60
    while time.monotonic() < end:
        found = state(book)
        if 0 < int(found[2]) < ROWS:
            return
        assert found[0] in {"waiting", "running"}, found
    raise AssertionError("the import never began")


@pytest.mark.parametrize("sign", [signal.SIGKILL, signal.SIGTERM])
def test_an_import_ended_in_the_middle_leaves_nothing(book, table, sign):
    key = ask("tally_import", book, table)
    process = begun(key, book)
    wait_for_rows(book)
    process.send_signal(sign)
    process.communicate(timeout=60)
    if sign == signal.SIGKILL:
        found = state(book)
        assert found[0] == "running" and int(found[2]) > 0  # nobody could say otherwise yet
        run_python(DIED_LONG_AGO, **book)
        good(manage("run_job", key, **book))
    found = state(book)
    assert found[0] == "failed" and "Nothing of it was kept" in found[6]
    assert found[2:6] == ["0"] * 4
    assert "counts agree" in good(manage("recount", **book))


def test_an_import_comes_to_its_end_and_counts_every_row(book, table):
    key = ask("tally_import", book, table)
    good(manage("run_job", key, **book))
    found = state(book)
    assert found[:2] == ["done", str(ROWS)] and found[6] == f"{ROWS} rows are in the book now."
    assert int(found[2]) == ROWS
    assert "counts agree" in good(manage("recount", **book))


def test_the_command_lets_a_large_table_be_long_work_and_waits_for_it(book, table):
    said = good(manage("import_tallies", table, **book))
    assert f"{ROWS} rows: {ROWS} new, 0 unchanged, 0 replaced." in said
    assert state(book)[:3] == ["done", str(ROWS), str(ROWS)]


def test_everything_is_exported_as_the_book_stands(book):
    key = ask("export_csv", book)
    good(manage("run_job", key, **book))
    (file,) = [name for name in os.listdir(f"{book['TAKEBOOK_DATA']}/jobs") if name.endswith(".zip")]
    with zipfile.ZipFile(f"{book['TAKEBOOK_DATA']}/jobs/{file}") as archive:
        rows = list(csv.reader(io.StringIO(archive.read("flats.csv").decode("utf-8-sig"))))
    assert len(rows) == 13 and rows[0][0] == "code"


def test_an_export_sees_nothing_newer_and_keeps_nobody_from_writing(book):
    assert run_python(SNAPSHOT, **book) == "0 1"
