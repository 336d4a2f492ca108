"""Rows of past seasons a second, against the same rows poured into the same tables by hand."""

import time
from collections.abc import Iterator
from datetime import date

from django.db import connection, transaction
from django.utils import timezone

from nursery.actions.job_line import Progress
from nursery.actions.jobs import ask_for
from nursery.actions.tallies import import_for_job, options_as_data
from nursery.actions.tally_file import COLUMNS
from nursery.actions.tally_plan import TallyOptions
from nursery.management.bench.figures import Measured, Row
from nursery.models import DayCount, Flat, Job, Run, TallyRow

TABLES = (Flat, Run, TallyRow, DayCount)


def measure_import(*, repeats: int, rows: int) -> Iterator[Row]:
    """Yield how many rows of a table are read, compared, stored and counted in a second."""
    ours, floor = [], []
    for repeat in range(repeats):
        ours.append(_rows_a_second(rows, f"B{repeat}"))
        floor.append(_poured_a_second(rows))
    yield Row(
        "import",
        "rows of past seasons a second, read, compared, stored in short transactions and counted / the same "
        "rows inserted by executemany into the same four tables in one transaction",
        Measured("rows/s", tuple(ours)), Measured("rows/s", tuple(floor)),
        note="while it goes on, others write: it pauses between its transactions on SQLite",
        more={"rows": rows},
    )  # fmt: skip


def _rows_a_second(rows: int, name: str) -> float:
    lines = [",".join(COLUMNS)]
    lines += [
        f"Spring 2020,{name}-{n},Crop,Scion {n % 50},Stock {n % 9},splice,Worker {n % 40},"
        f"2020-03-{1 + n % 28:02d},2020-04-{1 + n % 28:02d},72,{60 + n % 12},{n % 3}"
        for n in range(rows)
    ]
    options = options_as_data(TallyOptions(date(2020, 12, 31)))
    with transaction.atomic():
        job = ask_for("tally_import", options, None, content="\n".join(lines).encode())
        transaction.set_rollback(True)  # so that no process begins it
    job.pk, job.state, job.started_at = None, Job.State.RUNNING, timezone.now()
    job.save()
    began = time.perf_counter()
    outcome = import_for_job(job, Progress(job))
    seconds = time.perf_counter() - began
    Job.objects.filter(pk=job.pk).update(state=Job.State.DONE, message=outcome.message)
    return rows / seconds


def _poured_a_second(rows: int) -> float:
    """Copy the rows just stored out of the four tables, and time pouring them in again (then undone)."""
    held = {}
    with connection.cursor() as cursor:
        for model in TABLES:
            columns = [str(field.column) for field in model._meta.concrete_fields]
            table, named = model._meta.db_table, ", ".join(columns)
            cursor.execute(f"SELECT {named} FROM {table} ORDER BY id DESC LIMIT %s", [rows])
            places = ", ".join(["%s"] * len(columns))
            held[table] = (f"INSERT INTO {table} ({named}) VALUES ({places})", cursor.fetchall())
        with transaction.atomic():
            for table in reversed(held):
                keys = [row[0] for row in held[table][1]]
                cursor.execute(f"DELETE FROM {table} WHERE id BETWEEN %s AND %s", [min(keys), max(keys)])
            began = time.perf_counter()
            for sql, values in held.values():
                cursor.executemany(sql, _adapted(values))
            seconds = time.perf_counter() - began
            transaction.set_rollback(True)
    return rows / seconds


def _adapted(values: list[tuple[object, ...]]) -> list[tuple[object, ...]]:
    """PostgreSQL gives JSON as Python objects back, which it does not take; the tallies hold none."""
    return [tuple(None if isinstance(one, list | dict) else one for one in row) for row in values]
