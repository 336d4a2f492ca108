"""Take past seasons into the book from a CSV file of counts: all of its rows, or none."""

import zoneinfo
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from nursery.actions.tallies import import_tallies
from nursery.actions.tally_file import COLUMNS
from nursery.actions.tally_plan import Status, TallyOptions, TallyPlan, plan_tallies
from nursery.models import Farm


class Command(BaseCommand):
    help = f"Import counts of past seasons from CSV. Columns, in any order: {', '.join(COLUMNS)}."

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
                plan = import_tallies(content, wanted)
            except ValidationError as error:
                self._refuse(error.messages)
        self.stdout.write("\n".join(_summary(plan, is_stored=not options["dry_run"])))

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
