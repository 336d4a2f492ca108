"""What one line says about a flat: what stands on it, since when, and how many live. Three queries."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from django.db.models import Count

from nursery.models import Cell, DayCount, Flat, Run, Stage


@dataclass(slots=True)
class FlatRow:
    """A flat with its runs summed. ``alive`` counts what nobody looked at yet as alive."""

    flat: Flat
    pairings: list[str] = field(default_factory=list)
    grafted_on: date | None = None
    grafted: int = 0
    alive: int = 0
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
    for run in Run.objects.named().filter(flat__in=rows).order_by("flat_id", "number"):
        _add_run(rows[run.flat_id], run, latest.get(run.pk), sizes[run.pk])
    return list(rows.values())


def _latest_counts(flat_ids: Iterable[int]) -> dict[int, DayCount]:
    return {count.run_id: count for count in DayCount.objects.filter(flat__in=flat_ids).order_by("day")}


def _cells_by_run(flat_ids: Iterable[int]) -> dict[int, int]:
    cells = Cell.objects.filter(flat__in=flat_ids, moved_from=None).values("run").annotate(number=Count("pk"))
    return defaultdict(int, {row["run"]: row["number"] for row in cells.order_by()})


def _add_run(row: FlatRow, run: Run, count: DayCount | None, cells: int) -> None:
    name = str(run.pairing)
    if name not in row.pairings:
        row.pairings.append(name)
    row.grafted_on = min(filter(None, (row.grafted_on, run.grafted_on)))
    row.grafted += count.grafted if count else cells
    row.alive += count.alive if count else cells
    if count:
        row.counted_on = max(filter(None, (row.counted_on, count.day)))
