"""``manage.py backup FILE``: a copy of the book, made while the program runs."""

import os
import signal
import sys
from pathlib import Path

from django.core.management import BaseCommand, CommandError

from nursery.actions.copies import make_copy
from nursery.actions.copies_file import CopyFailed
from nursery.actions.copies_kept import make_kept_copy

GENTLE = 10


class Command(BaseCommand):
    help = (
        "Copy the book into one file while the program runs. Without FILE: one more copy among those that "
        "are kept in the data folder."
    )

    def add_arguments(self, parser):
        parser.add_argument("file", nargs="?", metavar="FILE", help="the copy, as book.takebook")
        parser.add_argument("--force", action="store_true", help="replace FILE if it is there")
        parser.add_argument("--quiet", action="store_true", help="say nothing if all went well")
        parser.add_argument("--data", metavar="DIR", help="data directory; beats TAKEBOOK_DATA")
        parser.add_argument("--copies", metavar="DIR", help="the second folder of the kept copies")

    def handle(self, **options):
        # What is told to stop takes its unfinished file away.
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM))
        try:
            if options["file"]:
                target = Path(options["file"])
                make_copy(target, is_replacing=options["force"])
            else:
                if hasattr(os, "nice"):
                    os.nice(GENTLE)  # those who tap go first
                target = make_kept_copy()
        except CopyFailed as error:
            raise CommandError(str(error)) from error
        if not options["quiet"]:
            size = target.stat().st_size
            self.stdout.write(f"The book is copied into {target} ({size / 1e6:.1f} MB).")
