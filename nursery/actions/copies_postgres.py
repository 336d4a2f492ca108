"""Copies of a book in PostgreSQL, by PostgreSQL's own programs pg_dump, pg_restore and psql."""

import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.db import connection, transaction
from django.db.backends.postgresql.client import DatabaseClient

from nursery.actions.copies_file import POSTGRESQL, CopyFailed, CopyInfo, disk_full, ensure_room
from nursery.actions.copies_sqlite import COUNTED, SIGNS_OF_USE, Contents

ENGINE = POSTGRESQL
PROGRAMS = ("pg_dump", "pg_restore", "psql")
OUR_TABLES = ("nursery_", "django_", "auth_")
_ROOM_LEFT = 16 << 20


def program(name: str) -> str:
    """Return the path of one of PostgreSQL's programs; CopyFailed with the remedy if it is missing."""
    found = shutil.which(name, path=settings.POSTGRES_PROGRAMS or None)
    if not found:
        where = settings.POSTGRES_PROGRAMS or "the programs of this machine"
        raise CopyFailed(
            f"{name} was not found in {where}. Install PostgreSQL's own programs, as with "
            "apt-get install postgresql-client, or name their folder in TAKEBOOK_PG_PROGRAMS. "
            "They must not be older than the server."
        )
    return found


def _call(name: str, *arguments: str, reaches_database: bool = True) -> str:
    """Run a program; the address of the database comes from the settings, its password by the environment."""
    command, extra = [program(name), *arguments], dict[str, str]()
    if reaches_database:
        client, more = DatabaseClient.settings_to_cmd_args_env(connection.settings_dict, [])
        command += [*client[1:-1], f"--dbname={client[-1]}"]  # as psql takes them, the name last
        extra = more or {}
    ended = subprocess.run(command, capture_output=True, text=True, env={**os.environ, **extra})
    if ended.returncode:
        raise CopyFailed(_why(name, ended.stderr))
    return ended.stdout


def _why(name: str, words: str) -> str:
    if "No space left on device" in words:
        return disk_full(Path("the copies"), "No space left on device")
    if "server version mismatch" in words:
        return (
            f"{name} is older than the PostgreSQL server: install the programs of the server's version, "
            "or name their folder in TAKEBOOK_PG_PROGRAMS."
        )
    lines = [line for line in words.strip().splitlines() if line.strip()]
    return f"{name} failed: {'; '.join(lines[:3]) or 'it did not say why'}."


def take_snapshot(target: Path) -> Contents:
    """Dump the book into the empty file ``target``, as it stands at one moment, beside running writers."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        found = _contents(cursor)
        cursor.execute("SELECT pg_database_size(current_database())")
        ensure_room(target.parent, cursor.fetchone()[0] + _ROOM_LEFT)
        # The dump sees exactly what was counted.
        cursor.execute("SELECT pg_export_snapshot()")
        snapshot = cursor.fetchone()[0]
        _call(
            "pg_dump", "--format=custom", "--no-owner", "--no-privileges", f"--snapshot={snapshot}",
            *(f"--table={table}" for table in _our_tables(cursor)),
            "--exclude-table-data=django_session", f"--file={target}",
        )  # fmt: skip
    _ensure_book(target)
    return found


def _contents(cursor: Any) -> Contents:
    tables = _our_tables(cursor)
    if not {"django_migrations", "nursery_farm", "nursery_mark"} <= set(tables):
        raise CopyFailed("There is no book in this database: start the program once.")
    counts = {}
    for table in COUNTED:
        cursor.execute(f"SELECT count(*) FROM {table}")
        counts[table] = cursor.fetchone()[0]
    cursor.execute("SELECT app || '.' || name FROM django_migrations ORDER BY 1")
    applied = [row[0] for row in cursor.fetchall()]
    cursor.execute("SELECT name FROM nursery_farm")
    farm = cursor.fetchone()
    return Contents(farm[0] if farm else "", applied, counts)


def _our_tables(cursor: Any) -> list[str]:
    names = connection.introspection.table_names(cursor)
    return [name for name in names if name.startswith(OUR_TABLES)]


def check_staged(staged: Path, info: CopyInfo) -> None:
    """Raise CopyFailed unless pg_restore can read the dump and it holds a book of ours."""
    _ensure_book(staged)


def _ensure_book(dump: Path) -> None:
    listed = _call("pg_restore", "--list", str(dump), reaches_database=False)
    if "TABLE DATA" not in listed or " nursery_mark " not in listed or " django_migrations " not in listed:
        raise CopyFailed("The dump in the copy is no book of Takebook.")


def ensure_unused() -> None:
    """Raise CopyFailed while anybody else is connected to the database."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
            "AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
        )
        if cursor.fetchone()[0]:
            raise CopyFailed("A program is connected to the database: end it, then restore.")


def is_in_use() -> bool:
    """True if the book holds anything that somebody entered."""
    with connection.cursor() as cursor:
        there = set(_our_tables(cursor))
        for table in SIGNS_OF_USE:
            if table in there:
                cursor.execute(f"SELECT EXISTS (SELECT 1 FROM {table})")
                if cursor.fetchone()[0]:
                    return True
    return False


def bring_up_to_date(staged: Path) -> None:
    """A dump cannot be migrated where it lies: ``put_in_place`` does that when it is the book."""


def put_in_place(staged: Path, info: CopyInfo) -> None:
    """Replace the book in one transaction, prove the counts in it, then bring the book up to date."""
    with connection.cursor() as cursor:
        tables = _our_tables(cursor)
    connection.close()
    script = staged.with_name(f"{staged.name}.sql")
    drop = "".join(f'DROP TABLE IF EXISTS "{table}" CASCADE;' for table in tables)
    proof = "".join(
        f"IF (SELECT count(*) FROM {table}) <> {int(count)} "
        f"THEN RAISE EXCEPTION '{table} is not whole'; END IF;"
        for table, count in info.counts.items()
        if table in COUNTED
    )
    try:
        _call(
            "pg_restore",
            "--no-owner",
            "--no-privileges",
            f"--file={script}",
            str(staged),
            reaches_database=False,
        )
        _call(
            "psql", "--no-psqlrc", "--quiet", "--set=ON_ERROR_STOP=1", "--single-transaction",
            "--command=SET client_min_messages = warning", f"--command={drop or 'SELECT 1'}",
            f"--file={script}",
            "--command=RESET search_path",  # which the dump has emptied
            f"--command=DO $$ BEGIN {proof} END $$",
        )  # fmt: skip
    finally:
        script.unlink(missing_ok=True)
    call_command("migrate", interactive=False, verbosity=0)
