#!/usr/bin/env python
"""Command line of Takebook: ``python manage.py start`` runs the program."""

import argparse
import os
import sys

OLDEST_PYTHON = (3, 11)


def ensure_python_fits() -> None:
    """End with the remedy where this Python is too old."""
    if sys.version_info < OLDEST_PYTHON:
        wanted = ".".join(map(str, OLDEST_PYTHON))
        sys.exit(f"Takebook needs Python {wanted} or newer; this is {sys.version.split()[0]}.")


def take_folder_options(arguments: list) -> None:
    """Let options beat their variables and set that of ``--https``: the settings read them when imported."""
    if arguments[:1] not in [["start"], ["backup"], ["restore"]]:
        return
    parser = argparse.ArgumentParser(prog=f"manage.py {arguments[0]}", add_help=False, allow_abbrev=False)
    parser.add_argument("--data", metavar="DIR")
    parser.add_argument("--copies", metavar="DIR")
    parser.add_argument("--https", action="store_true")
    parser.add_argument("--port", default="8000")
    chosen = parser.parse_known_args(arguments[1:])[0]
    if chosen.data:
        os.environ["TAKEBOOK_DATA"] = chosen.data
    if chosen.copies:
        os.environ["TAKEBOOK_COPIES"] = chosen.copies
    if arguments[0] == "start":
        is_port = chosen.port.isascii() and chosen.port.isdecimal() and 0 < int(chosen.port) < 65536
        os.environ["TAKEBOOK_PLAIN_PORT"] = chosen.port if chosen.https and is_port else ""


def main() -> None:
    ensure_python_fits()
    take_folder_options(sys.argv[1:])
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "nursery.settings")
    try:
        from django.core.exceptions import ImproperlyConfigured
        from django.core.management import execute_from_command_line

        execute_from_command_line(sys.argv)
    except ModuleNotFoundError as error:
        if (error.name or "nursery").startswith("nursery"):
            raise
        sys.exit(
            f"The library {error.name} is missing from {sys.executable}. Install what Takebook needs:\n"
            "  python3 -m venv .venv && .venv/bin/pip install .\n"
            "and call .venv/bin/python manage.py."
        )
    except ImproperlyConfigured as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
