"""Two flats bear one label: take the second one into the book, under a code of its own.

It was grafted like the first, in the same session by the same hands; nothing is known yet of how it fared.
What was checked under the shared code stays with the first, until somebody gives a check away.
"""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from nursery.actions.bench import hold_flat
from nursery.actions.codes import issue_code
from nursery.actions.counting import recount_flats
from nursery.actions.stamp import Stamp
from nursery.calc.codes import FLAT, spoken
from nursery.models import LEFT_STAGES, Cell, Change, Flat, Run, RunSowing, StageMove, standing_moves

TWIN = "twin"  # the field of the change that says which flat a second one was taken from
_COPIED = (
    "session", "pairing", "method", "grafted_on", "finished_at", "first_place", "worker", "second_worker",
    "scion_cut_by", "rootstock_cut_by", "cut", "roots", "clip", "rested_hours", "is_fresh_blade",
)  # fmt: skip


@transaction.atomic
def add_twin(flat: Flat, *, stamp: Stamp) -> Flat:
    """Return a new flat grafted like ``flat``, which bears the same label by mistake.

    ValidationError if the flat is on the bench, was never grafted, or is not kept cell by cell.
    """
    held = hold_flat(flat)
    if held.origin != Flat.Origin.MARKS or held.is_pooled:
        raise ValidationError(_("%s is not kept cell by cell.") % spoken(held.code), code="no_cells")
    if held.runs.open().exists() or not held.cells.filter(moved_from=None).exists():
        raise ValidationError(_("Finish %s at the bench first.") % spoken(held.code), code="on_bench")
    twin = Flat.objects.create(
        code=issue_code(FLAT),
        tray_format=held.tray_format,
        layout=held.layout,
        sowing=held.sowing,
        blank_places=held.blank_places,
        created_at=stamp.at,
    )
    for run in held.runs.filter(is_regraft=False).order_by("number"):
        _copy_run(run, twin)
    _stand_beside(held, twin, stamp)
    Change.objects.create(flat=twin, field=TWIN, old=None, new=held.code, **stamp.fields())
    recount_flats([twin.pk])
    return twin


def _copy_run(run: Run, twin: Flat) -> None:
    """Copy a run with its first grafts; it has no beginning, so that no hours of work count twice."""
    copy = Run.objects.create(flat=twin, number=run.number, **{name: getattr(run, name) for name in _COPIED})
    RunSowing.objects.bulk_create(
        RunSowing(run=copy, sowing_id=sowing_id, side=side)
        for sowing_id, side in run.run_sowings.order_by("pk").values_list("sowing_id", "side")
    )
    grafts = run.cells.filter(flat=run.flat_id, moved_from=None, graft_no=1).order_by("order_in_run")
    Cell.objects.bulk_create(
        Cell(flat=twin, place_no=place_no, run=copy, order_in_run=order)
        for place_no, order in grafts.values_list("place_no", "order_in_run")
    )


def _stand_beside(flat: Flat, twin: Flat, stamp: Stamp) -> None:
    last = standing_moves(flat).first()
    if last and last.stage not in LEFT_STAGES:
        StageMove.objects.create(flat=twin, stage=last.stage, place=last.place, **stamp.fields())
