"""Take back what left a flat: a leaving, a moving together, a discarding. It stays in the book, voided."""

from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.bench import changed_meanwhile
from nursery.actions.counting import lock_flats, recount_flats
from nursery.actions.stamp import Stamp
from nursery.actions.stock import flat_stock
from nursery.calc.codes import spoken
from nursery.models import (
    LEFT_STAGES,
    Cell,
    Check,
    Flat,
    Grading,
    Leaving,
    Stage,
    StageMove,
    Voiding,
    standing_moves,
)


@transaction.atomic
def undo_leaving(leaving: Leaving, *, stamp: Stamp, reason: str = "") -> None:
    """Take back one leaving; the plants stand in their flat again.

    ValidationError if it was taken back before, or its plants have been marked or have left their new flat
    since: then take that back first.
    """
    _undo([leaving], [], stamp=stamp, reason=reason)


@transaction.atomic
def undo_act(act: UUID, *, stamp: Stamp, reason: str = "") -> None:
    """Take back all that one touch did: the leavings of several flats, and what it says of their stage."""
    leavings = list(Leaving.objects.standing().filter(act=act).select_related("flat", "to_flat"))
    moves = list(StageMove.objects.standing().filter(act=act))
    if not leavings and not moves:
        raise changed_meanwhile()
    _undo(leavings, moves, stamp=stamp, reason=reason)


@transaction.atomic
def undo_discard(flat: Flat, *, stamp: Stamp, reason: str = "") -> None:
    """Take back that a flat was discarded; ValidationError if it is not, or was moved since."""
    lock_flats([flat.pk])
    last = standing_moves(flat).first()
    if last is None or last.stage != Stage.DISCARDED or last.act is None:
        raise ValidationError(_("%s is not discarded.") % spoken(flat.code), code="not_discarded")
    undo_act(last.act, stamp=stamp, reason=reason)


def _undo(leavings: list[Leaving], moves: list[StageMove], *, stamp: Stamp, reason: str) -> None:
    concerned = {leaving.flat_id for leaving in leavings} | {move.flat_id for move in moves}
    concerned |= {leaving.to_flat_id for leaving in leavings if leaving.to_flat_id}
    lock_flats(concerned)
    for leaving in leavings:
        _take_back_plants(leaving)
        _void(leaving.uuid, "leaving", stamp, reason)
        for grading in Grading.objects.standing().filter(leaving=leaving):
            _void(grading.uuid, "grading", stamp, reason)
    for uuid in dict.fromkeys(move.uuid for move in [*moves, *_closings_of(leavings)]):
        _void(uuid, "stage move", stamp, reason)
    looks = [leaving.check_ref_id for leaving in leavings if leaving.check_ref_id]
    Check.objects.filter(pk__in=looks).update(is_void=True)
    Check.objects.filter(uuid__in=[move.uuid for move in moves]).update(is_void=True)
    recount_flats(concerned)


def _void(uuid: UUID, noun: str, stamp: Stamp, reason: str) -> None:
    """Void an event once; whoever comes second is told."""
    if Voiding.objects.filter(target_uuid=uuid).exists():
        raise ValidationError(_("This was taken back already."), code="voided")
    Voiding.objects.create(target_uuid=uuid, target_noun=noun, reason=reason, **stamp.fields())


def _closings_of(leavings: list[Leaving]) -> list[StageMove]:
    """Return the moves by which flats were done when their last plant left by one of ``leavings``."""
    flats = {leaving.flat_id: leaving for leaving in leavings}
    moves = StageMove.objects.standing().filter(flat__in=flats, stage__in=LEFT_STAGES)
    return [move for move in moves if _is_closing(move, flats[move.flat_id])]


def _is_closing(move: StageMove, leaving: Leaving) -> bool:
    if leaving.act is None:
        return move.act is None and move.at == leaving.at
    return move.act == leaving.act


def _take_back_plants(leaving: Leaving) -> None:
    """Take plants that were moved together out of their new flat again; their old places must be free."""
    taken = Cell.objects.filter(marks__check_ref=leaving.check_ref_id, is_present=False).distinct().count()
    if leaving.check_ref_id and taken:
        text = _("Their places in %s hold other plants now: take that back first.")
        raise ValidationError(text % spoken(leaving.flat.code), code="taken")
    cells = list(leaving.cells_moved.select_related("flat"))
    if cells:
        _take_back_cells(leaving, cells)
    elif leaving.to_flat and leaving.check_ref_id is None:
        _require_still_pooled(leaving)


def _take_back_cells(leaving: Leaving, cells: list[Cell]) -> None:
    keys = [cell.pk for cell in cells]
    touched = Cell.objects.filter(pk__in=keys, marks__isnull=False) | Cell.objects.filter(
        pk__in=keys, moved_to__isnull=False
    )
    number = touched.distinct().count() + sum(not cell.is_present for cell in cells)
    if number:
        text = ngettext(
            "%(number)d of these plants was marked or moved in %(flat)s since: move it back instead.",
            "%(number)d of these plants were marked or moved in %(flat)s since: move them back instead.",
            number,
        )
        raise ValidationError(text % {"number": number, "flat": spoken(cells[0].flat.code)}, code="touched")
    Cell.objects.filter(pk__in=keys).delete()
    for cell in cells:
        before = Cell.objects.filter(flat=cell.flat_id, place_no=cell.place_no).order_by("-graft_no").first()
        if before:
            Cell.objects.filter(pk=before.pk).update(is_present=True)


def _require_still_pooled(leaving: Leaving) -> None:
    assert leaving.to_flat is not None
    stock = flat_stock(leaving.to_flat)
    for count in leaving.counts.all():
        alive = stock[count.run_id].alive if count.run_id in stock else 0
        if alive < count.plants_count:
            text = _(
                "Only %(alive)d of these %(plants)d plants still live in %(flat)s: take back what came later."
            )
            said = {"alive": alive, "plants": count.plants_count, "flat": spoken(leaving.to_flat.code)}
            raise ValidationError(text % said, code="left_since")
