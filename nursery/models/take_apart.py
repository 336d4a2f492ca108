"""Read what stands apart in a take report: runs without a record, and on which days plants left.

The runs are found among their like, by a look into the index of records for each; then their counts are read
by their keys. So no more counts are read than are shown.
"""

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from django.db import connection
from django.db.models import Exists, F, Model, OuterRef, QuerySet

from nursery.models.bench import Run
from nursery.models.check import DayCount
from nursery.models.take_cuts import COUNTS, RUNS, RowKey
from nursery.models.take_rows import RowNames, parted


@dataclass(slots=True)
class WaitingRun:
    """A run without a record.

    ``complete`` is its last closed count of all its plants: the day after grafting, plants grafted, alive
    and wilting. ``part_seen`` is its last closed count if that is of a part: day, seen, grafted.
    ``is_first_of_flat`` marks one run of each flat in which no run of the row has its record.
    """

    crop: int
    key: RowKey
    flat: int
    grafted_on: date
    is_first_of_flat: bool = False
    left_early: int = 0
    complete: tuple[int, ...] | None = None
    part_seen: tuple[int, ...] | None = None


def read_waiting(runs: QuerySet[Run], names: RowNames) -> list[WaitingRun]:
    """Return those of ``runs`` that wait for their record, with their last counts."""
    record = Exists(DayCount.objects.records().filter(run=OuterRef("pk")))
    rows, parts = parted(runs.filter(~record), names, RUNS)
    waiting = {
        run: WaitingRun(*names.row(*who), flat, grafted_on)
        for *who, run, flat, grafted_on in rows.values_list(*parts, "pk", "flat_id", "grafted_on")
    }
    _mark_flats(waiting, runs.filter(record), names)
    numbers = ("day", "grafted", "seen", "alive", "wilting", "gone", "gone_early")
    counts = _of_runs(DayCount.objects.filter(is_closed=True), waiting, "run_id", "flat_id", *numbers)
    # Plants that were moved on are counted in the flat where they were grafted.
    here = [(run, *count) for run, flat, *count in counts if waiting[run].flat == flat]
    for run, days in groupby(sorted(here, reverse=True), key=lambda row: row[0]):
        _add_counts(waiting[run], [row[1:] for row in days])
    return list(waiting.values())


def _mark_flats(waiting: dict[int, WaitingRun], recorded: QuerySet[Run], names: RowNames) -> None:
    flats = {run.flat for run in waiting.values()}
    rows, parts = parted(recorded, names, RUNS)
    counted = set()
    for *who, flat in _among(rows, Run, "flat_id", flats).values_list(*parts, "flat_id"):
        counted.add((*names.row(*who), flat))
    for run in waiting.values():
        run.is_first_of_flat = (run.crop, run.key, run.flat) not in counted
        counted.add((run.crop, run.key, run.flat))


def _add_counts(run: WaitingRun, days: list[tuple[Any, ...]]) -> None:
    """Take over the counts of a run, the last day first."""
    run.left_early = days[0][-1]
    for number, (day, grafted, seen, alive, wilting, gone, early) in enumerate(days):
        age = (day - run.grafted_on).days
        if seen < grafted:
            if number == 0:
                run.part_seen = (age, seen, grafted)
            continue
        if grafted > early:
            run.complete = (age, grafted - early, alive + gone - early, wilting)
        return


def read_left_late(
    counts: QuerySet[DayCount], names: RowNames
) -> Iterator[tuple[int, RowKey, dict[int, int]]]:
    """Yield crop, row and, by day after grafting, the plants that had left and count as alive in a record."""
    rows, parts = parted(counts.records().filter(gone__gt=F("gone_early")), names, COUNTS)
    records = {
        run: (names.row(*who), flat, last_day, grafted_on)
        for *who, run, flat, last_day, grafted_on in rows.values_list(
            *parts, "run_id", "flat_id", "day", "run__grafted_on"
        )
    }
    gone: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for run, flat, day, left, early in _of_runs(
        DayCount.objects.all(), records, "run_id", "flat_id", "day", "gone", "gone_early"
    ):
        _row, own_flat, last_day, grafted_on = records[run]
        if flat == own_flat and day <= last_day:
            gone[run].append(((day - grafted_on).days, left - early))
    for run, by_day in gone.items():
        (crop, key), *_rest = records[run]
        yield crop, key, leaving_days(sorted(by_day))


def _of_runs(counts: QuerySet[Any], runs: Iterable[int], *columns: str) -> Iterable[tuple[Any, ...]]:
    return _among(counts, DayCount, "run_id", runs).order_by().values_list(*columns)


def _among(rows: QuerySet[Any], model: type[Model], column: str, keys: Iterable[int]) -> QuerySet[Any]:
    """Keep the rows of which ``column`` is one of any number of keys, sent to the database as one value.

    Each key of ``__in`` is a value of its own: slow for thousands, and refused for more than SQLite takes.
    """
    name = f'"{model._meta.db_table}"."{column}"'
    ordered = sorted(keys)
    if connection.vendor == "postgresql":
        return rows.extra(where=[f"{name} = ANY(%s)"], params=[ordered])
    return rows.extra(where=[f"{name} IN (SELECT value FROM json_each(%s))"], params=[json.dumps(ordered)])


def leaving_days(gone_by_day: list[tuple[int, int]]) -> dict[int, int]:
    """Return how many of the plants gone on the last day had left on each day.

    ``gone_by_day`` is (day, plants gone by then), by day; a leaving taken back may make the number fall.
    """
    left: dict[int, int] = {}
    later = gone_by_day[-1][1]
    for (day, _gone), (_before, gone_before) in zip(
        reversed(gone_by_day), [*reversed(gone_by_day[:-1]), (0, 0)], strict=True
    ):
        stayed_gone = min(later, gone_before)
        if later > stayed_gone:
            left[day] = later - stayed_gone
        later = stayed_gone
    return left
