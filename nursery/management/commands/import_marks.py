"""Take in the marks that wait on a tablet which cannot send them, from the file it wrote."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from nursery.actions.marks_file import import_marks
from nursery.forms.marks_file import MalformedFile, read_marks_file


class Command(BaseCommand):
    help = "Take in a tablet's file of waiting marks. The same file twice changes nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path)
        parser.add_argument("--dry-run", action="store_true", help="say what would be done, and do nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        path, now = options["file"], timezone.now()
        try:
            file = read_marks_file(path.read_bytes(), now=now)
        except OSError as error:
            raise CommandError(f"{path} cannot be read: {error.strerror}.") from error
        except MalformedFile as error:
            raise CommandError(f"{path}: {error} Nothing was stored.") from error
        outcome = import_marks(file, now=now, is_dry=options["dry_run"])
        self.stdout.write(outcome.said)
        for line in outcome.refusals:
            self.stderr.write(line)
        if outcome.refusals:
            raise CommandError(f"{len(outcome.refusals)} refused; the rest counts.")
