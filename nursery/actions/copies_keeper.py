"""Copies by themselves while the program runs: a thread of the process that watches over the web workers.

The thread only looks whether a copy is due or asked for. Each copy is made by a process of its own, with a
low priority, so that nothing that happens to it touches the program.
"""

import contextlib
import os
import subprocess
import sys
import threading
import time
import zoneinfo
from collections.abc import Iterator
from datetime import UTC, datetime

from django.conf import settings
from django.db import DatabaseError, connections

from nursery.actions.copies_kept import forget_asking, is_copy_asked_for
from nursery.actions.copies_state import change_state, read_state
from nursery.actions.first_account import is_first_account_wanted
from nursery.calc.keeping import is_copy_due
from nursery.models import Farm

LOOK_EVERY_SECONDS = 1.0
# The morning's first minute belongs to those who log in.
SECONDS_BEFORE_FIRST = 60.0
SECONDS_BETWEEN = 60.0


@contextlib.contextmanager
def keeping_copies() -> Iterator[None]:
    """Make copies in the background until the block is left; a copy under way is then given up."""
    # Counting begins with the first start: a farm that never had a copy is told after two days.
    if read_state(settings.DATA_DIR).watched_since is None:
        change_state(settings.DATA_DIR, watched_since=datetime.now(UTC))
    ending = threading.Event()
    thread = threading.Thread(target=_watch, args=[ending], name="copies", daemon=True)
    thread.start()
    try:
        yield
    finally:
        ending.set()
        thread.join(timeout=5)


def _watch(ending: threading.Event) -> None:
    due_at = time.monotonic() + SECONDS_BEFORE_FIRST
    while not ending.wait(LOOK_EVERY_SECONDS):
        try:
            if is_copy_asked_for():
                _make(ending)
            elif time.monotonic() >= due_at:
                due_at = time.monotonic() + SECONDS_BETWEEN
                if _is_due():
                    _make(ending)
        except (OSError, DatabaseError) as error:
            print(f"The copies could not be looked after: {error}", file=sys.stderr, flush=True)
            ending.wait(SECONDS_BETWEEN)


def _is_due() -> bool:
    state = read_state(settings.DATA_DIR)
    try:
        if is_first_account_wanted():
            return False  # an empty book
        zone = zoneinfo.ZoneInfo(Farm.objects.current().time_zone)
    finally:
        connections.close_all()
    now = datetime.now(zone)
    return is_copy_due(now, at=settings.COPIES_AT, made_at=state.kept_at, tried_at=state.tried_at)


def _make(ending: threading.Event) -> None:
    """Let another process make the copy; it notes itself how it went, unless it broke down."""
    tried_at = read_state(settings.DATA_DIR).tried_at
    process = subprocess.Popen(
        [sys.executable, str(settings.BASE_DIR / "manage.py"), "backup", "--quiet"],
        env={**os.environ, "TAKEBOOK_DATA": str(settings.DATA_DIR)},
        start_new_session=True,  # Ctrl-C in the terminal is not for it
    )
    while process.poll() is None:
        if ending.wait(0.2):
            _end(process)
            return
    forget_asking()
    if process.returncode and read_state(settings.DATA_DIR).tried_at == tried_at:
        now = datetime.now(UTC)
        words = "The copy broke down; the terminal of the program says why."
        change_state(settings.DATA_DIR, tried_at=now, failed_at=now, failure=words)


def _end(process: subprocess.Popen[bytes]) -> None:
    process.terminate()
    try:
        process.wait(timeout=4)
    except subprocess.TimeoutExpired:  # within one step of a large copy; what it leaves is swept away later
        process.kill()
        process.wait()
