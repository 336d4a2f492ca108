"""Take past seasons into the book from a table of counts: all of its rows, or none."""

import time
import zoneinfo
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from nursery.actions.jobs import ask_for, cancel_job
from nursery.actions.tallies import import_tallies, is_long_work, options_as_data
from nursery.actions.tally_file import COLUMNS
from nursery.actions.tally_plan import Status, TallyOptions, TallyPlan, plan_tallies
from nursery.models import Farm, Job

SECONDS_BETWEEN_LOOKS = 0.5


class Command(BaseCommand):
    help = f"Import counts of past seasons from CSV or XLSX. Columns, in any order: {', '.join(COLUMNS)}."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path)
        parser.add_argument("--season", metavar="NAME", default="", help="for rows that name no season")
        parser.add_argument("--dry-run", action="store_true", help="say what would be done, and do nothing")
        parser.add_argument(
            "--replace", action="store_true", help="let rows with other counts replace those in the book"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            content = options["file"].read_bytes()
        except OSError as error:
            raise CommandError(f"{options['file']} cannot be read: {error.strerror}.") from error
        today = timezone.localdate(timezone=zoneinfo.ZoneInfo(Farm.objects.current().time_zone))
        wanted = TallyOptions(today=today, season=options["season"], replaces=options["replace"])
        plan = plan_tallies(content, wanted)
        if plan.faults:
            self._refuse([str(fault) for fault in plan.faults])
        if not options["dry_run"]:
            try:
                plan = self._import(content, wanted) or plan
            except ValidationError as error:
                self._refuse(error.messages)
        self.stdout.write("\n".join(_summary(plan, is_stored=not options["dry_run"])))

    def _import(self, content: bytes, wanted: TallyOptions) -> TallyPlan | None:
        """Store a small table here; let a large one be long work, and wait for it."""
        if not is_long_work(content):
            return import_tallies(content, wanted)
        job = ask_for("tally_import", options_as_data(wanted), None, content=content)
        while job.ended_at is None:
            try:
                time.sleep(SECONDS_BETWEEN_LOOKS)
            except KeyboardInterrupt:
                cancel_job(job)
            job.refresh_from_db()
            self.stderr.write(f"\r{job.state}: {job.done_count} of {job.total_count} rows ", ending="")
        self.stderr.write("")
        if job.state != Job.State.DONE:
            raise ValidationError(job.message.splitlines())
        return None

    def _refuse(self, faults: list[str]) -> None:
        for fault in faults:
            self.stderr.write(fault)
        noun = "fault" if len(faults) == 1 else "faults"
        raise CommandError(f"{len(faults)} {noun}; nothing was stored.")


def _summary(plan: TallyPlan, *, is_stored: bool) -> list[str]:
    counts = ", ".join(f"{plan.count(status)} {status}" for status in Status)
    lines = [f"{len(plan.entries)} rows: {counts}." + ("" if is_stored else " Nothing was stored (dry run).")]
    lines += [
        f"New season: {season.name}, {season.starts_on} to {season.ends_on}."
        for season in plan.seasons.new_seasons
    ]
    for noun, names in plan.new_names():
        if names:
            lines.append(f"New {noun}: {', '.join(names)}.")
    if plan.unread:
        lines.append(f"Columns not read: {', '.join(plan.unread)}.")
    return lines
