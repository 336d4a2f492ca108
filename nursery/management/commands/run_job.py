"""Do the long work that stands in the line. The program starts this by itself."""

import os
import signal
import zoneinfo
from argparse import ArgumentParser
from contextlib import suppress
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from nursery.actions.job_kinds import KINDS
from nursery.actions.job_line import ending, run_line
from nursery.models import Farm

BELOW_THE_TAPS = 5  # niceness: where the machine is busy, the process that takes the taps goes first


class Command(BaseCommand):
    help = "Do the long work that stands in the line, one piece after the other, unless another process does."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("key", nargs="?", help="what it was started for; the line is done in its order")

    def handle(self, *args: Any, **options: Any) -> None:
        for sign in (signal.SIGTERM, signal.SIGINT):
            signal.signal(sign, lambda *_given: ending.set())
        with suppress(AttributeError, OSError):  # not on every system
            os.nice(BELOW_THE_TAPS)
        with timezone.override(zoneinfo.ZoneInfo(Farm.objects.current().time_zone)):
            run_line(KINDS)
