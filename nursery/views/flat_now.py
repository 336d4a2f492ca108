"""A flat as it stands, read once: its cells, its stock, who grafted what lives in it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.db.models import Q, QuerySet
from django.utils import timezone

from nursery.actions.ledger import Ledger, read_ledger
from nursery.actions.states import CellState, cell_states
from nursery.actions.stock import RunStock, alive_in, stock_of
from nursery.models import LEFT_STAGES, Flat, Run

LIVING = ("unmarked", "firm", "wilting")


@dataclass(frozen=True, slots=True)
class FlatNow:
    """What the screens of a flat are made of.

    ``runs`` were grafted here, ``guests`` elsewhere: plants of theirs were moved in. The guests' numbers go
    on after those of the own runs, in ``cells`` and in ``numbers`` (by the key of the run).
    """

    flat: Flat
    cells: list[CellState]
    stock: dict[int, RunStock]
    runs: list[Run]
    guests: list[Run]
    numbers: dict[int, int]
    marked_runs: frozenset[int]
    today: date

    @property
    def alive(self) -> int:
        return alive_in(self.stock)

    @property
    def living_places(self) -> list[int]:
        """The places whose plant no mark says dead or gone."""
        return [cell.place_no for cell in self.cells if cell.is_present and cell.state in LIVING]

    @property
    def is_on_bench(self) -> bool:
        return any(run.started_at and not run.finished_at for run in self.runs)

    @property
    def has_left(self) -> bool:
        return self.flat.stage in LEFT_STAGES

    @property
    def stocked(self) -> list[tuple[Run, RunStock]]:
        """The runs of which plants live here, with their stock."""
        runs = [*self.runs, *self.guests]
        return [
            (run, self.stock[run.pk]) for run in runs if run.pk in self.stock and self.stock[run.pk].alive
        ]


def flat_now(flat: Flat) -> FlatNow:
    """Read a flat (``with_stage``) as it stands."""
    return flats_now([flat])[0]


def flats_now(flats: Sequence[Flat]) -> list[FlatNow]:
    """Read flats (``with_stage``) as they stand; as many queries whatever their number."""
    ledger = read_ledger([flat.pk for flat in flats])
    stock = {pk: stock_of(facts) for pk, facts in ledger.flats.items()}
    guests = {run_id for runs in stock.values() for run_id in runs}
    runs = list(_named(Run.objects.filter(Q(flat__in=flats) | Q(pk__in=guests))))
    today = timezone.localdate()
    return [_now(flat, ledger, stock[flat.pk], runs, today) for flat in flats]


def _now(flat: Flat, ledger: Ledger, stock: dict[int, RunStock], runs: list[Run], today: date) -> FlatNow:
    facts = ledger.flats[flat.pk]
    own = sorted((run for run in runs if run.flat_id == flat.pk), key=lambda run: run.number)
    guests = [run for run in runs if run.flat_id != flat.pk and run.pk in stock]
    guests.sort(key=lambda run: run.pk)
    numbers = _numbers(own, guests)
    run_of = {cell.id: cell.run_id for cell in facts.cells}
    states = cell_states(facts, ledger.runs, day=today).values()
    return FlatNow(
        flat=flat,
        cells=[replace(cell, run_number=numbers[run_of[cell.cell_id]]) for cell in states],
        stock=stock,
        runs=own,
        guests=guests,
        numbers=numbers,
        marked_runs=frozenset(run_of[pk] for pk, marks in facts.marks.items() if marks and pk in run_of),
        today=today,
    )


def _named(runs: QuerySet[Run]) -> QuerySet[Run]:
    named = runs.named().select_related("scion_cut_by", "rootstock_cut_by", "flat")
    return named.prefetch_related("run_sowings__sowing")


def _numbers(own: list[Run], guests: list[Run]) -> dict[int, int]:
    last = own[-1].number if own else 0
    return {run.pk: run.number for run in own} | {run.pk: last + n for n, run in enumerate(guests, 1)}
