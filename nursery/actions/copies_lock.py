"""Who holds the data folder: the running program, or a restore. A lock ends with the process that has it."""

import contextlib
import os
import time
from collections.abc import Iterator
from pathlib import Path

LOCK_FILE = "running.lock"
_SECONDS_TO_GET_IT = 1.0


class FolderInUse(Exception):
    """Another process holds the data folder."""


@contextlib.contextmanager
def hold_folder(data_dir: Path) -> Iterator[None]:
    """Hold the data folder; FolderInUse if another process does."""
    with _held(data_dir / LOCK_FILE, _SECONDS_TO_GET_IT) as is_held:
        if not is_held:
            raise FolderInUse(
                f"Takebook is running on {data_dir}: end it first (Ctrl-C in its terminal, or stop its "
                "service)."
            )
        yield


@contextlib.contextmanager
def hold_copies(folder: Path) -> Iterator[bool]:
    """Hold the folder of copies; yields False if another process is making one."""
    with _held(folder / ".lock", 0) as is_held:
        yield is_held


def is_running(data_dir: Path) -> bool:
    """True while the program, or a restore, holds the data folder."""
    with _held(data_dir / LOCK_FILE, 0) as is_held:
        return not is_held


@contextlib.contextmanager
def _held(path: Path, patience: float) -> Iterator[bool]:
    handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        yield _lock(handle, patience)
    finally:
        os.close(handle)


def _lock(handle: int, patience: float) -> bool:
    try:
        import fcntl
    except ImportError:  # no such locks on this system: restoring still asks the database who has it open
        return True
    end = time.monotonic() + patience
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            if time.monotonic() >= end:
                return False
            time.sleep(0.05)  # somebody may only have looked whether it is held
        else:
            return True
