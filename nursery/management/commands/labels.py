"""``manage.py labels CODE [CODE ...] --stock NAME --out FILE``: labels of flats, sowings, places as a PDF."""

from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from nursery.actions.codes import code_words
from nursery.actions.labels import Sheet, print_labels
from nursery.actions.papers import all_stocks
from nursery.actions.stamp import Stamp
from nursery.calc.codes import CodeError, read_code
from nursery.labels import STOCKS

KNOWN = f"{', '.join(STOCKS)}, or a paper of the farm's own"


class Command(BaseCommand):
    help = "Write the labels of flats, sowings and places into a PDF and note the print."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("codes", nargs="+", metavar="CODE")
        parser.add_argument(
            "--stock", required=True, help=f"{', '.join(STOCKS)}, or a paper of the farm's own"
        )
        parser.add_argument("--out", required=True, type=Path, metavar="FILE")
        parser.add_argument("--start", type=int, default=1, help="first position used on a part-used sheet")

        parser.add_argument(
            "--with-gaps",
            action="store_true",
            help="leave a line to write on for what does not print",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        stocks = all_stocks()
        if options["stock"] not in stocks:
            raise CommandError(f"--stock: there is no {options['stock']}. Choose of {', '.join(stocks)}.")
        try:
            codes = [read_code(text) for text in options["codes"]]
            sheet = Sheet(options["stock"], options["start"])
            pdf = print_labels(codes, on=sheet, stamp=Stamp.now(), with_gaps=options["with_gaps"])
        except CodeError as error:
            raise CommandError(code_words(error)) from error
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        try:
            options["out"].write_bytes(pdf)
        except OSError as error:
            raise CommandError(f"--out: cannot write {options['out']}: {error.strerror}.") from error
        self.stdout.write(f"{len(codes)} labels in {options['out']}. Print at 100 %, not fitted to the page.")
