"""Do long work, one piece after the other: what waits in the line, and what a dead process left behind.

A piece of work (``Work``) stops at its safe points when it is cancelled. Whatever ends it without a result,
its ``undo`` takes out what it brought, and only then the job says that it ended: a job that says so is
finished with. A process that dies leaves its job under way without a sign of life; the next process takes it
up, undoes it and says what happened.
"""

import contextlib
import sys
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import DatabaseError, connection, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from nursery.actions.jobs import is_lively
from nursery.models import Job

WRITE_EVERY_SECONDS = 0.5
BEAT_EVERY_SECONDS = 3.0

# Set when this process was told to end (SIGTERM): the work stops at its next safe point.
ending = threading.Event()


class Stopped(Exception):
    """The work shall stop: it was cancelled, or its process was told to end."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a piece of work came to: a sentence, plain data for its page, a file in the jobs' folder."""

    message: str
    result: dict[str, Any] | None = None
    file_name: str = ""


@dataclass(frozen=True, slots=True)
class Work:
    """How one kind of work is done, and how what it brought is taken out if it ends without a result."""

    run: Callable[[Job, "Progress"], Outcome]
    undo: Callable[[Job], None]


class Progress:
    """Tells how far a piece of work is, at most twice a second, each time in a transaction of its own."""

    def __init__(self, job: Job) -> None:
        self.job, self.done, self.total = job, 0, 0
        self._written_at = 0.0

    def expect(self, total: int) -> None:
        self.done, self.total = 0, total
        self._written_at = 0.0
        self.step(0)

    def step(self, done: int = 1) -> None:
        """Note that so much more is done. A safe point: Stopped if the work shall not go on."""
        self.done += done
        if ending.is_set():
            raise Stopped(_("The program was stopped while this was under way."))
        if time.monotonic() - self._written_at >= WRITE_EVERY_SECONDS:
            self._write()

    def _write(self) -> None:
        self._written_at = time.monotonic()
        mine = Job.objects.filter(pk=self.job.pk, state=Job.State.RUNNING)
        done = min(self.done, self.total) if self.total else self.done
        if not mine.update(done_count=done, total_count=self.total, seen_at=timezone.now()):
            raise Stopped(_("Another process took this for dead."))
        if mine.filter(is_cancel_asked=True).exists():
            raise Stopped


@contextlib.contextmanager
def beating(job: Job) -> Iterator[None]:
    """Say every few seconds that the process of a job lives, from a thread with its own connection."""
    over = threading.Event()

    def beat() -> None:
        while not over.wait(BEAT_EVERY_SECONDS):
            with contextlib.suppress(DatabaseError):  # the next beat may get through
                Job.objects.filter(pk=job.pk, state=Job.State.RUNNING).update(seen_at=timezone.now())
        connection.close()

    thread = threading.Thread(target=beat, name="job", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


Heart = Callable[[Job], contextlib.AbstractContextManager[None]]


def run_line(kinds: dict[str, Work], *, heart: Heart = beating) -> int:
    """Do what waits until nothing does, or until another process is at it; return how much was done."""
    count = 0
    while not ending.is_set() and (claim := claim_next()):
        job, is_left = claim
        with heart(job):
            if is_left:
                _end_left(job, kinds[job.kind])
            else:
                _do(job, kinds[job.kind])
        count += 1
    return count


@transaction.atomic
def claim_next() -> tuple[Job, bool] | None:
    """Take the first piece of work in line, or one that a dead process left (and say which it is)."""
    rows = list(Job.objects.select_for_update().under_way().order_by("pk"))
    running = [job for job in rows if job.state == Job.State.RUNNING]
    if any(is_lively(job) for job in running) or not rows:
        return None
    job, now = (running or rows)[0], timezone.now()
    if not running:
        job.state, job.started_at = Job.State.RUNNING, now
    job.seen_at = now
    job.save(update_fields=["state", "started_at", "seen_at"])
    return job, bool(running)


def _do(job: Job, work: Work) -> None:
    progress = Progress(job)
    try:
        outcome = work.run(job, progress)
        if not _end(
            job,
            Job.State.DONE,
            message=outcome.message,
            result=outcome.result,
            file_name=outcome.file_name,
            done_count=progress.total,
            total_count=progress.total,
        ):
            raise Stopped(_("Another process took this for dead."))
    except Stopped as stop:
        work.undo(job)
        said = str(stop)
        state = Job.State.FAILED if said else Job.State.CANCELLED
        _end(job, state, message=_nothing_kept(said), result=None)
    except Exception as error:
        words = fault_in_words(error)
        work.undo(job)
        _end(job, Job.State.FAILED, message=words, result=None)


def _end_left(job: Job, work: Work) -> None:
    work.undo(job)
    if job.is_cancel_asked:
        _end(job, Job.State.CANCELLED, message=_nothing_kept(""), result=None)
    else:
        said = _("The process that did this ended in the middle: the program or the machine was stopped.")
        _end(job, Job.State.FAILED, message=_nothing_kept(said), result=None)


def _end(job: Job, state: str, **said: Any) -> bool:
    mine = Job.objects.filter(pk=job.pk, state=Job.State.RUNNING)
    return bool(mine.update(state=state, ended_at=timezone.now(), **said))


def _nothing_kept(said: str) -> str:
    return " ".join(filter(None, [said, _("Nothing of it was kept. It can be started again.")]))


def fault_in_words(error: Exception) -> str:
    """Say in plain words why work failed; what only a programmer can mend goes to the terminal as well."""
    if isinstance(error, ValidationError):
        return "\n".join(error.messages)
    traceback.print_exception(error, file=sys.stderr)
    if isinstance(error, OSError):
        said = _("A file could not be read or written (%s). See whether the disk is full.") % error
    elif isinstance(error, DatabaseError):
        said = _("The database could not do this: %s") % str(error).strip()
    else:
        said = _("It broke down (%s). The terminal of the program says more.") % type(error).__name__
    return _nothing_kept(said)
