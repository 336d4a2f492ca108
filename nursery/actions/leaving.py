"""Plants that leave a flat alive, flats that are discarded, and tongue approach grafts that are severed.

All of it is told in marks and events like everything else, so that it counts, is proved and can be taken
back the same way.
"""

from collections.abc import Collection, Sequence
from datetime import date
from uuid import uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from nursery.actions.batch import Batch, CheckIn, ClosingIn, MarkIn, Sender
from nursery.actions.bench import place_names
from nursery.actions.counting import lock_flats, recount_flats
from nursery.actions.marks import REFUSED, receive_batch
from nursery.actions.stamp import Stamp
from nursery.actions.states import CellState, flat_states
from nursery.calc.codes import spoken
from nursery.calc.days import local_date
from nursery.models import (
    LEAVING_REASONS,
    Cause,
    Farm,
    Flat,
    Method,
    Run,
    Severing,
    Stage,
    StageMove,
    State,
)


@transaction.atomic
def let_leave(flat: Flat, *, places: Collection[int], reason: str, stamp: Stamp) -> int:
    """Write down that the plants in ``places`` left alive for ``reason``; return how many.

    ValidationError if a place holds no living plant. ``reason`` is one of LEAVING_REASONS.
    """
    if reason not in LEAVING_REASONS:
        raise ValueError(f"reason must be one of {LEAVING_REASONS}, got {reason!r}")
    lock_flats([flat.pk])
    living = {cell.place_no: cell for cell in _living(flat, stamp)}
    missing = sorted(set(places) - set(living))
    if missing or not places:
        names = ", ".join(place_names(flat, missing))
        raise ValidationError({"places": _("No living plant stands in %s: choose others.") % (names or "–")})
    _look(flat, [living[place] for place in sorted(places)], State.GONE, cause=reason, stamp=stamp)
    return len(set(places))


@transaction.atomic
def discard_flat(flat: Flat, *, is_loss: bool, stamp: Stamp, reason: str = "") -> int:
    """Discard a flat; return how many plants still lived.

    As a loss it is a last look in which the rest are dead. Otherwise (plants nobody needs) the rest left
    alive, culled. ValidationError if it was discarded before.
    """
    lock_flats([flat.pk])
    if Flat.objects.in_stage(Stage.DISCARDED).filter(pk=flat.pk).exists():
        raise ValidationError(_("%s was discarded already.") % spoken(flat.code), code="discarded")
    living = _living(flat, stamp)
    if is_loss:
        _look(flat, living, State.DEAD, cause=Cause.DISCARDED, stamp=stamp)
    elif living:
        _look(flat, living, State.GONE, cause=Cause.CULLED, stamp=stamp)
    StageMove.objects.create(
        flat=flat, stage=Stage.DISCARDED, is_loss=is_loss, reason=reason, **stamp.fields()
    )
    return len(living)


@transaction.atomic
def sever(run: Run, *, severed_on: date, stamp: Stamp) -> Severing:
    """Write down the second cut of a tongue approach; its record day counts from here."""
    if run.method != Method.TONGUE:
        raise ValidationError(_("Only a tongue approach is severed."), code="method")
    if severed_on < run.grafted_on:
        raise ValidationError({"severed_on": _("This lies before the grafting: choose a later day.")})
    lock_flats([run.flat_id])
    severing = Severing.objects.create(run=run, severed_on=severed_on, **stamp.fields())
    recount_flats([run.flat_id])
    return severing


def _living(flat: Flat, stamp: Stamp) -> list[CellState]:
    day = local_date(stamp.at, Farm.objects.current().time_zone)
    cells = flat_states(flat, day=day).values()
    return [cell for cell in cells if cell.is_present and cell.state not in {State.DEAD, State.GONE}]


def _look(flat: Flat, cells: Sequence[CellState], state: str, *, cause: str, stamp: Stamp) -> None:
    """Mark ``cells`` in a check of its own and close it: whole for a last look, else a part."""
    worker = stamp.worker.key if stamp.worker else None
    kind = "whole" if state == State.DEAD else "part"
    check = CheckIn(uuid4(), flat.code, stamp.raw_at, kind=kind, worker=worker)
    marks = [
        MarkIn(
            uuid=uuid4(),
            check=check.uuid,
            place_no=cell.place_no,
            graft_no=cell.graft_no,
            state=state,
            at=stamp.raw_at,
            cause=cause,
            replaces=cell.open_uuids,
            worker=worker,
        )
        for cell in cells
    ]
    known = (*(uuid for cell in cells for uuid in cell.open_uuids), *(str(mark.uuid) for mark in marks))
    closing = ClosingIn(uuid4(), check.uuid, stamp.raw_at, known=known, worker=worker)
    skew = stamp.received_at - stamp.at  # the batch's own clock: receive_batch corrects raw times by it
    batch = Batch(stamp.raw_at + skew, None, [check], marks, [closing])
    receipt = receive_batch(batch, Sender(stamp.account, stamp.worker, stamp.received_at))
    if any(result["status"] == REFUSED for result in receipt.results.values()):
        raise RuntimeError(f"own marks refused: {receipt.results}")
