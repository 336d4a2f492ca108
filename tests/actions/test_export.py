"""The export of everything: nothing is forgotten, nothing secret is in it, and it reads back."""

import contextlib
import csv
import io
import zipfile

import pytest
from django.apps import apps
from openpyxl import load_workbook

from nursery.actions import export, job_line
from nursery.actions.export_tables import LEFT_OUT, TABLES, export_tables
from nursery.actions.job_kinds import KINDS
from nursery.actions.job_line import Progress, Stopped, run_line
from nursery.actions.jobs import ask_for, jobs_folder, made_file
from nursery.models import Crop

pytestmark = pytest.mark.django_db


@pytest.fixture
def on_this_connection(monkeypatch):
    """A test's rows are in a transaction that no other connection sees."""
    monkeypatch.setattr(export, "snapshot", lambda: contextlib.nullcontext("default"))


def exported(kind):
    job = ask_for(kind, {}, None)
    assert run_line(KINDS, heart=lambda _job: contextlib.nullcontext()) == 1
    job.refresh_from_db()
    assert job.state == "done", job.message
    return job


def tables_in(path):
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        return {
            name.removesuffix(".csv"): list(
                csv.DictReader(io.StringIO(archive.read(name).decode("utf-8-sig")))
            )
            for name in archive.namelist()
            if name.endswith(".csv")
        }


def test_every_table_is_exported_or_left_out_with_a_reason():
    for model in apps.get_models(include_auto_created=True):
        is_exported = model._meta.app_label == "nursery" and model.__name__ in TABLES
        assert is_exported != bool(LEFT_OUT.get(model._meta.label)), model._meta.label
    assert {apps.get_model("nursery", name) for name in TABLES}


def test_no_integer_key_and_no_secret_is_among_the_columns():
    for table in export_tables():
        for column in table.columns:
            field = table.model
            for part in column.path.split("__"):
                found = field._meta.get_field(part)
                field = found.related_model if found.is_relation else None
            assert not found.primary_key, column
            assert "password" not in column.path and column.words
        assert len(set(table.header)) == len(table.header)


@pytest.mark.usefixtures("on_this_connection")
def test_no_password_is_anywhere_in_it(alice):
    path = made_file(exported("export_csv"))
    with zipfile.ZipFile(path) as archive:
        everything = b"".join(archive.read(name) for name in archive.namelist())
    assert b"alice" in everything
    assert alice.password.encode() not in everything
    assert path.stat().st_mode & 0o077 == 0


@pytest.mark.usefixtures("on_this_connection")
def test_names_that_would_run_do_not():
    Crop.objects.create(name="=1+1")
    csv_file, xlsx_file = (made_file(exported(kind)) for kind in ("export_csv", "export_xlsx"))
    assert tables_in(csv_file)["crops"][0]["name"] == "'=1+1"
    cell = load_workbook(xlsx_file)["crops"]["B2"]
    assert (cell.value, cell.data_type) == ("=1+1", "s")


@pytest.mark.usefixtures("on_this_connection")
def test_readme_names_every_table_and_column():
    with zipfile.ZipFile(made_file(exported("export_csv"))) as archive:
        text = archive.read("README.txt").decode("utf-8-sig")
    for table in export_tables():
        part = text.split(f"\r\n{table.name}.csv\r\n")[1].split("\r\n\r\n")[0].strip()
        assert [line.split()[0] for line in part.split("\r\n")[1:]] == table.header


@pytest.mark.usefixtures("on_this_connection")
def test_a_cancelled_export_leaves_no_file(monkeypatch):
    for number in range(500):
        Crop.objects.create(name=f"Crop {number}")
    monkeypatch.setattr(job_line, "WRITE_EVERY_SECONDS", 0)
    job = ask_for("export_csv", {}, None)
    steps = []

    def step(progress, done=1):
        steps.append(done)
        if sum(steps) > 200:
            raise Stopped

    monkeypatch.setattr(Progress, "step", step)
    run_line(KINDS, heart=lambda _job: contextlib.nullcontext())
    job.refresh_from_db()
    assert (job.state, made_file(job)) == ("cancelled", None)
    assert not [path for path in jobs_folder().iterdir() if job.key.hex[:8] in path.name]
