"""Read the counts that a take report is made of, summed by crop and row.

The database does the sums: first over the runs of a flat that fall in one row, then over the flats of a row,
with the squares that the dispersion needs. What is read into memory grows with the rows that are compared and
with the runs that still wait for their record, not with the book.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from django.db import connection
from django.db.models import Count, F, Q, QuerySet, Sum

from nursery.calc.take import GroupSums
from nursery.models.check import DayCount
from nursery.models.saleable import SaleableSums, standing_grades
from nursery.models.take_apart import read_left_late, read_waiting
from nursery.models.take_cuts import COUNTS, GRADES, RowKey
from nursery.models.take_filter import TakeFilter
from nursery.models.take_rows import RowNames, parted


@dataclass(slots=True)
class RowSums:
    """The records of one row, without the plants that left early."""

    flats: int
    runs: int
    grafted: int
    alive: int
    wilting: int
    squares: float

    @property
    def group(self) -> GroupSums:
        return GroupSums(self.flats, self.alive, self.grafted, self.squares)


@dataclass(slots=True)
class CropSums:
    """What was read of one crop.

    ``early`` and ``part`` hold, for each row and day after grafting, the counts of single runs; ``waiting``
    the number of flats of a row in which no run has its record yet.
    """

    rows: dict[RowKey, RowSums] = field(default_factory=dict)
    early: dict[tuple[RowKey, int], list[tuple[int, ...]]] = field(default_factory=lambda: defaultdict(list))
    part: dict[tuple[RowKey, int], list[tuple[int, ...]]] = field(default_factory=lambda: defaultdict(list))
    left_early: Counter[RowKey] = field(default_factory=Counter)
    left_late: dict[RowKey, Counter[int]] = field(default_factory=lambda: defaultdict(Counter))
    waiting: Counter[RowKey] = field(default_factory=Counter)
    saleable: dict[RowKey, SaleableSums] = field(default_factory=dict)


_Sums = dict[int, CropSums]


def read_takes(names: RowNames, only: TakeFilter) -> _Sums:
    """Return the sums of each crop that has any, by its id."""
    sums: _Sums = defaultdict(CropSums)
    counts = only.counts()
    _read_records(counts, names, sums)
    _read_left_early(counts, names, sums)
    _read_waiting(only, names, sums)
    for crop, key, days in read_left_late(counts, names):
        sums[crop].left_late[key].update(days)
    _read_saleable(only, names, sums)
    return sums


def _read_records(counts: QuerySet[DayCount], names: RowNames, sums: _Sums) -> None:
    for parts, row in sums_by_row(counts, names):
        if row.flats:
            crop, key = names.row(*parts)
            sums[crop].rows[key] = row


def sums_by_row(counts: QuerySet[DayCount], names: RowNames) -> Iterator[tuple[tuple[Any, ...], RowSums]]:
    """Yield each row of records with its sums, added up flat by flat in the database."""
    sql, params, width = records_sql(counts, names)
    with connection.cursor() as cursor:
        cursor.execute(sql, params)
        for row in cursor.fetchall():
            numbers = [int(value) for value in row[width:-1]]
            yield row[:width], RowSums(*numbers, squares=float(row[-1] or 0))


def records_sql(counts: QuerySet[DayCount], names: RowNames) -> tuple[str, tuple[Any, ...], int]:
    """Return the statement behind the take, its parameters, and how many columns tell the row.

    The ORM groups once, by row and flat; the second grouping, over the flats, is put around its statement. A
    flat from which all plants left early is no flat of the row.
    """
    rows, parts = parted(counts.records(), names, COUNTS)
    # Named last: led by the flat, SQLite would follow the index of all counts rather than that of records.
    of_flat = (
        rows.annotate(last_part=F("flat_id"))
        .values(*parts, "last_part")
        .annotate(
            runs=Count("run_id"),
            total=Sum(F("grafted") - F("gone_early")),
            took=Sum(F("alive") + F("gone") - F("gone_early")),
            wilts=Sum("wilting"),
        )
    )
    inner, params = of_flat.query.sql_with_params()
    columns = ", ".join(parts)
    return (
        f"SELECT {columns}, SUM(CASE WHEN total > 0 THEN 1 ELSE 0 END), SUM(runs), SUM(total), SUM(took), "
        "SUM(wilts), SUM(CAST(took AS double precision) * took / NULLIF(total, 0)) "
        f"FROM ({inner}) AS of_flat GROUP BY {columns}",
        params,
        len(parts),
    )


def _read_left_early(counts: QuerySet[DayCount], names: RowNames, sums: _Sums) -> None:
    """Note the plants that left early; a run that had no others is none of those that make the take."""
    rows, parts = parted(counts.records().filter(gone_early__gt=0), names, COUNTS)
    emptied = Count("run_id", filter=Q(grafted=F("gone_early")))
    for *who, early, runs in rows.values_list(*parts).annotate(Sum("gone_early"), emptied=emptied):
        crop, key = names.row(*who)
        sums[crop].left_early[key] += early
        if key in sums[crop].rows:
            sums[crop].rows[key].runs -= runs


def _read_waiting(only: TakeFilter, names: RowNames, sums: _Sums) -> None:
    for run in read_waiting(only.runs(), names):
        crop = sums[run.crop]
        crop.waiting[run.key] += run.is_first_of_flat
        if run.left_early:
            crop.left_early[run.key] += run.left_early
        if run.complete is not None:
            day, *counts = run.complete
            crop.early[run.key, day].append((run.flat, *counts))
        if run.part_seen is not None:
            day, *counts = run.part_seen
            crop.part[run.key, day].append((run.flat, *counts))


def _read_saleable(only: TakeFilter, names: RowNames, sums: _Sums) -> None:
    rows, parts = parted(standing_grades(only.grades()), names, GRADES)
    grouped = rows.values(*parts, "grade", "heads_per_plant", "is_even").annotate(plants=Sum("plants_count"))
    for row in grouped:
        crop, key = names.row(*(row[part] for part in parts))
        sums[crop].saleable.setdefault(key, SaleableSums()).add(
            row["grade"], row["plants"], heads_per_plant=row["heads_per_plant"], is_even=row["is_even"]
        )
