"""Which closed checks saw a cell and left it alone: what ``calc.seen_alive`` asks of the book.

A closing may know thousands of marks, and a batch of marks must be quick. So closings are read only where a
mark says dead and a closed check of another hand saw the same cell on that day or later; elsewhere they could
be against nobody. That is one query at most, whatever the number of flats.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef

from nursery.actions.facts import CellFact, CheckFact, FlatFacts, Ledger, RunFact
from nursery.actions.prepared import by_id
from nursery.calc.fold import CellFold
from nursery.calc.seen_alive import Look, fold_with_looks
from nursery.models import Check, Closing


@dataclass(frozen=True, slots=True)
class Told:
    """The closings of a check that no reopening took back, and all the marks that they knew."""

    closings: frozenset[str]
    known: frozenset[str]


def add_looks(ledger: Ledger) -> None:
    """Give each cell that a mark calls dead the closed checks that saw it and told what they knew."""
    found = {facts.id: looked_at(facts, ledger.runs) for facts in ledger.flats.values()}
    told = _read_told({check for cells in found.values() for checks in cells.values() for check in checks})
    for facts in ledger.flats.values():
        facts.looks = looks_of(facts, found[facts.id], told)


def looked_at(facts: FlatFacts, runs: Mapping[int, RunFact]) -> dict[int, list[int]]:
    """Return, by cell that a mark calls dead, the closed checks that saw it and left it alone."""
    closed = [
        check
        for check in facts.checks.values()
        if check.is_closed and not check.is_leaving and check.kind != Check.Kind.NUMBERS
    ]
    if not closed:
        return {}
    stays = dict(_stays(facts, runs))
    found: dict[int, list[int]] = {}
    for cell in facts.cells:
        marks = facts.marks.get(cell.id, ())
        if any(mark.state == "dead" for mark in marks):
            first, own = min(mark.day for mark in marks), {mark.check for mark in marks}
            checks = [check for check in closed if check.day >= first and check.id not in own]
            found[cell.id] = [check.id for check in checks if _saw(check, cell, stays[cell.id])]
    return {cell_id: checks for cell_id, checks in found.items() if checks}


def _stays(facts: FlatFacts, runs: Mapping[int, RunFact]) -> Iterator[tuple[int, tuple[date, date]]]:
    """Yield for each cell its first day here and the day that it was not here any more.

    That is the day on which it was moved away or another was put in its place. On such a day nobody can tell
    which of the two was looked at.
    """
    following: dict[int, date] = {}  # by place: the first day of the graft that stands on top
    for cell in sorted(facts.cells, key=lambda cell: -cell.graft_no):
        came_on = cell.came_on or runs[cell.run_id].grafted_on
        ended_on = min(cell.moved_on or date.max, following.get(cell.place_no, date.max))
        following[cell.place_no] = min(came_on, following.get(cell.place_no, date.max))
        yield cell.id, (came_on, ended_on)


def _saw(check: CheckFact, cell: CellFact, stay: tuple[date, date]) -> bool:
    is_in_sight = check.kind == Check.Kind.WHOLE or cell.place_no in check.seen_places
    return is_in_sight and stay[0] <= check.day < stay[1]


def looks_of(
    facts: FlatFacts, found: Mapping[int, Iterable[int]], told: Mapping[int, Told]
) -> dict[int, list[Look]]:
    """Return by cell the looks of those checks that told what they knew."""
    looks = {
        key: Look(key, facts.checks[key].day, one.closings, one.known)
        for key, one in told.items()
        if key in facts.checks
    }
    by_cell = {cell: [looks[check] for check in checks if check in looks] for cell, checks in found.items()}
    return {cell: own for cell, own in by_cell.items() if own}


def _read_told(check_ids: Iterable[int]) -> dict[int, Told]:
    rows: dict[int, list[tuple[Any, ...]]] = defaultdict(list)
    for check_id, *row in _CLOSINGS.rows(check_ids):
        rows[check_id].append(tuple(row))
    found = {check_id: _told(own) for check_id, own in rows.items()}
    return {check_id: told for check_id, told in found.items() if told}


def _told(rows: Iterable[tuple[Any, ...]]) -> Told | None:
    """Return what the standing closings of one check tell together; None if none of them tells."""
    rows = list(rows)
    taken_back = {
        uuid for _uuid, kind, replaces, *_ in rows if kind == Closing.Kind.REOPEN for uuid in replaces
    }
    closed = [row for row in rows if row[1] == Closing.Kind.CLOSE and str(row[0]) not in taken_back]
    if not any(tells_known for *_, tells_known, _known in closed):
        return None
    return Told(frozenset(str(row[0]) for row in closed), frozenset().union(*(row[-1] for row in closed)))


def fold_on(facts: FlatFacts, cell_id: int, day: date = date.max) -> CellFold:
    """Return what the marks and the closed checks of a day and before say of a cell."""
    marks = [mark for mark in facts.marks.get(cell_id, ()) if mark.day <= day]
    return fold_with_looks(marks, looks_on(facts, cell_id, day))


def looks_on(facts: FlatFacts, cell_id: int, day: date) -> list[Look]:
    """Return the looks at a cell of a day and before."""
    return [look for look in facts.looks.get(cell_id, ()) if look.day <= day]


_telling = Closing.objects.filter(check_ref=OuterRef("check_ref"), kind=Closing.Kind.CLOSE, tells_known=True)
_CLOSINGS = by_id(
    lambda keys: (
        Closing.objects.filter(Exists(_telling), check_ref_id__in=keys)
        .order_by()
        .values_list("check_ref_id", "uuid", "kind", "replaces", "tells_known", "known_marks")
    )
)
