"""Copies of a book in SQLite: a snapshot beside running writers, and putting one in the book's place."""

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import connection

from nursery.actions.copies_file import SQLITE, CopyFailed, CopyInfo, ensure_room, flush_to_disk

ENGINE = SQLITE
# Rows that say whether a book is whole after its journey; and those without which a book is empty.
COUNTED = ["nursery_account", "nursery_flat", "nursery_run", "nursery_cell", "nursery_check", "nursery_mark"]
SIGNS_OF_USE = [
    *COUNTED, "nursery_farm", "nursery_season", "nursery_worker", "nursery_cultivar", "nursery_seedlot",
    "nursery_sowing", "nursery_place",
]  # fmt: skip
BESIDE_IT = ("-wal", "-shm", "-journal")
_ROOM_LEFT = 16 << 20


@dataclass(frozen=True)
class Contents:
    """What a book says of itself."""

    farm: str
    migrations: list[str]
    counts: dict[str, int]


def book_path() -> Path:
    return Path(str(settings.DATABASES["default"]["NAME"]))


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    database = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode=rw", uri=True, timeout=20, isolation_level=None
    )
    try:
        yield database
    finally:
        database.close()


def take_snapshot(target: Path) -> Contents:
    """Copy the book, as it stands at one moment, into the empty file ``target``.

    All pages go in one step: that is one reading transaction, which in WAL mode sees one moment and keeps no
    writer waiting. In several steps the copying would begin anew after every write of others.
    """
    book = book_path()
    if not book.exists():
        raise CopyFailed(f"There is no book in {book.parent}: name the folder with --data DIR.")
    size = sum(part.stat().st_size for part in (book, Path(f"{book}-wal")) if part.exists())
    # The snapshot, and the copy made of it, which is smaller.
    ensure_room(target.parent, 2 * size + _ROOM_LEFT)
    try:
        with _opened(book) as source, _opened(target) as copy:
            source.backup(copy, pages=-1)
            copy.execute("PRAGMA journal_mode=DELETE")
            # Overwrites what is deleted: a session found in a copy would log its finder in.
            copy.execute("PRAGMA secure_delete=ON")
            with contextlib.suppress(sqlite3.OperationalError):  # a book that was never started
                copy.execute("DELETE FROM django_session")
        return contents_of(target)
    except sqlite3.DatabaseError as error:
        if isinstance(error, sqlite3.OperationalError):
            raise
        raise CopyFailed(f"The book {book} is damaged ({error}): restore the last good copy.") from error


def contents_of(path: Path) -> Contents:
    """Check a database file through and through; CopyFailed if it is damaged or no book of ours."""
    with _opened(path) as book:
        faults = [row[0] for row in book.execute("PRAGMA integrity_check(3)")]
        if faults != ["ok"]:
            raise CopyFailed(f"The book is damaged ({'; '.join(faults)}): restore the last good copy.")
        tables = {row[0] for row in book.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if not {"django_migrations", "nursery_farm", "nursery_mark"} <= tables:
            raise CopyFailed("The database is no book of Takebook.")
        applied = book.execute("SELECT app || '.' || name FROM django_migrations ORDER BY 1")
        counts = {t: book.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in COUNTED if t in tables}
        farm = book.execute("SELECT name FROM nursery_farm").fetchone()
        return Contents(farm[0] if farm else "", [row[0] for row in applied], counts)


def check_staged(staged: Path, info: CopyInfo) -> None:
    """Raise CopyFailed unless the unpacked file is the book that the copy says it is."""
    try:
        found = contents_of(staged)
    except sqlite3.DatabaseError as error:
        raise CopyFailed(f"The book in the copy cannot be read ({error}). Take an older copy.") from error
    if (sorted(found.migrations), found.counts) != (sorted(info.migrations), info.counts):
        raise CopyFailed("The book in the copy is not the one that it was made of. Take an older copy.")


def ensure_unused() -> None:
    """Raise CopyFailed while any process has the book open.

    A connection in WAL mode keeps its lock on the file while it is open, idle or not, and leaving that mode
    asks for the file alone. It also writes all of the log beside the book into it.
    """
    if not book_path().exists():
        return
    connection.close()
    try:
        with _opened(book_path()) as book:
            book.execute("PRAGMA busy_timeout=500")
            book.execute("PRAGMA journal_mode=DELETE")
    except sqlite3.OperationalError as error:
        raise CopyFailed(f"A program has the book {book_path()} open: end it, then restore.") from error
    except sqlite3.DatabaseError:
        return  # a damaged book: that is what copies are for


def is_in_use() -> bool:
    """True if the book holds anything that somebody entered, or cannot be read."""
    if not book_path().exists():
        return False
    try:
        with _opened(book_path()) as book:
            tables = {row[0] for row in book.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
            signs = [table for table in SIGNS_OF_USE if table in tables]
            return any(book.execute(f"SELECT EXISTS (SELECT 1 FROM {t})").fetchone()[0] for t in signs)
    except sqlite3.DatabaseError:
        return True


def set_raw_aside(target: Path) -> None:
    """Give a book that no copy can be made of another name, with all that lies beside it."""
    for suffix in ("", *BESIDE_IT):
        with contextlib.suppress(FileNotFoundError):
            Path(f"{book_path()}{suffix}").replace(f"{target}{suffix}")
    flush_to_disk(target.parent)


def put_in_place(staged: Path, info: CopyInfo) -> None:
    """Make the unpacked book the book at one stroke."""
    for suffix in BESIDE_IT:  # of the old book; they hold nothing, as it was closed, or it was set aside
        Path(f"{book_path()}{suffix}").unlink(missing_ok=True)
    flush_to_disk(staged)
    os.replace(staged, book_path())
    flush_to_disk(book_path().parent)


def bring_up_to_date(staged: Path) -> None:
    """Migrate the unpacked book where it lies: if that fails, the old book is still in its place."""
    connection.close()
    name, connection.settings_dict["NAME"] = connection.settings_dict["NAME"], str(staged)
    try:
        call_command("migrate", interactive=False, verbosity=0)
    finally:
        connection.close()
        connection.settings_dict["NAME"] = name
    with _opened(staged) as book:
        book.execute("PRAGMA journal_mode=DELETE")
