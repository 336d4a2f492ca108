"""The state of each cell of a flat, for the screens that draw it."""

from dataclasses import dataclass
from datetime import date

from nursery.actions.closed_looks import fold_on
from nursery.actions.ledger import CellFact, FlatFacts, Ledger, RunFact, read_ledger
from nursery.actions.stock import stock_of
from nursery.calc.fold import MarkFact, fold_cell
from nursery.models import Flat


@dataclass(frozen=True, slots=True)
class CellState:
    """One cell as it stands.

    ``before`` is the state at the end of the last day before ``day``; ``open_uuids`` are the marks that a
    new mark of this cell replaces. In ``disagreement`` is also a dead cell that a closed check saw alive.
    """

    cell_id: int
    place_no: int
    graft_no: int
    run_number: int
    state: str
    before: str
    open_uuids: tuple[str, ...]
    disagreement: bool
    cause: str
    decided_on: date | None
    is_present: bool

    @property
    def public_id(self) -> str:
        return str(self.place_no) if self.graft_no == 1 else f"{self.place_no}.{self.graft_no}"


@dataclass(frozen=True, slots=True)
class FlatSummary:
    """Plants of a flat as they stand: those present, whoever grafted them."""

    alive: int
    wilting: int
    dead: int
    gone: int
    disagreements: int


def flat_states(flat: Flat, *, day: date) -> dict[int, CellState]:
    """Return the cells of ``flat`` by key, folded over all marks, with their state before ``day``."""
    ledger = read_ledger([flat.pk])
    return cell_states(ledger.flats[flat.pk], ledger.runs, day=day)


def cell_states(facts: FlatFacts, runs: dict[int, RunFact], *, day: date) -> dict[int, CellState]:
    """Return the cells of one flat of a ledger by key."""
    return {cell.id: _cell_state(facts, cell, runs[cell.run_id].number, day) for cell in facts.cells}


def _cell_state(facts: FlatFacts, cell: CellFact, run_number: int, day: date) -> CellState:
    marks: list[MarkFact] = facts.marks.get(cell.id, [])
    fold = fold_on(facts, cell.id)
    has_moved = cell.moved_on is not None  # then it stands elsewhere, whatever a late mark says of it here
    return CellState(
        cell_id=cell.id,
        place_no=cell.place_no,
        graft_no=cell.graft_no,
        run_number=run_number,
        state="gone" if has_moved else fold.state,
        before=fold_cell([mark for mark in marks if mark.day < day]).state,
        open_uuids=tuple(mark.uuid for mark in fold.open),
        disagreement=fold.disagreement or (has_moved and fold.state != "gone"),
        cause=facts.causes.get(fold.deciding.uuid, "") if fold.deciding else "",
        decided_on=fold.deciding.day if fold.deciding else None,
        is_present=cell.is_present,
    )


def summaries(ledger: Ledger) -> dict[str, FlatSummary]:
    """Return what stands in each flat of a ledger, by code."""
    return {facts.code: _summary(facts) for facts in ledger.flats.values()}


def _summary(facts: FlatFacts) -> FlatSummary:
    folds = [fold_on(facts, cell.id) for cell in facts.cells if cell.is_present]
    states = [fold.state for fold in folds]
    stock = stock_of(facts).values()
    alive = sum(run.alive for run in stock)
    return FlatSummary(
        alive=alive,
        wilting=min(states.count("wilting"), alive),
        dead=states.count("dead") + sum(run.dead_by_number for run in stock),
        gone=states.count("gone") + sum(run.left_by_number for run in stock),
        disagreements=sum(fold.disagreement for fold in folds),
    )
