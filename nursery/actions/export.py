"""The export of everything: one ZIP of CSV files or one XLSX workbook, written row by row.

It shows the book as it stood at one moment, however long the writing takes and whatever is entered
meanwhile; it keeps nobody from writing; and it holds a few thousand rows in memory at a time.
"""

import contextlib
import io
import os
import textwrap
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from django.db import connections, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from nursery.actions.export_tables import Table, export_tables
from nursery.actions.job_line import Outcome, Progress
from nursery.actions.jobs import jobs_folder
from nursery.actions.sheets import Workbook, moment, write_csv
from nursery.models import Farm, Job

SNAPSHOT = "snapshot"
_STEP = 200  # rows between two safe points
ABOUT = gettext_lazy(
    "Each file is a table: CSV, UTF-8, commas, a header. A row is named by its code, UUID, key or name, "
    "and by the same in every other table. Days are year-month-day on the farm's calendar, moments are ISO "
    "8601 in UTC, yes and no are 1 and 0; lists and values of several parts are JSON. A text that a "
    "spreadsheet would take for a formula has an apostrophe before it. Passwords are not in here."
)


@contextlib.contextmanager
def snapshot() -> Iterator[str]:
    """Yield the alias of a connection that sees the book as it stood when the block was entered.

    On SQLite it takes no lock (DEFERRED, where the program's own connections are IMMEDIATE): in WAL mode
    readers and the writer do not wait for each other.
    """
    settings = connections.settings["default"]
    options = dict(settings.get("OPTIONS", {}))
    if connections["default"].vendor == "postgresql":
        from psycopg import IsolationLevel

        options["isolation_level"] = IsolationLevel.REPEATABLE_READ
    else:
        options["transaction_mode"] = "DEFERRED"
    connections.settings[SNAPSHOT] = {**settings, "OPTIONS": options}
    try:
        with transaction.atomic(using=SNAPSHOT):
            Farm.objects.using(SNAPSHOT).exists()  # from the first reading on it sees nothing newer
            yield SNAPSHOT
    finally:
        connections[SNAPSHOT].close()
        del connections[SNAPSHOT]
        del connections.settings[SNAPSHOT]


def export_csv_for_job(job: Job, progress: Progress) -> Outcome:
    """Long work: everything as CSV files in one ZIP archive."""
    return _export(job, progress, write_zip)


def export_xlsx_for_job(job: Job, progress: Progress) -> Outcome:
    """Long work: everything as one workbook."""
    return _export(job, progress, write_workbook)


def undo_export_for_job(job: Job) -> None:
    """Remove what an export has written that ended without a result."""
    for path in (_target(job), _part(job)):
        path.unlink(missing_ok=True)


def _target(job: Job) -> Path:
    ending = "xlsx" if job.kind == "export_xlsx" else "zip"
    return jobs_folder() / f"takebook-{job.asked_at:%Y-%m-%d}-{job.key.hex[:8]}.{ending}"


def _part(job: Job) -> Path:
    return jobs_folder() / f"{job.key}.part"


Write = Callable[[Path, str, Callable[[int], None]], None]


def _export(job: Job, progress: Progress, write: Write) -> Outcome:
    target, part = _target(job), _part(job)
    with snapshot() as using:
        total = sum(table.count(using) for table in export_tables())
        progress.expect(total)
        part.touch(mode=0o600)
        write(part, using, progress.step)
    os.replace(part, target)
    words = ngettext("%(rows)d row in %(tables)d tables.", "%(rows)d rows in %(tables)d tables.", total)
    said = {"rows": total, "tables": len(export_tables())}
    return Outcome(words % said, {**said, "bytes": target.stat().st_size}, target.name)


def write_zip(target: Path, using: str, step: Callable[[int], None]) -> None:
    """Write every table as a CSV file into a ZIP archive, with a README."""
    now = timezone.now()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for table in export_tables():
            with _entry(archive, f"{table.name}.csv") as out:
                write_csv(out, table.header, counted(table.rows(using), step))
        with _entry(archive, "README.txt") as out:
            out.write(readme(moment(now)))


@contextlib.contextmanager
def _entry(archive: zipfile.ZipFile, name: str) -> Iterator[io.TextIOWrapper]:
    info = zipfile.ZipInfo(name, timezone.localtime().timetuple()[:6])
    info.compress_type, info.external_attr = zipfile.ZIP_DEFLATED, 0o600 << 16
    with (
        archive.open(info, "w", force_zip64=True) as raw,
        io.TextIOWrapper(raw, encoding="utf-8-sig", newline="") as out,
    ):
        yield out


def write_workbook(target: Path, using: str, step: Callable[[int], None]) -> None:
    """Write every table as a sheet of a workbook, after one that says what each column is."""
    book = Workbook()
    tables = export_tables()
    about = [(table.name, column.name, column.words) for table in tables for column in table.columns]
    book.add("README", ("table", "column", "what it is"), about)
    for table in tables:
        book.add(table.name, table.header, counted(table.rows(using), step))
    with target.open("wb") as out:
        book.save(out)


def counted(rows: Iterator[Any], step: Callable[[int], None]) -> Iterator[Any]:
    """Yield rows, and call ``step`` with their number now and then."""
    number = 0
    for number, row in enumerate(rows, 1):
        yield row
        if number % _STEP == 0:
            step(_STEP)
    step(number % _STEP)


def readme(made_at: str) -> str:
    """Return what the file beside the tables says of them."""
    lines = [
        _("Everything in the book of this farm, as it stood at %s.") % made_at,
        "",
        *textwrap.wrap(str(ABOUT), 100),
        "",
    ]
    for table in export_tables():
        lines += [f"{table.name}.csv", f"  {table.words}", *_column_lines(table), ""]
    return "\r\n".join(lines)


def _column_lines(table: Table) -> Iterator[str]:
    width = max(len(column.name) for column in table.columns)
    for column in table.columns:
        yield f"    {column.name:<{width}}  {column.words}"
