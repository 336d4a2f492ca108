"""Make a copy of the book while the program runs, and put one in the book's place."""

import sqlite3
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.loader import MigrationLoader

from nursery.actions import copies_postgres, copies_sqlite
from nursery.actions.copies_file import (
    FORMAT,
    SQLITE,
    CopyFailed,
    CopyInfo,
    ensure_room,
    flush_to_disk,
    give_name,
    in_words,
    part_in,
    read_info,
    sum_of,
    unpack_book,
    write_copy,
)
from nursery.actions.copies_lock import FolderInUse, hold_folder
from nursery.actions.copies_state import change_state, folder_name, note_good_copy

SUFFIX = ".takebook"
SET_ASIDE = "set-aside"


def engine() -> ModuleType:
    return copies_sqlite if connection.vendor == SQLITE else copies_postgres


def make_copy(target: Path, *, is_replacing: bool = False) -> CopyInfo:
    """Write a copy of the book as it stands now into the file ``target``; CopyFailed says why not.

    What was stored before this was called is in it. The file has its name only once it was read back whole.
    """
    target = target.absolute()
    try:
        if target.is_dir():
            raise CopyFailed(f"{target} is a folder: name a file in it, as {target / ('book' + SUFFIX)}.")
        if target.exists() and not is_replacing:
            raise _is_there(target)
        with part_in(target.parent) as book, part_in(target.parent) as part:
            began = datetime.now(UTC)
            found = engine().take_snapshot(book)
            info = CopyInfo(
                format=FORMAT, engine=engine().ENGINE, made_at=began.isoformat(),
                farm=found.farm, folder=folder_name(settings.DATA_DIR), migrations=found.migrations,
                counts=found.counts, book_bytes=book.stat().st_size, book_sha256=sum_of(book),
            )  # fmt: skip
            write_copy(book, info, part)
            give_name(part, target, is_replacing=is_replacing)
    except FileExistsError as error:
        raise _is_there(target) from error
    except FileNotFoundError as error:
        raise CopyFailed(f"There is no folder {target.parent}: make it, or choose another.") from error
    except (OSError, sqlite3.Error) as error:
        raise CopyFailed(in_words(error, target.parent)) from error
    except DatabaseError as error:
        raise CopyFailed(f"The database cannot be read: {error}".strip()) from error
    note_good_copy(settings.DATA_DIR)
    return info


def _is_there(target: Path) -> CopyFailed:
    return CopyFailed(f"{target} is there already: choose another name, or replace it with --force.")


def checked_copy(path: Path) -> CopyInfo:
    """Return what a copy says of itself if this program could restore it; else CopyFailed says why not."""
    info = read_info(path)
    if info.engine != engine().ENGINE:
        needed = "without DATABASE_URL" if info.engine == SQLITE else "with DATABASE_URL"
        raise CopyFailed(
            f"{path} is a copy of a book in another kind of database ({info.engine}): restore it {needed}."
        )
    known = {f"{app}.{name}" for app, name in MigrationLoader(None).disk_migrations}
    if strange := sorted(set(info.migrations) - known):
        raise CopyFailed(
            f"{path} was made by a newer Takebook (it knows {strange[-1]}). Bring the program up to date, "
            "then restore."
        )
    return info


def restore_copy(path: Path, *, is_replacing: bool = False) -> tuple[CopyInfo, Path | None]:
    """Make a copy the book; return what it said and where the book that it replaced was set aside.

    Everything is proved before anything is touched: the sum of every byte, the database inside, that this
    program is not older, that nothing runs on this folder and that no book is lost.
    """
    path = path.absolute()
    try:
        with hold_folder(settings.DATA_DIR), part_in(settings.DATA_DIR) as staged:
            info = checked_copy(path)
            ensure_room(settings.DATA_DIR, 2 * info.book_bytes)
            with staged.open("wb") as file:
                unpack_book(path, info, file)
            engine().check_staged(staged, info)
            is_in_use = engine().is_in_use()
            if is_in_use and not is_replacing:
                raise CopyFailed(
                    f"There is a book in {settings.DATA_DIR}. Choose an empty folder with --data DIR, or "
                    "call restore with --replace: the book there is set aside first."
                )
            engine().ensure_unused()
            engine().bring_up_to_date(staged)
            aside = set_book_aside() if is_in_use else None
            engine().put_in_place(staged, info)
    except (CopyFailed, FolderInUse) as error:
        raise CopyFailed(f"{error} Nothing was changed.") from error
    except (OSError, sqlite3.Error) as error:
        raise CopyFailed(in_words(error, settings.DATA_DIR)) from error
    except DatabaseError as error:
        raise CopyFailed(f"The database does not take the copy: {error}".strip()) from error
    # The copies made so far are of another book: a new one is due.
    change_state(settings.DATA_DIR, kept_at=None)
    return info, aside


def copies_dir() -> Path:
    folder = Path(settings.DATA_DIR) / "copies"
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


def set_book_aside() -> Path:
    """Keep the book that is about to be replaced: as a copy, or, if it is too damaged for one, as it is."""
    stem = f"{SET_ASIDE}-{datetime.now():%Y-%m-%d-%H%M%S}"
    target = copies_dir() / f"{stem}{SUFFIX}"
    try:
        make_copy(target)
    except CopyFailed:
        if connection.vendor != SQLITE:
            raise
        target = copies_dir() / f"{stem}.sqlite3"
        copies_sqlite.set_raw_aside(target)
    flush_to_disk(target.parent)
    return target
