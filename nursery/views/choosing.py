"""Choose plants or places of a flat by touch: the drawing, and the runs where no cell is known."""

from collections.abc import Collection
from dataclasses import dataclass, replace

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from nursery.models import Account, Flat, Run
from nursery.views.drawing import BLANK, STATE_WORDS, WIDE_COLUMNS, DrawnCell, draw_flat, run_sign
from nursery.views.flat_now import LIVING, FlatNow
from nursery.views.standing import drawing_of, places_said

FREE = ("dead", "gone", BLANK)


@dataclass(frozen=True, slots=True)
class RunChoice:
    """A run of which plants live here: what it is called, and how many they are."""

    run: Run
    sign: int
    name: str
    places: str
    alive: int


def draw_choice(now: FlatNow, *, chosen: Collection[int], free: bool = False, summary: str) -> SafeString:
    """Draw the flat so that its living plants, or its ``free`` places, can be chosen."""
    choosable = FREE if free else LIVING
    drawing = drawing_of(
        now.flat,
        now.cells,
        taps=True,
        heads=True,
        still=tuple({*STATE_WORDS} - {*choosable}),
        summary=summary,
    )
    picked = set(chosen)
    cells = {
        place: replace(cell, pressed=place in picked) if cell.state in choosable else cell
        for place, cell in drawing.cells.items()
    }
    return draw_flat(replace(drawing, cells=cells))


def draw_moves(
    now: FlatNow, *, out: Collection[int] = (), into: Collection[int] = (), dom_id: str
) -> SafeString:
    """Draw what would go from a flat and come to it."""
    drawing = drawing_of(now.flat, now.cells, dom_id=dom_id, summary=_moves_said(now.flat, out, into))
    cells = dict(drawing.cells)
    cells |= {place: replace(cells[place], moves="out", run=0) for place in out}
    cells |= {place: DrawnCell(state="gone", moves="in") for place in into}
    return draw_flat(replace(drawing, cells=cells))


def _moves_said(flat: Flat, out: Collection[int], into: Collection[int]) -> str:
    columns = flat.tray_format.columns
    parts = []
    if out:
        parts.append(_("go out: %s") % places_said(sorted(out), columns))
    if into:
        parts.append(_("come in: %s") % places_said(sorted(into), columns))
    return "; ".join(parts) or _("The flat, label corner at the top left")


def run_choices(now: FlatNow, user: Account) -> list[RunChoice]:
    """Return the runs that live here; who grafted them is told to growers alone."""
    columns = now.flat.tray_format.columns
    places: dict[int, list[int]] = {}
    for cell in now.cells:
        if cell.is_present and cell.state in LIVING:
            places.setdefault(cell.run_number, []).append(cell.place_no)
    return [
        RunChoice(
            run=run,
            sign=run_sign(now.numbers[run.pk]),
            name=run_name(run, user),
            places=places_said(places.get(now.numbers[run.pk], []), columns),
            alive=stock.alive,
        )
        for run, stock in now.stocked
    ]


def run_name(run: Run, user: Account) -> str:
    if user.is_grower and run.worker:
        return f"{run.pairing}, {run.worker}"
    return str(run.pairing)


def is_wide(flat: Flat) -> bool:
    """Whether the cells of a flat are drawn below a full touch target, and can be enlarged."""
    return flat.tray_format.columns > WIDE_COLUMNS
