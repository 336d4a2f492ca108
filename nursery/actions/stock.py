"""What stands in a flat now, run by run: counted from its cells, and from what was told by number.

A flat is not always known cell by cell. Plants leave by number, are counted dead by number, or stand in a
pooled flat in which no cell is known at all. The stock brings both together: of the cells that live, those
that left by number and those that numbers say are dead are taken off, though nobody knows which they are.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from nursery.actions.counting import numbers_for
from nursery.actions.ledger import CellFact, FlatFacts, read_ledger
from nursery.calc.fold import fold_cell
from nursery.models import Flat

NOT_LIVING = ("dead", "gone")


@dataclass(slots=True)
class RunStock:
    """Plants of one run in one flat. ``living_cells`` are those that no mark says dead or gone.

    ``alive`` may be fewer than ``living_cells``: then ``left_by_number`` or ``dead_by_number`` are among
    these, and which they are is not known.
    """

    run_id: int
    living_cells: list[CellFact] = field(default_factory=list)
    moved_in: int = 0
    dead_in_cells: int = 0
    gone_in_cells: int = 0
    left_by_number: int = 0
    dead_by_number: int = 0

    @property
    def total(self) -> int:
        """Plants of the run that ever stood here."""
        return len(self.living_cells) + self.moved_in + self.dead_in_cells + self.gone_in_cells

    @property
    def gone(self) -> int:
        return min(self.total, self.gone_in_cells + self.left_by_number)

    @property
    def dead(self) -> int:
        """Never more than what did not leave: what left has left, whatever a late mark says."""
        return min(self.total - self.gone, self.dead_in_cells + self.dead_by_number)

    @property
    def alive(self) -> int:
        return self.total - self.gone - self.dead

    @property
    def is_told_by_cells(self) -> bool:
        """Whether every plant that lives is known by its cell."""
        return self.alive == len(self.living_cells)


def flat_stock(flat: Flat) -> dict[int, RunStock]:
    """Return the stock of a flat by the key of the run, in the order of the runs."""
    return stock_of(read_ledger([flat.pk]).flats[flat.pk])


def stock_of(facts: FlatFacts) -> dict[int, RunStock]:
    """Return the stock of one flat of a ledger by the key of the run."""
    stock: dict[int, RunStock] = {}
    for cell in facts.cells:
        _add_cell(stock.setdefault(cell.run_id, RunStock(cell.run_id)), cell, facts)
    for run_id, _day, plants in facts.pools:
        stock.setdefault(run_id, RunStock(run_id)).moved_in += plants
    for run_id, _day, plants in facts.left:
        stock.setdefault(run_id, RunStock(run_id)).left_by_number += plants
    for run_id, numbers in numbers_for(facts, date.max).items():
        if run_id in stock:
            stock[run_id].dead_by_number = max(0, numbers.dead - stock[run_id].dead_in_cells)
    return stock


def _add_cell(run: RunStock, cell: CellFact, facts: FlatFacts) -> None:
    state = "gone" if cell.moved_on else fold_cell(facts.marks.get(cell.id, [])).state
    if state == "dead":
        run.dead_in_cells += 1
    elif state == "gone":
        run.gone_in_cells += 1
    else:
        run.living_cells.append(cell)


def alive_in(stock: dict[int, RunStock]) -> int:
    """Return how many plants live in a flat."""
    return sum(run.alive for run in stock.values())


def stocks(flat_ids: Iterable[int]) -> dict[int, dict[int, RunStock]]:
    """Return the stock of each of these flats, by the keys of the flat and the run."""
    return {pk: stock_of(facts) for pk, facts in read_ledger(flat_ids).flats.items()}
