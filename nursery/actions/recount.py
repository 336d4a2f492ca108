"""Prove the counts: fold every mark again in plain Python and compare with what is stored.

Nothing of the writer's code is used here (``counting``, ``ledger``, ``calc.fold``, ``calc.days``): an error
there would otherwise prove itself. Slow and simple on purpose; it reads, and writes nothing.
"""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from nursery.models import Check, Closing, DayCount, Farm, Flat, Mark, Pairing, Run, Season, Severing, Voiding

BADNESS = {"dead": 0, "gone": 1, "wilting": 2, "firm": 3, "unmarked": 4}
COLUMNS = (
    "pairing", "season", "grafted", "seen", "alive", "wilting", "dead", "gone", "gone_early", "source",
    "has_disagreement", "is_closed", "is_record",
)  # fmt: skip
_Counts = dict[str, Any]


def differences() -> Iterator[str]:
    """Yield a sentence for each stored count, flag or row that the marks do not bear out."""
    for flat in Flat.objects.order_by("pk").iterator(chunk_size=500):
        yield from _wrong_closed_flags(flat)
        yield from _wrong_counts(flat)


def _wrong_closed_flags(flat: Flat) -> Iterator[str]:
    for check in Check.objects.filter(flat=flat):
        closings = list(Closing.objects.filter(check_ref=check))
        named = {uuid for closing in closings if closing.kind == "reopen" for uuid in closing.replaces}
        is_closed = any(closing.kind == "close" and str(closing.uuid) not in named for closing in closings)
        if check.is_closed != is_closed:
            yield f"{flat.code} check {check.uuid}: is_closed is {check.is_closed}, should be {is_closed}"


def _wrong_counts(flat: Flat) -> Iterator[str]:
    should = _expected(flat)
    for row in DayCount.objects.filter(flat=flat).select_related("run"):
        name = f"{flat.code} run {row.run.number} of flat {row.run.flat_id}, {row.day}"
        expected = should.pop((row.run_id, row.day), None)
        if expected is None:
            yield f"{name}: counted, but nothing bears it out"
            continue
        stored = {c: getattr(row, f"{c}_id" if c in {"pairing", "season"} else c) for c in COLUMNS}
        for column in COLUMNS:
            if stored[column] != expected[column]:
                yield f"{name}: {column} is {stored[column]}, should be {expected[column]}"
    for (run_id, day), _ in sorted(should.items()):
        yield f"{flat.code} run key {run_id}, {day}: not counted"


def _expected(flat: Flat) -> dict[tuple[int, date], _Counts]:
    """Return what DayCount should hold for this flat, by run and day."""
    should: dict[tuple[int, date], _Counts] = {}
    for tally in flat.tally_rows.filter(replaced_at__isnull=True):
        counts = {"grafted": tally.grafted, "seen": tally.grafted, "alive": tally.alive}
        counts |= {"wilting": tally.wilting, "dead": tally.grafted - tally.alive}
        should[tally.run_id, tally.checked_on] = _blank() | counts | {"source": "tally", "is_closed": True}
    checks = list(Check.objects.filter(flat=flat, is_void=False).prefetch_related("numbers"))
    cells = list(flat.cells.select_related("run"))
    said = list(Mark.objects.filter(check_ref__in=checks).select_related("check_ref"))
    for day in {check.day for check in checks}:
        closed = [check for check in checks if check.day == day and check.is_closed]
        for run_id, counts in _day(flat, day, closed, cells=cells, said=said).items():
            should[run_id, day] = counts | {"is_closed": closed != []}
    _finish(flat, should)
    return should


def _blank() -> _Counts:
    names = ("grafted", "seen", "alive", "wilting", "dead", "gone", "gone_early")
    flags = {"has_disagreement": False, "is_record": False, "source": "cells"}
    return dict.fromkeys(names, 0) | flags


def _day(
    flat: Flat, day: date, closed: list[Check], *, cells: list[Any], said: list[Mark]
) -> dict[int, _Counts]:
    counts: dict[int, _Counts] = {}
    for cell in cells:
        if cell.run.grafted_on > day:
            continue
        marks = [mark for mark in said if mark.cell_id == cell.pk and mark.check_ref.day <= day]
        _add_cell(counts.setdefault(cell.run_id, _blank()), cell, marks, day=day, closed=closed)
    for pool in flat.pool_counts.all():
        if _farms_date(pool.at) <= day and not Voiding.objects.filter(target_uuid=pool.uuid).exists():
            counts.setdefault(pool.run_id, _blank())["grafted"] += pool.plants_count
    if all(check.kind == "numbers" for check in closed):
        numbers = [number for check in closed for number in check.numbers.all()]
        for number in sorted(numbers, key=lambda number: (number.dead_count, number.wilting_count)):
            if number.run_id in counts:  # the worst comes last and stands
                _overrule(counts[number.run_id], number.dead_count, number.wilting_count)
    return counts


def _farms_date(at: datetime) -> date:
    farm = Farm.objects.filter(pk=1).first()
    return at.astimezone(ZoneInfo(farm.time_zone if farm else "UTC")).date()


def _add_cell(counts: _Counts, cell: Any, marks: list[Mark], *, day: date, closed: list[Check]) -> None:
    left = unreplaced(marks)
    states = {mark.state for mark in left}
    state = min(states, key=BADNESS.__getitem__, default="unmarked")
    counts["grafted"] += 1
    counts["has_disagreement"] = counts["has_disagreement"] or len(states) > 1
    if state in {"dead", "gone"}:
        counts["seen"] += 1
        counts[state] += 1
        if state == "gone":
            went_on = min(mark.check_ref.day for mark in left if mark.state == "gone")
            counts["gone_early"] += went_on < cell.run.grafted_on + timedelta(days=7)
    elif _was_seen(cell, marks, day=day, closed=closed):
        counts["seen"] += 1
        counts["alive"] += 1
        counts["wilting"] += state == "wilting"


def _was_seen(cell: Any, marks: list[Mark], *, day: date, closed: list[Check]) -> bool:
    for check in closed:
        if check.kind == "whole" or (check.kind == "part" and cell.place_no in (check.seen_places or [])):
            return True
    for mark in marks:
        if mark.kind == "seen" and mark.check_ref.day == day:
            undoes = [other for other in marks if other.kind == "undo" and str(mark.uuid) in other.replaces]
            if not undoes:
                return True
    return False


def unreplaced(marks: list[Mark]) -> list[Mark]:
    """Return the marks of one cell that nobody replaced; within a circle nobody is replaced."""
    by_uuid = {str(mark.uuid): mark for mark in marks}

    def reached(start: str) -> set[str]:
        found: set[str] = set()
        todo = [start]
        while todo:
            for uuid in by_uuid[todo.pop()].replaces:
                if uuid in by_uuid and uuid not in found:
                    found.add(uuid)
                    todo.append(uuid)
        return found

    from_here = {uuid: reached(uuid) for uuid in by_uuid}
    return [
        mark
        for uuid, mark in by_uuid.items()
        if not any(uuid in by_uuid[o].replaces and o not in from_here[uuid] for o in by_uuid if o != uuid)
    ]


def _overrule(counts: _Counts, dead: int, wilting: int) -> None:
    """Put numbers in place of what the cells say, but never fewer dead than the cells show."""
    there = counts["grafted"] - counts["gone"]
    counts["dead"] = max(counts["dead"], dead) if dead <= there else there
    counts["alive"] = there - counts["dead"]
    counts["wilting"] = wilting if wilting <= counts["alive"] else counts["alive"]
    counts["seen"], counts["source"] = counts["grafted"], "numbers"


def _finish(flat: Flat, should: dict[tuple[int, date], _Counts]) -> None:
    """Add pairing and season, and flag the records."""
    has_record: set[int] = set()
    runs = Run.objects.in_bulk({run_id for run_id, _ in should})
    for (run_id, day), counts in sorted(should.items(), key=lambda item: item[0][1]):
        run = runs[run_id]
        counts |= {"pairing": run.pairing_id, "season": _season_of(run)}
        should[run_id, day] = counts
        complete = counts["is_closed"] and counts["seen"] == counts["grafted"]
        final = counts["alive"] == 0 or _is_due(run, day)
        if run.flat_id == flat.pk and run_id not in has_record and complete and final:
            counts["is_record"] = True
            has_record.add(run_id)


def _season_of(run: Run) -> int | None:
    if run.flat.season_id:
        return run.flat.season_id
    season = Season.objects.filter(starts_on__lte=run.grafted_on, ends_on__gte=run.grafted_on).first()
    return season.pk if season else None


def _is_due(run: Run, day: date) -> bool:
    begins = run.grafted_on
    if run.method == "tongue" and run.flat.origin == "marks":
        voided = Voiding.objects.values("target_uuid")
        cut = Severing.objects.filter(run=run).exclude(uuid__in=voided).order_by("severed_on").first()
        if cut is None:
            return False
        begins = cut.severed_on
    return (day - begins).days >= Pairing.objects.get(pk=run.pairing_id).record_days
