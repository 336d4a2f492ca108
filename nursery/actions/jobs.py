"""Long work: ask for it, stop it, see that it goes on.

What takes longer than a second is done by a process of its own (``manage.py run_job``), so that the one
worker which takes the taps is never busy with it. One piece of long work is done at a time; the others wait
in line. How a piece is done stands in ``job_line``, what can be done in ``job_kinds``.
"""

import contextlib
import os
import subprocess
import sys
import time
from collections.abc import Mapping
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any
from uuid import UUID

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.models import Account, Job

FOLDER = "jobs"
# A process says every few seconds that it lives. Another's large write may keep it waiting for 20 of them.
SILENT = timedelta(seconds=30)
STARTING = timedelta(seconds=10)
KEPT = timedelta(days=7)
TITLES: dict[str, Promise] = {
    "tally_look": gettext_lazy("Look at a table of past seasons"),
    "tally_import": gettext_lazy("Bring in past seasons"),
    "export_csv": gettext_lazy("Everything as CSV tables"),
    "export_xlsx": gettext_lazy("Everything as an XLSX workbook"),
}

_processes: list[subprocess.Popen[bytes]] = []
_started_at: float | None = None


def title_of(job: Job) -> str:
    """Say what a piece of long work is."""
    return str(TITLES.get(job.kind, job.kind))


def jobs_folder() -> Path:
    """Return the folder of what long work reads and writes, made if missing; its owner's alone."""
    folder = settings.DATA_DIR / FOLDER
    folder.mkdir(mode=0o700, exist_ok=True)
    return Path(folder)


def given_file(job: Job) -> Path:
    """Return where the file lies that was given with a piece of work."""
    return jobs_folder() / f"{job.key}.given"


def made_file(job: Job) -> Path | None:
    """Return the file that a piece of work made, if it is kept still."""
    path = jobs_folder() / Path(job.file_name).name if job.file_name else None
    return path if path and path.is_file() else None


@transaction.atomic
def ask_for(
    kind: str, params: Mapping[str, Any], account: Account | None, *, content: bytes | None = None
) -> Job:
    """Put a piece of long work into the line, with the file it is about; a process begins at the commit."""
    if kind not in TITLES:
        raise ValueError(f"kind must be one of {', '.join(TITLES)}, got {kind!r}")
    now = timezone.now()
    _drop_old_files(now.timestamp())
    job = Job(kind=kind, params=dict(params), asked_by=account, asked_at=now)
    if content is not None:
        path = given_file(job)
        path.touch(mode=0o600)
        path.write_bytes(content)
    job.save()
    transaction.on_commit(partial(start_process, job.key))
    return job


def ask_again(job: Job, account: Account | None) -> Job:
    """Ask anew for work that ended without a result; ValidationError if it did not, or its file is gone."""
    if job.state not in {Job.State.FAILED, Job.State.CANCELLED}:
        raise ValidationError(_("This has not failed: there is nothing to start again."), code="state")
    path = given_file(job)
    if path.is_file():
        return ask_for(job.kind, job.params, account, content=path.read_bytes())
    if job.kind.startswith("tally"):
        raise ValidationError(_("The table is no longer kept: choose the file again."), code="file")
    return ask_for(job.kind, job.params, account)


@transaction.atomic
def cancel_job(job: Job) -> None:
    """Take waiting work out of the line; ask work under way to stop at its next safe point."""
    mine = Job.objects.filter(pk=job.pk)
    cancelled = {"state": Job.State.CANCELLED, "ended_at": timezone.now(), "is_cancel_asked": True}
    if not mine.filter(state=Job.State.WAITING).update(**cancelled):
        mine.filter(state=Job.State.RUNNING).update(is_cancel_asked=True)


def see_to_jobs() -> None:
    """Start a process if work stands still: the one that did it died, or none ever came."""
    now = timezone.now()
    under_way = list(Job.objects.under_way())
    if any(is_lively(job) for job in under_way):
        return
    running = any(job.state == Job.State.RUNNING for job in under_way)
    if running or any(job.asked_at < now - STARTING for job in under_way):
        recently = _started_at is not None and time.monotonic() - _started_at < STARTING.total_seconds()
        if not recently:
            start_process(under_way[-1].key)


def is_lively(job: Job) -> bool:
    """True while the process of work under way says that it lives."""
    heard_at = job.seen_at if job.state == Job.State.RUNNING else None
    return heard_at is not None and heard_at > timezone.now() - SILENT


def start_process(key: UUID) -> None:
    """Start the process that does what stands in the line, detached from this one."""
    global _started_at
    _processes[:] = [process for process in _processes if process.poll() is None]  # reaps the ended
    _started_at = time.monotonic()
    process = subprocess.Popen(
        [sys.executable, str(settings.BASE_DIR / "manage.py"), "run_job", str(key)],
        env={**os.environ, "TAKEBOOK_DATA": str(settings.DATA_DIR)},
        stdin=subprocess.DEVNULL,
        start_new_session=True,  # the end of the program, or Ctrl-C in its terminal, is not for it
    )
    _processes.append(process)


def _drop_old_files(now: float) -> None:
    for path in jobs_folder().iterdir():
        with contextlib.suppress(OSError):  # another process drops them too
            if path.stat().st_mtime < now - KEPT.total_seconds():
                path.unlink()
