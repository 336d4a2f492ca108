"""What the page of a session shows: who has which flat in hand, what came last, the time at work."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db.models import Count

from nursery.calc.places import place_name
from nursery.calc.worktime import worked_time
from nursery.forms.bench import blank_names
from nursery.models import BladeEvent, Cell, Flat, Run, Session, Worker

FINISHED_SHOWN = 8


@dataclass(slots=True)
class FlatLine:
    """One flat of a session: its runs, what it holds, and what can be done with it."""

    flat: Flat
    runs: list[Run]
    plants_count: int = 0
    used_count: int = 0

    @property
    def run(self) -> Run:
        """The run in hand, or the last one."""
        return self.runs[-1]

    @property
    def blanks_count(self) -> int:
        return len(self.flat.blank_places or [])

    @property
    def fillable_count(self) -> int:
        return self.used_count - self.blanks_count

    @property
    def blanks_said(self) -> str:
        return " ".join(blank_names(self.flat))

    @property
    def handed_over_at(self) -> str:
        """The place at which the run in hand began, if another came before it."""
        return place_name(self.run.first_place, self.flat.tray_format.columns) if self.run.number > 1 else ""

    @property
    def started_at(self) -> datetime | None:
        return self.runs[0].started_at

    @property
    def workers(self) -> list[Worker]:
        """Who grafted here, in the order of the runs, each once."""
        pairs = [(run.worker, run.second_worker) for run in self.runs]
        return list(dict.fromkeys(worker for pair in pairs for worker in pair if worker))

    @property
    def pairings(self) -> list[str]:
        return list(dict.fromkeys(str(run.pairing) for run in self.runs))


@dataclass(slots=True)
class Lane:
    """One grafter at the bench (None: not recorded)."""

    worker: Worker | None
    last: Run | None = None
    in_hand: list[FlatLine] = field(default_factory=list)
    blade: BladeEvent | None = None
    is_main: bool = False
    next_key: uuid.UUID = field(default_factory=uuid.uuid4)
    blade_uuid: uuid.UUID = field(default_factory=uuid.uuid4)

    @property
    def key(self) -> str:
        return str(self.worker.key) if self.worker else ""

    @property
    def second(self) -> Worker | None:
        return self.last.second_worker if self.last else None


@dataclass(slots=True)
class Board:
    session: Session
    lanes: list[Lane]
    finished: list[FlatLine]
    finished_count: int
    plants_count: int
    worked: timedelta
    paused: timedelta
    paused_since: datetime | None
    last_product: str

    @property
    def unfinished(self) -> list[FlatLine]:
        return [line for lane in self.lanes for line in lane.in_hand]


def read_board(session: Session, worker: Worker | None, now: datetime) -> Board:
    """Return what is going on in a session, in a fixed number of queries."""
    runs = list(
        session.runs.named().select_related("flat__tray_format", "flat__layout").order_by("started_at", "pk")
    )
    lines = _lines(runs)
    in_hand = [line for line in lines if line.run.finished_at is None]
    finished = [line for line in lines if line.run.finished_at is not None]
    finished.sort(key=lambda line: line.run.finished_at, reverse=True)
    blades = list(session.blade_events.standing().select_related("by_worker").order_by("-at", "-pk"))
    pauses = [(pause.started_at, pause.ended_at) for pause in session.pauses.all()]
    end = session.ended_at or now
    worked = worked_time(session.started_at, end, pauses)
    return Board(
        session=session,
        lanes=_lanes(runs, in_hand, blades, worker),
        finished=finished[:FINISHED_SHOWN],
        finished_count=len(finished),
        plants_count=sum(line.plants_count for line in lines),
        worked=worked,
        paused=max(end - session.started_at - worked, timedelta()),
        paused_since=next((start for start, stop in pauses if stop is None), None),
        last_product=next((event.product for event in blades if event.product), ""),
    )


def line_of(flat: Flat, runs: Iterable[Run]) -> FlatLine:
    """Return the line of one flat from its runs in order."""
    shape = flat.tray_format
    return FlatLine(flat, list(runs), used_count=len(flat.layout.used_places(shape.rows, shape.columns)))


def _lines(runs: list[Run]) -> list[FlatLine]:
    """Return the flats of a session in the order in which they were put on."""
    by_flat: dict[int, list[Run]] = {}
    for run in runs:
        by_flat.setdefault(run.flat_id, []).append(run)
    counts = dict(
        Cell.objects.filter(run__in=[run.pk for run in runs])
        .values_list("run")
        .annotate(Count("pk"))
        .order_by()
    )
    lines = [line_of(group[0].flat, group) for group in by_flat.values()]
    for line in lines:
        line.plants_count = sum(counts.get(run.pk, 0) for run in line.runs)
    return lines


def _lanes(
    runs: list[Run], in_hand: list[FlatLine], blades: list[BladeEvent], worker: Worker | None
) -> list[Lane]:
    lanes: dict[int | None, Lane] = {}
    if worker and runs:
        lanes[worker.pk] = Lane(worker)
    for run in runs:
        lanes.setdefault(run.worker_id, Lane(run.worker)).last = run
    for line in in_hand:
        lanes[line.run.worker_id].in_hand.append(line)
    for event in reversed(blades):
        if event.by_worker_id in lanes:
            lanes[event.by_worker_id].blade = event
    ordered = sorted(lanes.values(), key=lambda lane: _order(lane, worker))
    for lane in ordered[:1]:
        lane.is_main = True
    return ordered


def _order(lane: Lane, worker: Worker | None) -> tuple[bool, bool, str]:
    """Who holds the tablet first, then by name, so that everyone keeps their place; "not recorded" last."""
    return (lane.worker != worker, lane.worker is None, str(lane.worker or ""))
