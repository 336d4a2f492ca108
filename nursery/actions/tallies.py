"""Take past seasons into the book as tallies: all rows of a file, or none."""

from collections.abc import Iterable
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Model
from django.utils import timezone
from django.utils.translation import gettext as _

from nursery.actions.codes import issue_codes
from nursery.actions.counting import lock_flats, recount_many
from nursery.actions.tally_plan import Status, TallyOptions, TallyPlan, plan_tallies
from nursery.calc.codes import FLAT
from nursery.models import Account, TallyRow

_BATCH = 500  # rows stored at a time: bounds the variables of a query


def import_tallies(content: bytes, options: TallyOptions, account: Account | None = None) -> TallyPlan:
    """Store the rows of a file and count their flats; ValidationError, and nothing stored, on any fault."""
    try:
        with transaction.atomic():
            plan = plan_tallies(content, options)
            if plan.faults:
                raise ValidationError([str(fault) for fault in plan.faults], code="faults")
            _store(plan, account, timezone.now())
    except IntegrityError as error:
        raise ValidationError(
            _("Somebody else changed these rows at the same moment. Nothing was stored; import it again."),
            code="race",
        ) from error
    return plan


def _store(plan: TallyPlan, account: Account | None, now: datetime) -> None:
    lock_flats(e.tally.flat_id for e in plan.entries if e.status is not Status.UNCHANGED and e.tally.flat_id)
    for flat, code in zip(plan.new_flats, issue_codes(FLAT, len(plan.new_flats)), strict=True):
        flat.code, flat.created_at = code, now
    for things in (
        plan.seasons.new_seasons,
        plan.names.new_crops,
        plan.names.new_cultivars,
        plan.names.new_pairings,
        plan.names.new_workers,
        plan.new_flats,
        plan.new_runs,
    ):
        _create(things)
    _replace(plan, now)
    tallies = [entry.tally for entry in plan.entries if entry.status is not Status.UNCHANGED]
    for tally in tallies:
        tally.imported_at = now
        tally.imported_by = account
    _create(tallies)
    recount_many(tally.flat_id for tally in tallies)


def _create(things: Iterable[Model]) -> None:
    """Insert rows of one table, whose keys they then have, and which those of the next tables refer to."""
    rows = list(things)
    if rows:
        type(rows[0])._default_manager.bulk_create(rows, batch_size=_BATCH)


def _replace(plan: TallyPlan, now: datetime) -> None:
    replaced = [entry.before.pk for entry in plan.entries if entry.before and entry.status is Status.REPLACED]
    for first in range(0, len(replaced), _BATCH):
        keys = replaced[first : first + _BATCH]
        changed = TallyRow.objects.standing().filter(pk__in=keys).update(replaced_at=now)
        if changed != len(keys):
            raise IntegrityError("a tally row was replaced by somebody else")
