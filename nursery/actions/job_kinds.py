"""Every kind of long work: how it is done, and undone where it ends without a result."""

from nursery.actions.export import export_csv_for_job, export_xlsx_for_job, undo_export_for_job
from nursery.actions.job_line import Work
from nursery.actions.tallies import import_for_job, look_for_job, undo_import_for_job
from nursery.models import Job


def _nothing_to_undo(job: Job) -> None:
    """For work that only reads."""


KINDS: dict[str, Work] = {
    "tally_look": Work(look_for_job, _nothing_to_undo),
    "tally_import": Work(import_for_job, undo_import_for_job),
    "export_csv": Work(export_csv_for_job, undo_export_for_job),
    "export_xlsx": Work(export_xlsx_for_job, undo_export_for_job),
}
