"""``manage.py restore FILE``: make a copy the book."""

from datetime import datetime
from pathlib import Path

from django.core.management import BaseCommand, CommandError

from nursery.actions.copies import restore_copy
from nursery.actions.copies_file import CopyFailed


class Command(BaseCommand):
    help = "Make a copy the book of the data folder. Nothing is touched unless the copy is whole."

    def add_arguments(self, parser):
        parser.add_argument("file", metavar="FILE", help="a copy that backup made")
        parser.add_argument(
            "--replace", action="store_true", help="set the book that is there aside and take its place"
        )
        parser.add_argument("--data", metavar="DIR", help="data directory; beats TAKEBOOK_DATA")

    def handle(self, **options):
        try:
            info, aside = restore_copy(Path(options["file"]), is_replacing=options["replace"])
        except CopyFailed as error:
            raise CommandError(str(error)) from error
        counts, made_at = info.counts, datetime.fromisoformat(info.made_at)
        self.stdout.write(
            f"The book of {info.farm or 'a farm without a name'} is back as it was at "
            f"{made_at:%Y-%m-%d %H:%M} UTC: "
            f"{counts['nursery_flat']} flats, {counts['nursery_mark']} marks, "
            f"{counts['nursery_account']} logins. Start the program; everybody logs in once more."
        )
        if aside:
            self.stdout.write(f"The book that was here before is set aside as {aside}")
