"""Read the counts that a take report is made of, summed by crop, row and flat."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.db.models import Count, Sum

from nursery.models.check import DayCount, DayCountQuerySet
from nursery.models.season import Season
from nursery.models.take_rows import RowKey, RowNames


@dataclass(slots=True)
class FlatSum:
    """The records of one flat in one row, without the plants that left early."""

    runs: int = 0
    grafted: int = 0
    alive: int = 0
    wilting: int = 0


class CropSums:
    """What was read of one crop.

    ``early`` and ``part`` hold, for each row and day after grafting, the counts of single runs.
    """

    def __init__(self) -> None:
        self.rows: dict[RowKey, dict[int, FlatSum]] = {}
        self.early: dict[tuple[RowKey, int], list[tuple[int, ...]]] = defaultdict(list)
        self.part: dict[tuple[RowKey, int], list[tuple[int, ...]]] = defaultdict(list)
        self.left_early: Counter[RowKey] = Counter()
        self.left_late: dict[RowKey, Counter[int]] = defaultdict(Counter)


_Sums = dict[int, CropSums]


def read_takes(names: RowNames, season: Season | None) -> _Sums:
    """Return the sums of each crop that has any, by its id."""
    counts = DayCount.objects.in_season(season)
    sums: _Sums = defaultdict(CropSums)
    _read_records(counts, names, sums)
    _read_left_early(counts, names, sums)
    _read_before_record(counts, names, sums)
    _read_left_late(counts, names, sums)
    return sums


def _read_records(counts: DayCountQuerySet, names: RowNames, sums: _Sums) -> None:
    rows = (
        counts.records()
        .in_the_rate()
        .order_by()
        .values_list(*names.parts, "flat_id")
        .annotate(Count("run"), Sum("grafted"), Sum("alive"), Sum("wilting"), Sum("gone"), Sum("gone_early"))
    )
    for *who, flat, runs, grafted, alive, wilting, gone, early in rows.iterator():
        crop, key = names.row(*who)
        total = sums[crop].rows.setdefault(key, {}).setdefault(flat, FlatSum())
        total.runs += runs
        total.grafted += grafted - early
        total.alive += alive + gone - early
        total.wilting += wilting


def _read_left_early(counts: DayCountQuerySet, names: RowNames, sums: _Sums) -> None:
    rows = counts.records().filter(gone_early__gt=0).order_by().values_list(*names.parts)
    for *who, early in rows.annotate(Sum("gone_early")):
        crop, key = names.row(*who)
        sums[crop].left_early[key] += early


def _read_before_record(counts: DayCountQuerySet, names: RowNames, sums: _Sums) -> None:
    """Sort the last closed counts of runs without a record into complete and part-seen ones.

    A run whose last day was seen in part shows that day, and its last complete one as well.
    """
    in_part: set[int] = set()
    complete: set[int] = set()
    fields = ("run_id", "flat_id", "day", "run__grafted_on")
    numbers = ("grafted", "seen", "alive", "wilting", "gone", "gone_early")
    for row in counts.before_record().values_list(*names.parts, *fields, *numbers).iterator():
        run, flat, day, grafted_on, grafted, seen, alive, wilting, gone, early = row[len(names.parts) :]
        crop, key = names.row(*row[: len(names.parts)])
        at = key, (day - grafted_on).days
        if run in complete or (seen < grafted and run in in_part):
            continue
        if run not in in_part and early:
            sums[crop].left_early[key] += early
        if seen < grafted:
            in_part.add(run)
            sums[crop].part[at].append((flat, seen, grafted))
            continue
        complete.add(run)
        if grafted > early:
            sums[crop].early[at].append((flat, grafted - early, alive + gone - early, wilting))


def _read_left_late(counts: DayCountQuerySet, names: RowNames, sums: _Sums) -> None:
    """Note on which day after grafting the plants left that are counted as alive in a record."""
    fields = ("run_id", "day", "run__grafted_on", "gone", "gone_early", "is_record")
    rows = counts.of_late_leavers().values_list(*names.parts, *fields).iterator()
    width = len(names.parts)
    for _run, days in groupby(rows, key=lambda row: row[width]):
        counted = list(_until_record(days))
        crop, key = names.row(*counted[0][:width])
        sums[crop].left_late[key].update(leaving_days([_late(row[width + 1 :]) for row in counted]))


def _until_record(days: Iterable[tuple[Any, ...]]) -> Iterable[tuple[Any, ...]]:
    for row in days:
        yield row
        if row[-1]:
            return


def _late(row: tuple[Any, ...]) -> tuple[int, int]:
    day, grafted_on, gone, early, _is_record = row
    return (day - grafted_on).days, gone - early


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
