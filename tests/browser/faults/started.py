"""``manage.py start`` and its options, as a farm runs it, with the faults of hook.py in its worker."""

import os
import sys

import granian
from django.core.management import execute_from_command_line

WORKER = "tests.browser.faults.started:application"
_Granian = granian.Granian


def faulty(_target, **options):
    return _Granian(WORKER, **options)


def __getattr__(name):
    """The application, for the worker alone: it is made when the server asks for it."""
    if name != "application":
        raise AttributeError(name)
    from django.conf import settings

    from nursery.served import application
    from tests.browser.faults.hook import Faulty

    return Faulty(application, settings.DATA_DIR / "plan.json", settings.DATA_DIR / "batches.jsonl")


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "nursery.settings")
    granian.Granian = faulty
    execute_from_command_line(["manage.py", "start", *sys.argv[1:]])
