"""The file that a copy of the book is: written so that it is whole or not there, read with suspicion.

A copy is a zip archive with two members: ``takebook-copy.json`` says what it is, and the book itself, a
SQLite database or a dump of pg_dump. So common tools get at the book even without this program. The sum
of the book stands in the first member, and every byte is compared with it before anything is touched.

It holds neither the secret key nor the sessions: whoever finds a copy shall not be logged in by it. After a
restore everybody logs in once more. Labels do not depend on either.
"""

import contextlib
import errno
import hashlib
import json
import os
import shutil
import sqlite3
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO

INFO, FORMAT = "takebook-copy.json", 1
SQLITE, POSTGRESQL = "sqlite", "postgresql"
MEMBERS = {SQLITE: "book.sqlite3", POSTGRESQL: "book.pgdump"}
PART = ".part"
OWNER_ONLY = 0o600
_CHUNK = 1 << 20
_LONGEST_INFO = 1 << 20
# A zip begins so, and the name of its first member stands at this place (APPNOTE.TXT of PKWARE, 4.3.7).
_ZIP, _NAME_AT = b"PK\x03\x04", 30
# What zipfile and json raise at bytes that are not as they were written.
_DAMAGE = (
    zipfile.BadZipFile, zlib.error, struct.error, EOFError, ValueError, KeyError, TypeError, AttributeError,
    NotImplementedError, RuntimeError, RecursionError, OverflowError, MemoryError,
)  # fmt: skip


class CopyFailed(Exception):
    """Why a copy could not be made or put in place, as sentences with their remedy."""


@dataclass(frozen=True)
class CopyInfo:
    """What a copy says of itself. ``made_at`` is ISO 8601 in UTC; ``counts`` are rows by table."""

    format: int
    engine: str
    made_at: str
    farm: str
    folder: str
    migrations: list[str]
    counts: dict[str, int]
    book_bytes: int
    book_sha256: str


def sum_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def write_copy(book: Path, info: CopyInfo, target: Path) -> None:
    """Write the archive and see that what lies on the disk is what was meant."""
    # A dump is compressed already.
    method = zipfile.ZIP_DEFLATED if info.engine == SQLITE else zipfile.ZIP_STORED
    with target.open("wb") as file:
        with zipfile.ZipFile(file, "w", method, compresslevel=5) as archive:
            archive.writestr(INFO, json.dumps(asdict(info), indent=1))
            archive.write(book, MEMBERS[info.engine])
        file.flush()
        os.fsync(file.fileno())
    with open(os.devnull, "wb") as nowhere:
        unpack_book(target, read_info(target), nowhere)


def read_info(path: Path) -> CopyInfo:
    """Return what a copy says of itself; CopyFailed if it is none, is damaged or comes from the future."""
    try:
        with path.open("rb") as file:
            head = file.read(_NAME_AT + len(INFO))
            is_ours = head[:4] == _ZIP and head[_NAME_AT:] == INFO.encode()
    except OSError as error:
        raise CopyFailed(f"{path} cannot be read: {error.strerror}.") from error
    try:
        with zipfile.ZipFile(path) as archive:
            member = archive.getinfo(INFO)
            if member.file_size > _LONGEST_INFO:
                raise ValueError(member.file_size)
            said = json.loads(archive.read(member))
        return _understood(path, said)
    except (*_DAMAGE, OSError) as error:
        if not is_ours:
            raise CopyFailed(f"{path} is no copy that Takebook made, or its beginning is damaged.") from error
        raise damaged(path) from error


def _understood(path: Path, said: dict[str, object]) -> CopyInfo:
    form = said["format"]
    if not isinstance(form, int) or form < 1:
        raise ValueError(form)
    if form > FORMAT:
        raise CopyFailed(f"{path} was made by a newer Takebook. Bring the program up to date, then restore.")
    info = CopyInfo(**said)  # type: ignore[arg-type]
    if info.engine not in MEMBERS or not all(isinstance(name, str) for name in info.migrations):
        raise ValueError(info.engine)
    return info


def damaged(path: Path) -> CopyFailed:
    return CopyFailed(
        f"{path} is damaged: it was cut short or changed since it was made. Take an older copy."
    )


def unpack_book(path: Path, info: CopyInfo, target: IO[bytes]) -> None:
    """Write the book of a copy to ``target``; CopyFailed unless every byte is as it was."""
    digest, left = hashlib.sha256(), info.book_bytes
    try:
        with zipfile.ZipFile(path) as archive, archive.open(MEMBERS[info.engine]) as book:
            # A member that claims to be larger than the copy says is not unpacked to the end of the disk.
            while chunk := book.read(_CHUNK):
                left -= len(chunk)
                if left < 0:
                    raise ValueError(left)
                digest.update(chunk)
                target.write(chunk)
    except _DAMAGE as error:
        raise damaged(path) from error
    if left or digest.hexdigest() != info.book_sha256:
        raise damaged(path)


@contextlib.contextmanager
def part_in(folder: Path) -> Iterator[Path]:
    """A new file in ``folder``, readable by its owner only, that is gone afterwards unless it got a name."""
    handle, name = tempfile.mkstemp(prefix=".takebook-", suffix=PART, dir=folder)
    os.close(handle)
    part = Path(name)
    try:
        yield part
    finally:
        for left in (part, *(Path(f"{part}{suffix}") for suffix in ("-wal", "-shm", "-journal"))):
            left.unlink(missing_ok=True)


def give_name(part: Path, target: Path, *, is_replacing: bool) -> None:
    """Give a whole file its name at one stroke, and see that this outlasts a power cut."""
    flush_to_disk(part)
    if not is_replacing:
        # Keeps the name from anybody else. Hard links, which refuse by themselves, are unknown on sticks.
        os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, OWNER_ONLY))
    try:
        part.replace(target)
    except OSError:
        if not is_replacing:
            target.unlink(missing_ok=True)
        raise
    flush_to_disk(target.parent)


def flush_to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in {errno.EINVAL, errno.EBADF}:  # file systems that cannot flush a folder
            raise
    finally:
        os.close(handle)


def ensure_room(folder: Path, wanted: int) -> None:
    """Raise CopyFailed where a copy would fill the disk: a full disk would stop the book itself."""
    free = shutil.disk_usage(folder).free
    if free < wanted:
        raise CopyFailed(disk_full(folder, f"{_megabytes(wanted)} are needed, {_megabytes(free)} are free"))


def _megabytes(size: int) -> str:
    return f"{max(1, round(size / 1e6))} MB"


def disk_full(folder: Path, detail: str) -> str:
    return (
        f"The disk of {folder} is full ({detail}). Delete what is not needed there. "
        "The copies made before are kept."
    )


def in_words(error: Exception, folder: Path) -> str:
    """Say what went wrong with writing into ``folder``, and the remedy."""
    if isinstance(error, sqlite3.Error):
        if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_FULL:
            return disk_full(folder, str(error))
        return f"The database cannot be copied into {folder}: {error}."
    assert isinstance(error, OSError)
    if error.errno in {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}:
        return disk_full(folder, str(error.strerror))
    return f"{folder} cannot be written ({error.strerror}): choose a folder that you may write to."
