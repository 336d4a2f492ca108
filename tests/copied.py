"""Books made once and then copied: the empty one with every migration applied, and the demonstration farm.

Migrating takes seconds and loading the farm ten, and both end the same every time; a copy takes none.
"""

import contextlib
import hashlib
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

import django
from django.apps import apps
from django.db import connections
from django.db.models.signals import pre_migrate

ROOT = Path(__file__).resolve().parent.parent
DEMO_NOW = datetime(2026, 4, 20, 10, 0, tzinfo=UTC)
PATIENCE = 300  # seconds that the other processes wait for the one that makes a book
MIGRATE = [str(ROOT / "manage.py"), "migrate", "-v0"]
LOAD_DEMO = """
import datetime, django
django.setup()
from nursery.actions.demo import load_demo
load_demo(datetime.datetime.fromisoformat("NOW"))
"""


def load_demo(now):
    """Return the command that loads the demonstration farm as of a moment."""
    return ["-c", LOAD_DEMO.replace("NOW", now.isoformat())]


def fingerprint():
    """What the migrated book follows from; where it differs, the book is made anew."""
    found = hashlib.sha256(f"{django.__version__} {sqlite3.sqlite_version}".encode())
    for folder in ("migrations", "models"):
        for path in sorted((ROOT / "nursery" / folder).rglob("*.py")):
            found.update(f"{path}".encode() + path.read_bytes())
    return found.hexdigest()[:16]


# --- a file of SQLite


def migrated_file(folder):
    """Return a migrated SQLite file in ``folder``, made there unless an earlier run left it."""
    path = folder / f"{fingerprint()}.sqlite3"
    with _one_at_a_time(folder):
        if not path.exists():
            for old in folder.glob("*.sqlite3"):
                old.unlink()
            _make_file(path, MIGRATE)
    return path


def demo_file(folder, name, *, migrated, now):
    """Return an SQLite file in ``folder`` with the demonstration farm as of ``now``, made there once."""
    path = folder / f"{name}.sqlite3"
    with _one_at_a_time(folder):
        if not path.exists():
            _make_file(path, load_demo(now), begun_with=migrated)
    return path


@contextlib.contextmanager
def _one_at_a_time(folder):
    """Let the processes of a run in one after the other; the lock ends with the process that has it."""
    with contextlib.closing(sqlite3.connect(folder / "lock", timeout=PATIENCE, isolation_level=None)) as lock:
        lock.execute("BEGIN EXCLUSIVE")
        yield


def _make_file(path, command, begun_with=None):
    with tempfile.TemporaryDirectory(dir=path.parent) as data:
        made = Path(data) / "takebook.sqlite3"
        if begun_with:
            shutil.copyfile(begun_with, made)
        _run(command, TAKEBOOK_DATA=data)
        with contextlib.closing(sqlite3.connect(made)) as book:
            book.execute("PRAGMA journal_mode=DELETE")  # a single file
        made.replace(path)


def copy_before_migrating(path):
    """Fill the SQLite database that Django brings up next with a file, as soon as it is open."""
    ours = apps.get_app_config("nursery")

    def fill(using, **_kwargs):
        pre_migrate.disconnect(fill, sender=ours)
        copy_into(connections[using], path)

    pre_migrate.connect(fill, sender=ours, weak=False)


def copy_into(connection, path):
    """Let an SQLite database that Django has open be what a file is."""
    with contextlib.closing(sqlite3.connect(path)) as source:
        source.backup(connection.connection)


@contextlib.contextmanager
def file_in_place(connection, path):
    """Let the SQLite database that Django has open be what a file is, and then what it was."""
    connection.ensure_connection()
    with contextlib.closing(sqlite3.connect(":memory:")) as before:
        connection.connection.backup(before)
        try:
            copy_into(connection, path)
            yield
        finally:
            before.backup(connection.connection)


# --- a database of PostgreSQL


def migrated_database(url):
    """Return the name of a migrated database on a server, made there unless it was."""
    return _make_database(url, "takebook_migrated", MIGRATE)


def demo_database(url, name, *, now):
    """Return the name of a database on a server with the demonstration farm as of ``now``, made once."""
    return _make_database(url, f"takebook_{name}", load_demo(now), begun_with=migrated_database(url))


def _make_database(url, name, command, begun_with="template0"):
    import psycopg

    with psycopg.connect(url, autocommit=True) as server:
        server.execute("SELECT pg_advisory_lock(20260302)")  # ends with this connection
        told = "SELECT shobj_description(oid, 'pg_database') FROM pg_database WHERE datname = %s"
        if server.execute(told, [name]).fetchone() != (fingerprint(),):
            copy_database(server, name, begun_with)
            _run(command, DATABASE_URL=f"{url.rsplit('/', 1)[0]}/{name}")
            server.execute(f"COMMENT ON DATABASE {name} IS '{fingerprint()}'")
    return name


@contextlib.contextmanager
def database_in_place(connection, url, template):
    """Let Django's connection be to a copy of a database, and then to what it was."""
    import psycopg

    before = connection.settings_dict["NAME"]
    name = f"{before}_stand_in"
    with psycopg.connect(url, autocommit=True) as server:
        copy_database(server, name, template)
    connection.close()
    connection.settings_dict["NAME"] = name
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict["NAME"] = before
        with psycopg.connect(url, autocommit=True) as server:
            server.execute(f"DROP DATABASE {name}")


def copy_database(server, name, template):
    """Make a database a copy of another to which nobody is connected."""
    server.execute(f"DROP DATABASE IF EXISTS {name}")
    server.execute(f"CREATE DATABASE {name} TEMPLATE {template}")


def _run(command, **environment):
    kept = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    kept |= {"DJANGO_SETTINGS_MODULE": "nursery.settings"}
    ended = subprocess.run(
        [sys.executable, *command], cwd=ROOT, env=kept | environment, capture_output=True, text=True
    )
    if ended.returncode:
        raise RuntimeError(
            f"a book for the tests could not be made (exit {ended.returncode}):\n{ended.stderr}"
        )
