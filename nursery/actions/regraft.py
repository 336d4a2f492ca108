"""Graft again where a plant died, left, or never stood. What was there before stays in the book as it ended;
the new grafts are a run of their own with a day of their own. The flat's healing does not begin anew."""

from collections.abc import Collection, Iterable, Sequence

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from nursery.actions.bench import begin_run, changed_meanwhile, hold_flat, place_names, used_places
from nursery.actions.counting import recount_flats
from nursery.actions.stamp import Stamp
from nursery.actions.states import CellState, flat_states
from nursery.actions.work import Work
from nursery.calc.days import local_date
from nursery.models import Cell, Change, Farm, Flat, Leaving, Run, Session, State


@transaction.atomic
def regraft(flat: Flat, *, places: Collection[int], session: Session | None, work: Work, stamp: Stamp) -> Run:
    """Graft in ``places`` of a finished flat, all at once; return the new run, finished.

    ValidationError if a plant lives in a place or the layout does not use it, the flat is still on the bench,
    or it has no cells (a pooled flat).
    """
    held = hold_flat(flat)
    if held.is_pooled:
        raise ValidationError(_("No place is known in a pooled flat: graft into another."), code="pooled")
    if held.runs.open().exists():
        raise ValidationError(_("Finish this flat first, then graft again."), code="on_bench")
    free = free_places(held, stamp)
    _require_free(held, set(places), free)
    last = held.runs.order_by("-number").values_list("number", flat=True).first() or 0
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
    put_cells(held, [(place, run.pk, order) for order, place in enumerate(sorted(set(places)), 1)])
    recount_flats([held.pk])
    return Run.objects.named().get(pk=run.pk)


@transaction.atomic
def undo_regraft(run: Run, *, stamp: Stamp) -> None:
    """Take back grafts that were written down by mistake; ValidationError once one of them was marked."""
    held = hold_flat(run.flat)
    cells = list(run.cells.all())
    if not run.is_regraft:
        raise changed_meanwhile()
    if Cell.objects.filter(run=run, marks__isnull=False).exists() or run.leaving_counts.exists():
        raise ValidationError(_("These grafts have been checked: they stay."), code="checked")
    if any(cell.flat_id != held.pk or not cell.is_present for cell in cells):
        raise ValidationError(_("Some of these grafts stand elsewhere now: they stay."), code="moved")
    Change.objects.create(flat=held, field="regraft", old=len(cells), new=None, **stamp.fields())
    run.day_counts.all().delete()
    for cell in cells:
        cell.delete()
        _bring_back(held, cell.place_no)
    run.delete()
    recount_flats([held.pk])


def free_places(flat: Flat, stamp: Stamp) -> dict[int, str]:
    """Return the places in which no plant lives, in order, with what is there: dead, gone or blank."""
    day = local_date(stamp.at, Farm.objects.current().time_zone)
    return free_among(flat, flat_states(flat, day=day).values())


def free_among(flat: Flat, cells: Iterable[CellState]) -> dict[int, str]:
    """Return the free places of a flat whose cells are these; see ``free_places``."""
    present = {cell.place_no: cell for cell in cells if cell.is_present}
    free = {}
    for place in used_places(flat):
        state = present[place].state if place in present else "blank"
        if state in {State.DEAD, State.GONE, "blank"}:
            free[place] = str(state)
    return free


def put_cells(
    flat: Flat,
    plants: Sequence[tuple[int, int, int]],
    origins: Sequence[tuple[Cell, Leaving]] | None = None,
) -> None:
    """Store a cell for each (place, run, turn in the run) on top of what stood there.

    ``origins`` name, for plants that were moved, the cell each stood in and the act that moved it.
    """
    places = [place for place, _run, _order in plants]
    before = Cell.objects.filter(flat=flat, place_no__in=places)
    newest = dict(before.order_by("graft_no").values_list("place_no", "graft_no"))
    before.filter(is_present=True).update(is_present=False)
    cells = [
        Cell(flat=flat, place_no=place, graft_no=newest.get(place, 0) + 1, run_id=run, order_in_run=order)
        for place, run, order in plants
    ]
    for cell, (old, leaving) in zip(cells, origins or (), strict=origins is not None):
        cell.moved_from, cell.came_by = old, leaving
    Cell.objects.bulk_create(cells)
    _fill_blanks(flat, set(places))


def _fill_blanks(flat: Flat, places: set[int]) -> None:
    blanks = set(flat.blank_places or [])
    if blanks & places:
        Flat.objects.filter(pk=flat.pk).update(blank_places=sorted(blanks - places))


def _bring_back(flat: Flat, place_no: int) -> None:
    """Let the newest graft left in a place be the present one; a place without any is blank again."""
    before = Cell.objects.filter(flat=flat, place_no=place_no).order_by("-graft_no").first()
    if before:
        Cell.objects.filter(pk=before.pk).update(is_present=True)
        return
    blanks = set(Flat.objects.values_list("blank_places", flat=True).get(pk=flat.pk) or [])
    Flat.objects.filter(pk=flat.pk).update(blank_places=sorted(blanks | {place_no}))


def _require_free(flat: Flat, places: set[int], free: dict[int, str]) -> None:
    if not places:
        raise ValidationError({"places": _("Choose the places to graft in.")})
    used = set(used_places(flat))
    unused = sorted(places - used)
    if unused:
        names = ", ".join(place_names(flat, unused))
        raise ValidationError(
            {"places": _("The layout of this flat does not use %s: choose others.") % names}
        )
    taken = sorted(places - set(free))
    if taken:
        names = ", ".join(place_names(flat, taken))
        raise ValidationError({"places": _("A plant lives in %s: choose others.") % names})
