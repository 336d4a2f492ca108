"""A book of invented counts, as large as wanted, to measure reports with.

It holds flats, runs and their counts by day, as a nursery of that size would have them after some seasons,
and no cells and no marks, as no report reads those. It is for an empty database that is thrown away.

Ten million cells are 140,000 flats, 200,000 runs of 50 and 600,000 counts: two early looks and the record.
One run in 50 waits for its record, one in 50 was sold from before it, one in 200 before day 7. The same
``cells`` and ``seed`` give the same counts.
"""

import random
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import islice
from typing import Any

from django.core.exceptions import ValidationError
from django.db import connection, models, transaction
from django.utils.translation import gettext as _

from nursery.calc.codes import FLAT, check_character, encode
from nursery.models import (
    Crop,
    Cultivar,
    DayCount,
    Flat,
    Layout,
    Pairing,
    Run,
    Season,
    Session,
    TrayFormat,
    Worker,
)

CELLS_PER_RUN = 50
RUNS_PER_FLAT = 10 / 7
PAIRINGS, WORKERS, FLATS_PER_SESSION = 500, 40, 60
SEASONS = 4
FIRST_DAY = date(2020, 2, 1)
LOOKS = (3, 7, 14)
_TOGETHER = 5000


@dataclass(frozen=True, slots=True)
class SyntheticBook:
    """How much was written."""

    cells: int
    flats: int
    runs: int
    counts: int


@dataclass(frozen=True, slots=True)
class _Cast:
    """Keys of what runs refer to."""

    pairings: Sequence[int]
    workers: Sequence[int]
    seasons: Sequence[int]
    sessions: Sequence[int]


def make_synthetic_book(cells: int, *, seed: int = 1) -> SyntheticBook:
    """Fill an empty database with the counts of ``cells`` grafts; ValidationError if it holds any flat."""
    book = _write_book(cells, seed)
    _settle()
    return book


@transaction.atomic
def _write_book(cells: int, seed: int) -> SyntheticBook:
    if Flat.objects.exists():
        raise ValidationError(_("This book holds flats already: invented counts go into an empty one only."))
    rng = random.Random(seed)
    runs_count = max(1, cells // CELLS_PER_RUN)
    flats_count = max(1, round(runs_count / RUNS_PER_FLAT))
    cast = _make_cast(rng, flats_count)
    _pour(Flat, ("id", "code", "tray_format_id", "layout_id", "created_at"), _flats(flats_count))
    plan = _plan(rng, cast, flats_count, runs_count)
    _pour(
        Run,
        ("id", "flat_id", "number", "session_id", "pairing_id", "method", "grafted_on", "worker_id",
         "finished_at"),
        (_run_row(run) for run in plan),
    )  # fmt: skip
    columns = (
        "flat_id", "run_id", "day", "pairing_id", "season_id", "grafted", "seen", "alive", "wilting", "dead",
        "gone", "gone_early", "is_closed", "is_record",
    )  # fmt: skip
    counts = _pour(DayCount, columns, (row for run in plan for row in _counts(rng, run)))
    return SyntheticBook(runs_count * CELLS_PER_RUN, flats_count, runs_count, counts)


@dataclass(slots=True)
class _Run:
    id: int
    flat: int
    number: int
    session: int
    pairing: int
    season: int
    worker: int | None
    grafted_on: date
    rate: float


def _make_cast(rng: random.Random, flats_count: int) -> _Cast:
    """Make crops, cultivars, pairings, workers, seasons and sessions by the common way: they are few."""
    crops = [Crop.objects.get_or_create(name=f"Crop {number}")[0] for number in range(1, 5)]
    scions = [_cultivar(rng.choice(crops), f"Scion {number}") for number in range(50)]
    stocks = [_cultivar(crops[0], f"Rootstock {number}") for number in range(10)]
    pairings = [Pairing.objects.create(scion=a, rootstock=b).pk for a in scions for b in stocks][:PAIRINGS]
    workers = [Worker.objects.create(name=f"Worker {number}").pk for number in range(WORKERS)]
    seasons = [
        Season.objects.create(
            name=f"Year {day.year}",
            starts_on=day.replace(month=1, day=1),
            ends_on=day.replace(month=12, day=31),
        ).pk
        for day in (FIRST_DAY.replace(year=FIRST_DAY.year + number) for number in range(SEASONS))
    ]
    sessions = [
        Session.objects.create(started_at=_noon(FIRST_DAY), ended_at=_noon(FIRST_DAY)).pk
        for _number in range(flats_count // FLATS_PER_SESSION + 1)
    ]
    return _Cast(pairings, workers, seasons, sessions)


def _cultivar(crop: Crop, name: str) -> Cultivar:
    return Cultivar.objects.create(crop=crop, name=name)


def _flats(count: int) -> Iterator[tuple[Any, ...]]:
    tray = TrayFormat.objects.get_or_create(name="72", defaults={"rows": 6, "columns": 12})[0]
    layout = Layout.objects.get_or_create(name="Every cell", defaults={"pattern": Layout.Pattern.EVERY})[0]
    created_at = _noon(FIRST_DAY)
    number = 0
    for key in range(1, count + 1):
        number, code = _next_code(number)
        yield key, code, tray.pk, layout.pk, created_at


def _next_code(number: int) -> tuple[int, str]:
    """Return the next number of which the check is no sign, and its code."""
    first = 15 * 32**5  # F, the first of six characters
    while True:
        number += 1
        check = check_character(first + number)
        if check.isalnum() and check != "U":
            return number, FLAT + encode(number).rjust(5, "0") + check


def _plan(rng: random.Random, cast: _Cast, flats_count: int, runs_count: int) -> list[_Run]:
    """Spread the runs over the flats: each flat has one, and some a second."""
    runs: list[_Run] = []
    seconds = set(rng.sample(range(1, flats_count + 1), min(flats_count, runs_count - flats_count)))
    for flat in range(1, flats_count + 1):
        place = (flat - 1) * SEASONS // flats_count
        grafted_on = FIRST_DAY.replace(year=FIRST_DAY.year + place) + timedelta(days=flat % 90)
        rate = rng.betavariate(18, 2)
        pairing = rng.choice(cast.pairings)
        for number in range(1, 2 + (flat in seconds)):
            if number == 2 and rng.random() < 0.5:
                pairing = rng.choice(cast.pairings)
            runs.append(
                _Run(
                    len(runs) + 1, flat, number, cast.sessions[flat // FLATS_PER_SESSION], pairing,
                    cast.seasons[place], rng.choice([*cast.workers, None]), grafted_on, rate,
                )
            )  # fmt: skip
    return runs


def _run_row(run: _Run) -> tuple[Any, ...]:
    finished_at = _noon(run.grafted_on)
    return (run.id, run.flat, run.number, run.session, run.pairing, "splice", run.grafted_on, run.worker,
            finished_at)  # fmt: skip


def _counts(rng: random.Random, run: _Run) -> Iterator[tuple[Any, ...]]:
    """Yield the counts of a run by day: fewer alive each time, and now and then some sold."""
    total, dead, gone, early = CELLS_PER_RUN, 0, 0, 0
    at_last = sum(rng.random() >= run.rate for _cell in range(total))
    waits, sells, sells_early = (rng.random() < share for share in (0.02, 0.02, 0.005))
    for number, day in enumerate(LOOKS[:-1] if waits else LOOKS, 1):
        dead = max(dead, at_last * number // len(LOOKS))
        if sells_early and number == 1:
            gone = early = 2
        if sells and number == 2:
            gone += min(10, total - dead - gone)
        dead = min(dead, total - gone)
        alive = total - dead - gone
        yield (
            run.flat, run.id, run.grafted_on + timedelta(days=day), run.pairing, run.season, total, total,
            alive, min(alive, number % 2), dead, gone, early, True, day == LOOKS[-1],
        )  # fmt: skip


def _noon(day: date) -> datetime:
    return datetime.combine(day, time(12), UTC)


def _pour(model: type[models.Model], columns: Sequence[str], rows: Iterable[tuple[Any, ...]]) -> int:
    """Insert rows of the named columns, the others at their defaults; return how many.

    Django's own way makes an object of each and is some ten times slower.
    """
    fields = {field.attname: field for field in model._meta.concrete_fields}
    rest = [field for name, field in fields.items() if name not in columns and not field.primary_key]
    ordered = [*(fields[name] for name in columns), *rest]
    names = ", ".join(connection.ops.quote_name(str(field.column)) for field in ordered)
    table = connection.ops.quote_name(model._meta.db_table)
    count, source = 0, iter(rows)
    with connection.cursor() as cursor:
        while part := list(islice(source, _TOGETHER)):
            values = [[*row, *(field.get_default() for field in rest)] for row in part]
            ready = [
                [field.get_db_prep_save(value, connection) for field, value in zip(ordered, row, strict=True)]
                for row in values
            ]
            if connection.vendor == "postgresql":
                with cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                    for row in ready:
                        copy.write_row(row)
            else:
                marks = ", ".join(["%s"] * len(ordered))
                cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", ready)
            count += len(part)
    return count


def _settle() -> None:
    """Let PostgreSQL know how large its tables are, as it does by itself in a book that grows.

    Also set the keys to follow the last ones given. SQLite does neither by itself, and needs no setting.
    """
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        for model in (Flat, Run):
            table = model._meta.db_table
            cursor.execute(
                "SELECT setval(pg_get_serial_sequence(%s, 'id'), (SELECT max(id) FROM "
                f"{connection.ops.quote_name(table)}))",
                [table],
            )
        # Reading an index alone needs the map of what is visible, which VACUUM makes.
        cursor.execute("ANALYZE" if connection.in_atomic_block else "VACUUM ANALYZE")
