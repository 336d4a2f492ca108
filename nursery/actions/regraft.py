"""Graft again in the places of dead plants. The first graft stays dead; the new one is a run of its own."""

from collections.abc import Collection

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from nursery.actions.bench import begin_run, hold_flat, place_names
from nursery.actions.stamp import Stamp
from nursery.actions.states import CellState, flat_states
from nursery.actions.work import Work
from nursery.calc.days import local_date
from nursery.models import Cell, Farm, Flat, Run, Session, State


@transaction.atomic
def regraft(flat: Flat, *, places: Collection[int], session: Session, work: Work, stamp: Stamp) -> Run:
    """Graft again in ``places``, all at once; return the new run, finished.

    ValidationError if a place holds no dead plant, or the flat is still on the bench.
    """
    held = hold_flat(flat)
    if held.runs.open().exists():
        raise ValidationError(_("Finish this flat first, then graft again."), code="on_bench")
    dead = _dead_cells(held, places, stamp)
    last = max(held.runs.values_list("number", flat=True))
    run = begin_run(
        held,
        session=session,
        work=work,
        stamp=stamp,
        number=last + 1,
        first_place=min(places),
        is_regraft=True,
    )
    Run.objects.filter(pk=run.pk).update(finished_at=stamp.at)
    Cell.objects.filter(pk__in=[cell.cell_id for cell in dead]).update(is_present=False)
    Cell.objects.bulk_create(
        Cell(flat=held, place_no=cell.place_no, graft_no=cell.graft_no + 1, run=run, order_in_run=order)
        for order, cell in enumerate(dead, 1)
    )
    return Run.objects.named().get(pk=run.pk)


def _dead_cells(flat: Flat, places: Collection[int], stamp: Stamp) -> list[CellState]:
    """Return the dead plants in ``places``, in their order; ValidationError for a place without one."""
    day = local_date(stamp.at, Farm.objects.current().time_zone)
    dead = {
        cell.place_no: cell
        for cell in flat_states(flat, day=day).values()
        if cell.is_present and cell.state == State.DEAD
    }
    missing = sorted(set(places) - set(dead))
    if missing or not places:
        names = ", ".join(place_names(flat, missing))
        raise ValidationError({"places": _("No dead plant stands in %s: choose others.") % (names or "–")})
    return [dead[place] for place in sorted(set(places))]
