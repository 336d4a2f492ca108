"""Write the count of each run on each day, and which of them is its record.

This is the one place that writes ``DayCount``. It derives all days of the flats it is given from what
happened (the ledger) and writes the rows that differ, so that running it again changes nothing. Callers hold
the flats' lock (``lock_flats``) in the transaction of the marks they store. ``recount`` proves the result
with code of its own.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date

from django.db import connection, transaction

from nursery.actions.closed_looks import looks_on
from nursery.actions.ledger import CellFact, FlatFacts, Ledger, RunFact, read_ledger
from nursery.calc.days import is_early_leaving
from nursery.calc.fold import CellFold, MarkFact
from nursery.calc.seen_alive import fold_with_looks
from nursery.models import DayCount, Flat, Pairing, Run

COUNTED = (
    "pairing_id",
    "season_id",
    "grafted",
    "seen",
    "alive",
    "wilting",
    "dead",
    "gone",
    "gone_early",
    "source",
    "has_disagreement",
    "is_closed",
    "is_record",
)
_Key = tuple[int, int, date]
_TOGETHER = 500  # flats counted at a time


@dataclass(slots=True)
class Tally:
    """Plants of one run on one day, by what is known of them."""

    grafted: int = 0
    seen: int = 0
    alive: int = 0
    wilting: int = 0
    dead: int = 0
    gone: int = 0
    gone_early: int = 0
    has_disagreement: bool = False
    source: str = DayCount.Source.CELLS


def lock_flats(flat_ids: Iterable[int]) -> None:
    """Let nobody else count these flats until the transaction ends.

    PostgreSQL locks the rows, always in the same order, so that two batches cannot wait for each other.
    On SQLite the transaction itself holds the only write lock (IMMEDIATE).
    """
    if connection.features.has_select_for_update:
        list(Flat.objects.select_for_update().filter(pk__in=set(flat_ids)).order_by("pk").values_list("pk"))


@transaction.atomic(savepoint=False)  # whoever stores marks gives all of them up if they cannot be counted
def recount_flats(flat_ids: Iterable[int]) -> Ledger:
    """Derive and store the counts of these flats; return the ledger they were derived from."""
    ledger = read_ledger(flat_ids)
    wanted: dict[_Key, DayCount] = {}
    for facts in ledger.flats.values():
        for row in flat_day_counts(facts, ledger.runs):
            wanted[row.flat_id, row.run_id, row.day] = row
    _store(wanted, ledger.flats)
    return ledger


@transaction.atomic
def recount_many(flat_ids: Iterable[int]) -> None:
    """Lock and count any number of flats, some at a time: that bounds the memory and a query's variables."""
    ids = sorted(set(flat_ids))
    for first in range(0, len(ids), _TOGETHER):
        part = ids[first : first + _TOGETHER]
        lock_flats(part)
        recount_flats(part)


def recount_pairing(pairing: Pairing) -> None:
    """Derive the counts again where this pairing was grafted (its record day was changed)."""
    recount_many(pairing.runs.values_list("flat_id", flat=True))


def recount_days(*spans: tuple[date, date]) -> None:
    """Derive the counts again of the flats grafted from the first to the last day of a span.

    The dates of a season were changed: its old days and its new ones. Flats that nobody counted yet are
    among them, since a first count that is on its way may have read the season as it was.
    """
    flat_ids: set[int] = set()
    for span in spans:
        flat_ids.update(Run.objects.filter(grafted_on__range=span).values_list("flat_id", flat=True))
    recount_many(flat_ids)


def flat_day_counts(facts: FlatFacts, runs: dict[int, RunFact]) -> list[DayCount]:
    """Return the counts of all days of one flat, unsaved, with the records flagged."""
    rows = [_row(facts, runs[run_id], day, tally) for run_id, day, tally in _tallied(facts)]
    days = {check.day for check in facts.checks.values()} | {left_on for _run, left_on, _n in facts.left}
    for day in sorted(days):
        rows += _day_rows(facts, runs, day)
    _flag_records(rows, runs)
    return rows


def _tallied(facts: FlatFacts) -> list[tuple[int, date, Tally]]:
    return [
        (
            run_id,
            day,
            Tally(grafted, grafted, alive, wilting, grafted - alive, source=DayCount.Source.TALLY),
        )
        for run_id, day, grafted, alive, wilting in facts.tallies
    ]


def _day_rows(facts: FlatFacts, runs: dict[int, RunFact], day: date) -> list[DayCount]:
    """Count one day: what the cells show, what came and left by number, what numbers say of the dead."""
    is_closed = any(check.day == day and check.is_closed for check in facts.checks.values())
    is_closed |= any(left_on == day for _run_id, left_on, _plants in facts.left)
    tallies = _tally_cells(facts, runs, day)
    _add_pools(facts, tallies, day)
    numbers = numbers_for(facts, day)
    for run_id, tally in tallies.items():
        given = numbers.get(run_id)
        if given and given.day < day:
            _remember_dead(tally, given)
        _take_leavings(tally, facts, runs[run_id], day)
        if given and given.day == day:
            _apply_numbers(tally, given)
    rows = [_row(facts, runs[run_id], day, tally) for run_id, tally in tallies.items()]
    for row in rows:
        row.is_closed = is_closed
    return rows


def _tally_cells(facts: FlatFacts, runs: dict[int, RunFact], day: date) -> dict[int, Tally]:
    """Count the cells of each run that stood here by ``day``, as the marks of that day and before say.

    A plant that was moved away and came home is no second graft: the take counts it where it left.
    """
    tallies: dict[int, Tally] = {}
    sees = _sight(facts, day)
    for cell in facts.cells:
        run = runs[cell.run_id]
        if (cell.came_on or run.grafted_on) > day or (not cell.is_graft and run.flat_id == facts.id):
            continue
        tally = tallies.setdefault(cell.run_id, Tally())
        marks = [mark for mark in facts.marks.get(cell.id, ()) if mark.day <= day]
        fold = fold_with_looks(marks, looks_on(facts, cell.id, day))
        if cell.moved_on and cell.moved_on <= day and fold.state != "gone":
            _count_moved(tally, run, cell.moved_on)
        else:
            _count_cell(tally, fold, run, is_seen=sees(cell, marks))
    return tallies


def _count_moved(tally: Tally, run: RunFact, moved_on: date) -> None:
    """Count a plant that stands in another flat, whatever a mark says of it here: it is not doubled."""
    tally.grafted += 1
    tally.seen += 1
    tally.gone += 1
    tally.gone_early += is_early_leaving(run.grafted_on, moved_on)
    tally.has_disagreement = True


def _sight(facts: FlatFacts, day: date) -> Callable[[CellFact, list[MarkFact]], bool]:
    """Return a function that tells whether a cell was seen on ``day``."""
    closed = [check for check in facts.checks.values() if check.day == day and check.is_closed]
    whole = any(check.kind == "whole" for check in closed)
    places = frozenset[int]().union(*(check.seen_places for check in closed if check.kind == "part"))

    def sees(cell: CellFact, marks: list[MarkFact]) -> bool:
        return whole or cell.place_no in places or _is_tapped(marks, day)

    return sees


def places_seen(facts: FlatFacts, day: date) -> frozenset[int]:
    """Return the places whose plant somebody saw on ``day``, in a closed check or by a tap."""
    sees = _sight(facts, day)
    return frozenset(cell.place_no for cell in facts.cells if sees(cell, facts.marks.get(cell.id, [])))


def _is_tapped(marks: list[MarkFact], day: date) -> bool:
    """Whether somebody marked the cell on ``day`` and did not take that back."""
    looks = [mark for mark in marks if mark.kind == "seen" and mark.day == day]
    if not looks:
        return False
    undone = {uuid for mark in marks if mark.kind == "undo" for uuid in mark.replaces}
    return any(mark.uuid not in undone for mark in looks)


def _count_cell(tally: Tally, fold: CellFold, run: RunFact, *, is_seen: bool) -> None:
    tally.grafted += 1
    tally.has_disagreement |= fold.disagreement
    if fold.state == "dead":
        tally.dead += 1
    elif fold.state == "gone":
        tally.gone += 1
        assert fold.deciding is not None
        tally.gone_early += is_early_leaving(run.grafted_on, fold.deciding.day)
    elif is_seen:
        tally.alive += 1
        tally.wilting += fold.state == "wilting"
    else:
        return
    tally.seen += 1


def _add_pools(facts: FlatFacts, tallies: dict[int, Tally], day: date) -> None:
    """Add the plants moved in by number; they are seen only by a check by numbers."""
    for run_id, moved_on, plants in facts.pools:
        if moved_on <= day:
            tallies.setdefault(run_id, Tally()).grafted += plants


def _take_leavings(tally: Tally, facts: FlatFacts, run: RunFact, day: date) -> None:
    """Count the plants that left by number: first those that nobody saw, then those seen alive.

    What left has left: where more are said to be dead than can be, these are fewer, and the count is in
    disagreement. So a plant that stands in a pooled flat is never counted here as well.
    """
    for run_id, left_on, plants in sorted(facts.left, key=lambda entry: entry[1]):
        if run_id != run.id or left_on > day:
            continue
        unseen = tally.grafted - tally.seen
        left = min(plants, unseen + tally.alive + tally.dead)
        seen = max(0, left - unseen)
        died = max(0, seen - tally.alive)
        tally.has_disagreement |= died > 0
        tally.alive -= seen - died
        tally.dead -= died
        tally.wilting = min(tally.wilting, tally.alive)
        tally.seen += left - seen
        tally.gone += left
        tally.gone_early += left if is_early_leaving(run.grafted_on, left_on) else 0


@dataclass(frozen=True, slots=True)
class Numbers:
    """Dead and wilting of one run, counted without saying which, on a day."""

    day: date
    dead: int
    wilting: int


def numbers_for(facts: FlatFacts, day: date) -> dict[int, Numbers]:
    """Return the numbers that speak for each run on ``day``: the last ones since the whole flat was seen.

    They are void where a check by cells was closed on their own day. Of several checks by numbers on a day
    the one with the most dead stands, with its own wilting.
    """
    looks = [c for c in facts.checks.values() if c.kind != "numbers" and c.is_closed and not c.is_leaving]
    looked = {check.day for check in looks}
    wholes = [check.day for check in looks if check.kind == "whole" and check.day <= day]
    seen_whole = max(wholes, default=date.min)
    given: dict[int, Numbers] = {}
    for check_id, run_id, dead, wilting in facts.numbers:
        check = facts.checks[check_id]
        if not check.is_closed or check.day > day or check.day in looked:
            continue
        if check.day > seen_whole:
            numbers = Numbers(check.day, dead, wilting)
            before = given.get(run_id, numbers)
            given[run_id] = max(before, numbers, key=lambda one: (one.day, one.dead, one.wilting))
    return given


def _remember_dead(tally: Tally, numbers: Numbers) -> None:
    """Keep those known dead by numbers of an earlier day among what was not seen since."""
    known = min(max(0, numbers.dead - tally.dead), tally.grafted - tally.seen)
    tally.dead += known
    tally.seen += known


def _apply_numbers(tally: Tally, numbers: Numbers) -> None:
    """Let numbers stand for their day, never below what the cells already show dead."""
    standing = tally.grafted - tally.gone
    tally.dead = min(max(numbers.dead, tally.dead), standing)
    tally.alive = standing - tally.dead
    tally.wilting = min(numbers.wilting, tally.alive)
    tally.seen = tally.grafted
    tally.source = DayCount.Source.NUMBERS


def _row(facts: FlatFacts, run: RunFact, day: date, tally: Tally) -> DayCount:
    return DayCount(
        flat_id=facts.id,
        run_id=run.id,
        day=day,
        pairing_id=run.pairing_id,
        season_id=run.season_id,
        grafted=tally.grafted,
        seen=tally.seen,
        alive=tally.alive,
        wilting=tally.wilting,
        dead=tally.dead,
        gone=tally.gone,
        gone_early=tally.gone_early,
        source=tally.source,
        has_disagreement=tally.has_disagreement,
        is_closed=tally.source == DayCount.Source.TALLY,
    )


def _flag_records(rows: list[DayCount], runs: dict[int, RunFact]) -> None:
    """Flag each run's record: its first closed complete day from the record day on, or with none alive."""
    done: set[int] = set()
    for row in sorted(rows, key=lambda row: row.day):
        run = runs[row.run_id]
        if run.id in done or run.flat_id != row.flat_id or not row.is_closed or row.seen < row.grafted:
            continue
        is_due = run.record_on is not None and row.day >= run.record_on
        if is_due or row.alive == 0:
            row.is_record = True
            done.add(run.id)


def _store(wanted: dict[_Key, DayCount], flat_ids: Iterable[int]) -> None:
    """Write the rows that differ from what is stored, and drop those that are no longer true."""
    stored = {
        (row.flat_id, row.run_id, row.day): row for row in DayCount.objects.filter(flat_id__in=list(flat_ids))
    }
    stale = [row.pk for key, row in stored.items() if key not in wanted]
    changed = [row for key, row in wanted.items() if key not in stored or _differs(row, stored[key])]
    lost = [
        stored[key].pk
        for key, row in wanted.items()
        if key in stored and stored[key].is_record and not row.is_record
    ]
    if stale:
        DayCount.objects.filter(pk__in=stale).delete()
    if lost:  # first, as a run has one record at most
        DayCount.objects.filter(pk__in=lost).update(is_record=False)
    if changed:
        DayCount.objects.bulk_create(
            changed,
            update_conflicts=True,
            unique_fields=["flat", "run", "day"],
            update_fields=[name.removesuffix("_id") for name in COUNTED],
        )


def _differs(row: DayCount, stored: DayCount) -> bool:
    return any(getattr(row, name) != getattr(stored, name) for name in COUNTED)
