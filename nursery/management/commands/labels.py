"""``manage.py labels CODE [CODE ...] --stock NAME --out FILE``: labels of flats and sowings as a PDF."""

from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from nursery.actions.codes import code_words
from nursery.actions.labels import print_labels
from nursery.actions.stamp import Stamp
from nursery.calc.codes import CodeError, read_code
from nursery.labels import STOCKS


class Command(BaseCommand):
    help = "Write the labels of flats and sowings into a PDF and note the print."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("codes", nargs="+", metavar="CODE")
        parser.add_argument("--stock", required=True, choices=list(STOCKS))
        parser.add_argument("--out", required=True, type=Path, metavar="FILE")
        parser.add_argument("--start", type=int, default=1, help="first position used on a part-used sheet")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            codes = [read_code(text) for text in options["codes"]]
            pdf = print_labels(codes, stock=options["stock"], start=options["start"], stamp=Stamp.now())
        except CodeError as error:
            raise CommandError(code_words(error)) from error
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        try:
            options["out"].write_bytes(pdf)
        except OSError as error:
            raise CommandError(f"--out: cannot write {options['out']}: {error.strerror}.") from error
        self.stdout.write(f"{len(codes)} labels in {options['out']}. Print at 100 %, not fitted to the page.")
