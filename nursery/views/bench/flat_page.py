"""What the page of a flat at the bench shows: the drawing, the runs, and who could go on."""

import uuid
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from nursery.calc.places import allot, place_name
from nursery.models import Flat, Pairing, Run, Session, Worker
from nursery.views.bench.board import FlatLine, line_of
from nursery.views.drawing import BLANK, DrawnCell, FlatDrawing, draw_flat, run_sign

PAIRINGS_SHOWN = 6


@dataclass(frozen=True, slots=True)
class RunLine:
    """One run in the legend: its sign, who and what, where it began."""

    run: Run
    place: str
    plants_count: int
    is_in_hand: bool

    @property
    def sign(self) -> int:
        return run_sign(self.run.number)


def line_of_flat(flat: Flat, runs: list[Run]) -> FlatLine:
    line = line_of(flat, runs)
    line.plants_count = line.fillable_count
    return line


def run_lines(line: FlatLine) -> list[RunLine]:
    """Return the runs of a flat with the plants that each has, or would have if it went on to the end."""
    plants = allot(_places(line), [run.first_place for run in line.runs])
    columns = line.flat.tray_format.columns
    return [
        RunLine(
            run=run,
            place=place_name(run.first_place, columns),
            plants_count=sum(plant.run_number == position for plant in plants),
            is_in_hand=run.finished_at is None,
        )
        for position, run in enumerate(line.runs, 1)
    ]


def draw_bench(line: FlatLine, *, is_blanks: bool) -> SafeString:
    """Draw the flat: each plant with the letter of its run, and what is empty."""
    shape = line.flat.tray_format
    cells = {place: DrawnCell(state=BLANK) for place in line.flat.blank_places or []}
    for plant in allot(_places(line), [run.first_place for run in line.runs]):
        cells[plant.place_no] = DrawnCell(run=line.runs[plant.run_number - 1].number)
    return draw_flat(
        FlatDrawing(
            rows=shape.rows,
            columns=shape.columns,
            cells=cells,
            taps=True,
            signs="runs",
            summary=_summary(is_blanks),
        )
    )


def hand_over_choices(flat: Flat, runs: list[Run]) -> dict[str, object]:
    """Return who could go on, and which other scions: those of this session first."""
    run = runs[-1]
    session = run.session if run.session and run.session.ended_at is None else None
    goes_on = Session.objects.open().exists() if session is None else False
    workers = [
        worker for worker in Worker.objects.active() if goes_on or worker != run.worker or run.second_worker
    ]
    here = set(session.runs.values_list("worker_id", flat=True)) if session else set()
    likely = list(Pairing.objects.named().likely_after(run.pairing, run.session_id)[:PAIRINGS_SHOWN])
    shown = [run.pairing_id, *(pairing.pk for pairing in likely)]
    return {
        "workers": sorted(workers, key=lambda worker: (worker.pk not in here, worker.name)),
        "pairings": likely,
        "other_pairings": list(Pairing.objects.named().exclude(pk__in=shown)),
    }


def free_page(
    request: HttpRequest, code: str, *, flat: Flat | None, refused: list[str] | None = None, status: int = 200
) -> HttpResponse:
    """Render a flat that is not in hand: not begun, or finished; or a label whose code is free."""
    sessions = list(Session.objects.open().select_related("place"))
    context = {
        "code": code,
        "flat": flat,
        "runs": list(flat.runs.named()) if flat else [],
        "plants_count": flat.cells.count() if flat else 0,
        "sessions": [(session, session.runs.exists()) for session in sessions],
        "refused": refused or [],
        "new_key": uuid.uuid4(),
    }
    return render(request, "bench/free.html", context, status=status)


def _places(line: FlatLine) -> list[int]:
    shape, blanks = line.flat.tray_format, set(line.flat.blank_places or [])
    return [place for place in line.flat.layout.used_places(shape.rows, shape.columns) if place not in blanks]


def _summary(is_blanks: bool) -> str:
    if is_blanks:
        return _("The flat, label corner at the top left: tap what is empty")
    return _("The flat, label corner at the top left: tap where the next run begins")
