"""Prove the counts of past seasons: compare them with the tally rows they were brought in as.

A flat of which nothing but tally rows is written needs none of the folding of ``recount``, and there may be
ten thousands of them; so they are compared a thousand at a time. Like ``recount``, this shares no code with
the writer.
"""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from nursery.models import Cell, Check, DayCount, Flat, Leaving, Run, TallyRow

_TOGETHER = 1000
_Key = tuple[int, date]  # run, day
_Counts = dict[str, Any]


def plain_tally_flats() -> QuerySet[Flat]:
    """Return the flats of past seasons of which nothing else is written."""
    here = OuterRef("pk")
    more = (
        Exists(Check.objects.filter(flat=here))
        | Exists(Cell.objects.filter(flat=here))
        | Exists(Leaving.objects.filter(Q(flat=here) | Q(to_flat=here)))
    )
    return Flat.objects.filter(~more, origin=Flat.Origin.TALLY)


def tally_differences() -> Iterator[str]:
    """Yield a sentence for each stored count of these flats that their tally rows do not bear out."""
    ids = list(plain_tally_flats().order_by("pk").values_list("pk", flat=True))
    for first in range(0, len(ids), _TOGETHER):
        yield from _differences_of(ids[first : first + _TOGETHER])


def _differences_of(flat_ids: Sequence[int]) -> Iterator[str]:
    flats = Flat.objects.in_bulk(list(flat_ids))
    runs = {run.pk: run for run in Run.objects.filter(flat__in=flat_ids).select_related("pairing")}
    should = _expected(flat_ids, runs)
    for count in DayCount.objects.filter(flat__in=flat_ids).order_by("flat", "run", "day"):
        run = runs.get(count.run_id)
        name = f"{flats[count.flat_id].code} run {run.number if run else '?'}, {count.day}"
        expected = should.pop((count.run_id, count.day), None)
        if expected is None or run is None:
            yield f"{name}: counted, but nothing bears it out"
            continue
        expected |= {"flat_id": run.flat_id, "season_id": flats[run.flat_id].season_id}
        for column, value in expected.items():
            if getattr(count, column) != value:
                yield f"{name}: {column.removesuffix('_id')} is {getattr(count, column)}, should be {value}"
    for run_id, day in sorted(should):
        yield f"{flats[runs[run_id].flat_id].code} run {runs[run_id].number}, {day}: not counted"


def _expected(flat_ids: Sequence[int], runs: dict[int, Run]) -> dict[_Key, _Counts]:
    """Return what DayCount should hold; the record is the first count that is due or has none alive."""
    should: dict[_Key, _Counts] = {}
    has_record: set[int] = set()
    rows = TallyRow.objects.filter(flat__in=flat_ids, replaced_at__isnull=True)
    for row in rows.order_by("run", "checked_on"):
        run = runs[row.run_id]
        is_due = (row.checked_on - run.grafted_on).days >= run.pairing.record_days or row.alive == 0
        is_record = is_due and run.pk not in has_record
        if is_record:
            has_record.add(run.pk)
        should[run.pk, row.checked_on] = {
            "pairing_id": run.pairing_id,
            "grafted": row.grafted,
            "seen": row.grafted,
            "alive": row.alive,
            "wilting": row.wilting,
            "dead": row.grafted - row.alive,
            "gone": 0,
            "gone_early": 0,
            "source": "tally",
            "has_disagreement": False,
            "is_closed": True,
            "is_record": is_record,
        }
    return should
