"""Run the benchmarks in a book of their own, made for them and thrown away."""

import json
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import django
from django.conf import settings
from django.core.management import call_command
from django.db import connection

from nursery.management.bench import servers
from nursery.management.bench.figures import Row

MARK = "bench-book"  # a file in the data folder of a book that may be filled and thrown away
PARTS = (
    "batch", "clients", "load", "tap", "takes", "page", "labels", "import", "worker", "readings", "planning",
)  # fmt: skip
NOT_YET = {
    "readings": ("readings a second / raw insert", "no readings are taken in yet"),
    "planning": ("smallest-N planning / one-pass floor", "planning is not built yet"),
}


class CannotMeasure(Exception):
    """Why nothing was measured, in words."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What shall be measured."""

    cells: list[int] = field(default_factory=lambda: [1_000_000, 10_000_000])
    only: list[str] = field(default_factory=list)
    is_quick: bool = False
    seconds: float = 60.0
    repeats: int = 3
    with_postgres: bool = False
    database: str = ""

    def parts(self) -> list[str]:
        return [part for part in PARTS if not self.only or part in self.only]


def measure(wish: Wish, tell: Callable[[str], None]) -> dict[str, Any]:
    """Make the books, measure in processes of their own, and return everything as plain data."""
    rows: list[dict[str, Any]] = []
    machine: dict[str, Any] = {}
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="takebook-bench-")))
        folder.chmod(0o711)  # the PostgreSQL of the wheel may run as another user
        address = wish.database or (
            stack.enter_context(servers.postgres(folder)) if wish.with_postgres else ""
        )
        for number, job in enumerate(_jobs(wish)):
            tell(f"-- {', '.join(job.parts())}" + (f", {job.cells[0]:,} cells" if job.cells else ""))
            url = _new_database(address, number) if address else None
            said = _in_its_own_process(job, folder / f"book{number}", url, tell)
            rows += said["rows"]
            machine = said["machine"]
    rows += [_growth_row(one) for one in _growth(rows)]
    return {
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "machine": machine,
        "wish": {key: value for key, value in asdict(wish).items() if key != "database"},
        "rows": rows,
        "summary": [f"{row['name']}: {row['status']}" for row in rows],
    }


def _jobs(wish: Wish) -> Iterator[Wish]:
    """Yield what is measured in one book: each size of the report needs an empty one."""
    rest = [part for part in wish.parts() if part != "takes"]
    options = {"is_quick": wish.is_quick, "seconds": wish.seconds, "repeats": wish.repeats}
    for part in rest:
        if part not in NOT_YET:
            yield Wish(cells=[], only=[part], **options)
    if "takes" in wish.parts():
        for cells in wish.cells:
            yield Wish(cells=[cells], only=["takes"], **options)
    if any(part in NOT_YET for part in rest):
        yield Wish(cells=[], only=[part for part in rest if part in NOT_YET], **options)


def _new_database(address: str, number: int) -> str:
    """Make an empty database beside the one at ``address``, which stays as it is."""
    import psycopg

    name = f"takebook_bench_{os.getpid()}_{number}"
    with psycopg.connect(address, autocommit=True) as server:
        server.execute(f"DROP DATABASE IF EXISTS {name}")
        server.execute(f"CREATE DATABASE {name}")
    return f"{address.rsplit('/', 1)[0]}/{name}"


def _in_its_own_process(
    job: Wish, data: Path, url: str | None, tell: Callable[[str], None]
) -> dict[str, Any]:
    data.mkdir()
    (data / MARK).touch()
    process = subprocess.Popen(
        [sys.executable, str(settings.BASE_DIR / "manage.py"), "bench", "--inside", json.dumps(asdict(job))],
        env=dict(servers.environment(data, url)), stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    out, _error = process.communicate()
    if process.returncode:
        raise CannotMeasure(f"{', '.join(job.only)} could not be measured; see above.")
    said: dict[str, Any] = json.loads(out)
    return said


def measure_inside(job: Wish, tell: Callable[[str], None]) -> dict[str, Any]:
    """Measure within the process and the book that were made for it."""
    if not (settings.DATA_DIR / MARK).is_file() or connection.introspection.table_names():
        raise CannotMeasure("This is no empty book made for measuring: nothing was touched.")
    rows = []
    call_command("migrate", verbosity=0)
    call_command("collectstatic", interactive=False, verbosity=0)
    for row in _rows(job):
        tell(str(row))
        rows.append(row.as_data())
    return {"rows": rows, "machine": machine()}


def _rows(job: Wish) -> Iterator[Row]:
    from nursery.management.bench import clients, imports, load, pages, processes, reports, tapping, taps

    quick, repeats = job.is_quick, job.repeats
    measures: dict[str, Callable[[], Iterator[Row]]] = {
        "batch": lambda: taps.measure_batches(repeats=repeats, times=5 if quick else 60),
        "clients": lambda: clients.measure_clients(seconds=job.seconds, repeats=repeats),
        "load": lambda: load.measure_load(seconds=job.seconds, repeats=repeats),
        "tap": lambda: tapping.measure_taps(repeats=repeats, taps=20 if quick else 200),
        "takes": lambda: reports.measure_takes(job.cells[0], repeats=repeats, times=2 if quick else 5),
        "page": lambda: pages.measure_page(repeats=repeats, times=5 if quick else 60),
        "labels": lambda: pages.measure_labels(repeats=repeats, count=24 if quick else 240),
        "import": lambda: imports.measure_import(repeats=repeats, rows=200 if quick else 5000),
        "worker": lambda: processes.measure_worker(repeats=repeats, folder=settings.DATA_DIR),
    }
    for part in job.only:
        if part in measures:
            yield from measures[part]()
        else:
            what, note = NOT_YET[part]
            yield Row(part, what, note=note)


def _growth(rows: Sequence[dict[str, Any]]) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """Yield the reports of one size and of the next larger one."""
    takes = [row for row in rows if row["name"].startswith("takes-")]
    takes.sort(key=lambda row: int(row["name"][6:]))
    yield from pairwise(takes)


def _growth_row(pair: tuple[dict[str, Any], dict[str, Any]]) -> dict[str, Any]:
    from nursery.management.bench.figures import Goal, Measured

    small, large = pair
    sizes = [int(row["name"][6:]) for row in pair]
    return Row(
        f"takes-growth-{sizes[1] / sizes[0]:g}",
        f"the page of takes over {sizes[1]:,} cells / over {sizes[0]:,}",
        Measured("ms", (large["more"]["page_ms"],)), Measured("ms", (small["more"]["page_ms"],)),
        Goal(12) if sizes[1] == 10 * sizes[0] else None,
        note="two books, so the medians of two processes",
    ).as_data()  # fmt: skip


def machine() -> dict[str, Any]:
    """Return what the figures were measured on."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT sqlite_version()" if connection.vendor == "sqlite" else "SHOW server_version")
        version = cursor.fetchone()[0]
    load = os.getloadavg() if hasattr(os, "getloadavg") else None
    return {
        "processors": os.cpu_count(), "system": platform.platform(), "python": platform.python_version(),
        "django": django.get_version(), "database": f"{connection.vendor} {version}",
        "load_before": [round(one, 2) for one in load] if load else None,
    }  # fmt: skip
