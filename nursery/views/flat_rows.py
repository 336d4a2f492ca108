"""What one line says about a flat: what stands on it, since when, and how many live.

Four queries; some ten more, whatever the number of flats, where plants left or were moved in.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from django.db.models import Count, Q

from nursery.actions.stock import RunStock, alive_in, stocks
from nursery.models import Cell, DayCount, Flat, Leaving, Run, Stage


@dataclass(slots=True)
class FlatRow:
    """A flat with its runs summed. ``alive`` counts what nobody looked at yet as alive.

    ``gone`` left alive, ``moved_in`` came from other flats and are none of the ``grafted``.
    """

    flat: Flat
    pairings: list[str] = field(default_factory=list)
    grafted_on: date | None = None
    grafted: int = 0
    alive: int = 0
    gone: int = 0
    moved_in: int = 0
    counted_on: date | None = None

    @property
    def stage_name(self) -> str:
        """The stage in words, of a flat read ``with_stage``; empty where it never moved."""
        return str(Stage(self.flat.stage).label) if self.flat.stage else ""

    @property
    def where(self) -> str:
        """Stage and place, said once where the place is called like the stage."""
        return ", ".join(dict.fromkeys(filter(None, (self.stage_name, self.flat.place_name))))


def flat_rows(flats: Iterable[Flat]) -> list[FlatRow]:
    """Return a row for each flat, in order, with the latest count of every run."""
    rows = {flat.pk: FlatRow(flat) for flat in flats}
    latest = _latest_counts(rows)
    sizes = _cells_by_run(rows)
    stocks = _stocks(rows)
    runs = {run.pk: run for run in _runs(rows, stocks)}
    for run in runs.values():
        if run.flat_id in rows:
            _add_run(rows[run.flat_id], run, latest.get((run.flat_id, run.pk)), sizes[run.pk])
    for flat_id, stock in stocks.items():
        _add_stock(rows[flat_id], stock, runs)
    return list(rows.values())


def _latest_counts(flat_ids: Iterable[int]) -> dict[tuple[int, int], DayCount]:
    counts = DayCount.objects.filter(flat__in=flat_ids).order_by("day")
    return {(count.flat_id, count.run_id): count for count in counts}


def _cells_by_run(flat_ids: Iterable[int]) -> dict[int, int]:
    cells = Cell.objects.filter(flat__in=flat_ids, moved_from=None).values("run").annotate(number=Count("pk"))
    return defaultdict(int, {row["run"]: row["number"] for row in cells.order_by()})


def _stocks(flat_ids: Iterable[int]) -> dict[int, dict[int, RunStock]]:
    """Return the stock of the flats that plants left or came to: a day's count does not tell it."""
    ends = Leaving.objects.standing().filter(Q(flat__in=flat_ids) | Q(to_flat__in=flat_ids))
    moved = {pk for pair in ends.values_list("flat", "to_flat") for pk in pair if pk in flat_ids}
    return stocks(moved) if moved else {}


def _runs(flat_ids: Iterable[int], stocks: dict[int, dict[int, RunStock]]) -> Iterable[Run]:
    guests = [run_id for stock in stocks.values() for run_id in stock]
    runs = Run.objects.named().filter(Q(flat__in=flat_ids) | Q(pk__in=guests))
    return runs.order_by("flat_id", "number")


def _add_run(row: FlatRow, run: Run, count: DayCount | None, cells: int) -> None:
    _name(row, run)
    row.grafted += count.grafted if count else cells
    row.alive += count.grafted - count.dead - count.gone if count else cells
    if count:
        row.counted_on = max(filter(None, (row.counted_on, count.day)))


def _name(row: FlatRow, run: Run) -> None:
    name = str(run.pairing)
    if name not in row.pairings:
        row.pairings.append(name)
    if not run.is_regraft:  # what was grafted again does not make the flat younger
        row.grafted_on = min(filter(None, (row.grafted_on, run.grafted_on)))


def _add_stock(row: FlatRow, stock: dict[int, RunStock], runs: dict[int, Run]) -> None:
    row.alive = alive_in(stock)
    row.gone = sum(run.gone for run in stock.values())
    for run_id, run in stock.items():
        if runs[run_id].flat_id != row.flat.pk:
            row.moved_in += run.total
            _name(row, runs[run_id])
