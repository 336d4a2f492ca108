"""An empty book with every migration applied: made once by ``manage.py migrate``, then copied.

Migrating takes seconds and ends the same every time; a copy takes none.
"""

import contextlib
import hashlib
import os
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import django
from django.apps import apps
from django.db import connections
from django.db.models.signals import pre_migrate

ROOT = Path(__file__).resolve().parent.parent
TEMPLATE = "takebook_migrated"  # the database on a PostgreSQL server that is copied
PATIENCE = 300  # seconds that the other processes wait for the one that migrates


def fingerprint():
    """What the migrated book follows from; where it differs, the book is made anew."""
    found = hashlib.sha256(f"{django.__version__} {sqlite3.sqlite_version}".encode())
    for folder in ("migrations", "models"):
        for path in sorted((ROOT / "nursery" / folder).rglob("*.py")):
            found.update(f"{path}".encode() + path.read_bytes())
    return found.hexdigest()[:16]


def migrated_file(folder):
    """Return a migrated SQLite file in ``folder``, made there unless an earlier run left it."""
    path = folder / f"{fingerprint()}.sqlite3"
    with contextlib.closing(sqlite3.connect(folder / "lock", timeout=PATIENCE, isolation_level=None)) as lock:
        lock.execute("BEGIN EXCLUSIVE")  # ends with the process that has it
        if not path.exists():
            for old in folder.glob("*.sqlite3"):
                old.unlink()
            with tempfile.TemporaryDirectory(dir=folder) as data:
                _migrate(TAKEBOOK_DATA=data)
                made = Path(data) / "takebook.sqlite3"
                with contextlib.closing(sqlite3.connect(made)) as book:
                    book.execute("PRAGMA journal_mode=DELETE")  # a single file
                made.replace(path)
    return path


def migrated_database(url):
    """Return the name of a migrated database on a PostgreSQL server, made there unless it was."""
    import psycopg

    with psycopg.connect(url, autocommit=True) as server:
        server.execute("SELECT pg_advisory_lock(20260302)")  # ends with this connection
        told = "SELECT shobj_description(oid, 'pg_database') FROM pg_database WHERE datname = %s"
        found = server.execute(told, [TEMPLATE]).fetchone()
        if found != (fingerprint(),):
            server.execute(f"DROP DATABASE IF EXISTS {TEMPLATE}")
            server.execute(f"CREATE DATABASE {TEMPLATE}")
            _migrate(DATABASE_URL=f"{url.rsplit('/', 1)[0]}/{TEMPLATE}")
            server.execute(f"COMMENT ON DATABASE {TEMPLATE} IS '{fingerprint()}'")
    return TEMPLATE


def _migrate(**environment):
    kept = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    ended = subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), "migrate", "-v0"],
        env=kept | environment, capture_output=True, text=True,
    )  # fmt: skip
    if ended.returncode:
        raise RuntimeError(f"migrating an empty book failed:\n{ended.stderr}")


def copy_before_migrating(path):
    """Fill the SQLite database that Django brings up next with a file, as soon as it is open."""
    ours = apps.get_app_config("nursery")

    def fill(using, **_kwargs):
        pre_migrate.disconnect(fill, sender=ours)
        with contextlib.closing(sqlite3.connect(path)) as source:
            source.backup(connections[using].connection)

    pre_migrate.connect(fill, sender=ours, weak=False)
