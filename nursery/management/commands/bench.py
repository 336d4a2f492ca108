"""Measure the program against floors, in a book made for it; the farm's own is never touched."""

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from nursery.management.bench.run import PARTS, CannotMeasure, Wish, measure, measure_inside


class Command(BaseCommand):
    help = "Measure speed: ours against a floor, in turn, as JSON. Takes minutes; --quick takes one."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--cells", type=int, nargs="+", metavar="N", help="sizes of the take report")
        parser.add_argument("--only", nargs="+", choices=PARTS, default=[], help="measure only these")
        parser.add_argument("--quick", action="store_true", help="few repeats of small things: a try")
        parser.add_argument("--seconds", type=float, help="how long 32 clients write (60)")
        parser.add_argument("--repeats", type=int, default=3, help="how often ours and floor take turns (3)")
        parser.add_argument("--postgres", action="store_true", help="on the PostgreSQL of the test extra")
        parser.add_argument(
            "--database", default="", metavar="URL", help="on a PostgreSQL server: in new databases"
        )
        parser.add_argument("--out", type=Path, metavar="FILE", help="write the JSON there")
        parser.add_argument("--inside", default="", help="for the processes that this starts")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            if options["inside"]:
                self._say(measure_inside(Wish(**json.loads(options["inside"])), self._tell), None)
            else:
                self._say(measure(self._wish(options), self._tell), options["out"])
        except CannotMeasure as error:
            raise CommandError(str(error)) from error

    def _wish(self, options: dict[str, Any]) -> Wish:
        quick = options["quick"]
        cells = options["cells"] or ([20_000, 200_000] if quick else [1_000_000, 10_000_000])
        seconds = options["seconds"] or (3.0 if quick else 60.0)
        return Wish(
            cells,
            options["only"],
            quick,
            seconds,
            options["repeats"],
            options["postgres"],
            options["database"],
        )

    def _tell(self, line: str) -> None:
        print(line, file=sys.stderr, flush=True)

    def _say(self, data: dict[str, Any], out: Path | None) -> None:
        text = json.dumps(data, indent=2, ensure_ascii=False)
        if out:
            out.write_text(text + "\n", encoding="utf-8")
        else:
            self.stdout.write(text)
