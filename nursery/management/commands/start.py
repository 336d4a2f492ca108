"""``manage.py start``: bring the database up to date and answer on the farm's network."""

import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, call_command
from django.db import DatabaseError, OperationalError

from nursery.actions.copies_keeper import keeping_copies
from nursery.actions.copies_lock import FolderInUse, hold_folder
from nursery.actions.demo_accounts import DEMO_LOGINS, DEMO_PASSWORD, address_demo_labels
from nursery.actions.first_account import drop_first_key, is_first_account_wanted, new_first_key
from nursery.actions.jobs import see_to_jobs
from nursery.actions.serving import (
    CannotServe,
    ensure_port_is_free,
    http_address,
    lan_address,
    qr_as_text,
    web_server,
)
from nursery.actions.starting import ensure_starting_values
from nursery.models import Farm

BLACK_ON_WHITE = "\x1b[38;5;16m\x1b[48;5;231m{}\x1b[0m"  # whatever the terminal's own colours are


class Command(BaseCommand):
    help = "Start Takebook: migrate, then serve this machine and the farm's network until Ctrl-C or SIGTERM."

    def add_arguments(self, parser):
        parser.add_argument(
            "--demo", action="store_true", help="load the demonstration farm into an empty book"
        )
        parser.add_argument("--port", type=int, default=8000, help="port to listen on (8000)")
        parser.add_argument("--host", default="0.0.0.0", help="address to listen on (every address)")
        parser.add_argument("--data", metavar="DIR", help="data directory; beats TAKEBOOK_DATA")
        parser.add_argument("--copies", metavar="DIR", help="a second folder for the nightly copies")
        parser.add_argument(
            "--https", action="store_true", help="speak HTTPS, with the farm's own certificate"
        )
        parser.add_argument("--https-port", type=int, default=8443, help="port of HTTPS (8443)")
        parser.add_argument(
            "--https-name", action="append", default=[], metavar="NAME",
            help="a further name or address of this machine; may be given several times",
        )  # fmt: skip
        parser.add_argument(
            "--https-new-root", action="store_true",
            help="make another root certificate; every tablet has to trust it anew",
        )  # fmt: skip

    def handle(self, **options):
        host, port = options["host"], options["port"]
        if options["data"] and Path(options["data"]).resolve() != settings.DATA_DIR:
            sys.exit("--data is read before the settings: call this command through manage.py.")
        try:
            with hold_folder(settings.DATA_DIR):
                self._serve(host, port, options)
        except FolderInUse as error:
            sys.exit(str(error))

    def _serve(self, host: str, port: int, options: dict) -> None:
        own = _own_https(options) if options["https"] else None
        try:
            ensure_port_is_free(host, port)
            if own:
                own.ensure_ports()
            self._prepare(options["demo"])
            if own:
                own.prepare()
            if options["demo"]:
                address_demo_labels(http_address(lan_address(host) or "127.0.0.1", port))
        except CannotServe as error:
            sys.exit(str(error))
        except (DatabaseError, OSError) as error:
            sys.exit(_sentence(error))
        if own:
            own.tell(self.stdout.write, self._show_symbol)
        else:
            self._tell_addresses(host, port)
        self._tell_login()
        self._tell_copies()
        self.stdout.write("Ctrl-C ends the program. What was entered stays in " + str(settings.DATA_DIR))
        self.stdout.flush()
        with keeping_copies():
            own.serve() if own else web_server(host, port).serve()

    def _prepare(self, wants_demo: bool) -> None:
        self.stdout.write(f"Preparing the book in {settings.DATA_DIR}")
        self.stdout.flush()
        call_command("migrate", interactive=False, verbosity=0)
        ensure_starting_values()
        see_to_jobs()  # what was under way when the machine was stopped is undone, what waits is begun
        call_command("collectstatic", interactive=False, verbosity=0)
        if not wants_demo or Farm.objects.current().is_demo:
            return
        if not is_first_account_wanted():
            self.stdout.write("The book is not empty: the demonstration farm was not loaded into it.")
            return
        self.stdout.write("Loading the demonstration farm.")
        self.stdout.flush()
        call_command("load_demo", verbosity=0)

    def _tell_addresses(self, host: str, port: int) -> None:
        lan = lan_address(host)
        here = host if lan == host else "127.0.0.1"
        self.stdout.write(f"\nTakebook on this machine: {http_address(here, port)}")
        if not lan:
            self.stdout.write(
                "No network was found, or --host keeps others out: only this machine reaches it."
            )
            return
        address = http_address(lan, port)
        self.stdout.write(f"On the farm's network:    {address}\n")
        self._show_symbol(address)

    def _show_symbol(self, address: str) -> None:
        for line in qr_as_text(address).splitlines():
            self.stdout.write(BLACK_ON_WHITE.format(line) if self.stdout.isatty() else line)

    def _tell_login(self) -> None:
        if Farm.objects.current().is_demo:
            self.stdout.write(
                "DEMONSTRATION FARM: everything in it is invented. Do not keep real flats in it.\n"
                f"Log in as {', '.join(DEMO_LOGINS[:-1])} or {DEMO_LOGINS[-1]} (a shared tablet); "
                f"the password of all three is {DEMO_PASSWORD}\n"
            )
        elif is_first_account_wanted():
            key = new_first_key(settings.DATA_DIR)
            self.stdout.write(f"Nobody can log in yet. Make the first login with this one-time key: {key}\n")
        else:
            drop_first_key(settings.DATA_DIR)
            self.stdout.write("Log in with the name and password that a grower of the farm gave you.\n")

    def _tell_copies(self) -> None:
        second = settings.COPIES_DIR
        also = f" and in {second}" if second else ""
        self.stdout.write(f"A copy is made every night in {settings.DATA_DIR / 'copies'}{also}")
        if second and not second.is_dir():
            self.stdout.write(f"There is no folder {second} now: plug in its disk, or make the folder.")


def _own_https(options: dict) -> Any:
    from nursery.management.own_https import OwnHttps  # loads what only certificates need

    return OwnHttps(options)


def _sentence(error: Exception) -> str:
    if settings.DATABASES["default"]["ENGINE"].endswith("postgresql") and isinstance(error, OperationalError):
        return (
            f"The database of DATABASE_URL does not answer: start it or correct the address. {error}".strip()
        )
    return (
        f"The data directory {settings.DATA_DIR} cannot be used ({error}): "
        "choose a folder that you may write to, as with --data DIR."
    )
