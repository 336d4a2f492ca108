"""Take past seasons into the book as tallies: all rows of a file, or none.

A small table is stored in one transaction while its sender waits. A large one is long work (``jobs``): it is
read and compared outside any transaction and stored in short ones; whatever ends it takes out what it
brought.
"""

from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.job_line import Outcome, Progress
from nursery.actions.jobs import given_file
from nursery.actions.tally_plan import Status, TallyOptions, TallyPlan, plan_tallies
from nursery.actions.tally_preview import FAULTS_SHOWN, preview_of
from nursery.actions.tally_sheet import is_workbook
from nursery.actions.tally_store import Brought, store_at_once, store_plan, take_out
from nursery.models import Account, Job

AT_ONCE_ROWS = 300  # stored while the sender waits: under half a second
AT_ONCE_WORKBOOK_BYTES = 25_000


def is_long_work(content: bytes) -> bool:
    """True for a table that takes over a second to look at or to store."""
    if is_workbook(content):
        return len(content) > AT_ONCE_WORKBOOK_BYTES
    return content.count(b"\n") > AT_ONCE_ROWS + 1


def import_tallies(content: bytes, options: TallyOptions, account: Account | None = None) -> TallyPlan:
    """Store the rows of a file and count their flats; ValidationError, and nothing stored, on any fault."""
    try:
        with transaction.atomic():
            plan = plan_tallies(content, options)
            _require_no_faults(plan)
            store_at_once(plan, account, timezone.now())
    except IntegrityError as error:
        raise _race() from error
    return plan


def _require_no_faults(plan: TallyPlan) -> None:
    if plan.faults:
        said = [str(fault) for fault in plan.faults[:FAULTS_SHOWN]]
        more = len(plan.faults) - len(said)
        if more:
            said.append(ngettext("%d more fault.", "%d more faults.", more) % more)
        raise ValidationError(said, code="faults")


def _race() -> ValidationError:
    text = _("Somebody else changed these rows at the same moment. Nothing was stored; import it again.")
    return ValidationError(text, code="race")


def options_as_data(options: TallyOptions) -> dict[str, Any]:
    return {"today": options.today.isoformat(), "season": options.season, "replaces": options.replaces}


def options_from_data(data: dict[str, Any]) -> TallyOptions:
    return TallyOptions(date.fromisoformat(data["today"]), data["season"], data["replaces"])


def look_for_job(job: Job, progress: Progress) -> Outcome:
    """Long work: say what a large table would do, and store nothing."""
    plan = _plan(job, progress)
    if plan.faults:
        count = len(plan.faults)
        words = ngettext("%d fault in the table.", "%d faults in the table.", count) % count
    else:
        count = len(plan.entries)
        words = ngettext("%d row was looked at.", "%d rows were looked at.", count) % count
    return Outcome(words, preview_of(plan))


def import_for_job(job: Job, progress: Progress) -> Outcome:
    """Long work: store a large table."""
    plan = _plan(job, progress)
    _require_no_faults(plan)
    changed = len(plan.entries) - plan.count(Status.UNCHANGED)
    progress.expect(changed)
    brought = Brought(timezone.now())
    _keep(job, brought)
    try:
        store_plan(plan, job.asked_by, brought, keep=lambda so_far: _keep(job, so_far), step=progress.step)
    except IntegrityError as error:
        raise _race() from error
    counts = {str(status): plan.count(status) for status in Status}
    return Outcome(stored_in_words(plan), {"counts": counts, "moment": brought.moment.isoformat()})


def _plan(job: Job, progress: Progress) -> TallyPlan:
    progress.step(0)
    content = given_file(job).read_bytes()
    plan = plan_tallies(content, options_from_data(job.params))
    progress.step(0)
    return plan


def _keep(job: Job, brought: Brought) -> None:
    Job.objects.filter(pk=job.pk).update(result=brought.as_data())


def undo_import_for_job(job: Job) -> None:
    """Take out what an import brought that ended without a result."""
    job.refresh_from_db(fields=["result"])
    if job.result:
        take_out(Brought.from_data(job.result))


def stored_in_words(plan: TallyPlan) -> str:
    changed = len(plan.entries) - plan.count(Status.UNCHANGED)
    return ngettext("%d row is in the book now.", "%d rows are in the book now.", changed) % changed
