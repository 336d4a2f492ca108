"""``manage.py start --https``: own certificates, the program on one port and the plain door on another."""

import contextlib
from collections.abc import Callable
from functools import lru_cache
from typing import Any

from django.conf import settings

from nursery.actions.https_keeper import Certificates, keeping_certificates, names_of_machine
from nursery.actions.https_names import parsed_name
from nursery.actions.plain_door import TRUST_PATH, Door
from nursery.actions.plain_door_server import open_door
from nursery.actions.serving import (
    CannotServe,
    ensure_port_is_free,
    http_address,
    https_address,
    lan_address,
    web_server,
)
from nursery.views.trust import door_page


class OwnHttps:
    """What ``start`` does otherwise with ``--https``."""

    def __init__(self, options: dict[str, Any]) -> None:
        self.host, self.plain_port, self.port = options["host"], options["port"], options["https_port"]
        self.given: list[str] = options["https_name"]
        self.wants_new_root: bool = options["https_new_root"]
        names = names_of_machine(self.host, self.given)
        self.certificates = Certificates(settings.DATA_DIR, names=names)

    def ensure_ports(self) -> None:
        """Raise CannotServe where HTTPS cannot be spoken here."""
        if settings.HTTPS:
            raise CannotServe(
                "TAKEBOOK_HTTPS says that a proxy before the program speaks HTTPS: leave out --https."
            )
        if self.plain_port != settings.PLAIN_PORT:
            raise CannotServe("--https is read before the settings: call this command through manage.py.")
        if self.port == self.plain_port:
            raise CannotServe(f"Port {self.port} cannot be both: give --https-port another than --port.")
        ensure_port_is_free(self.host, self.port, option="--https-port")

    def prepare(self) -> None:
        """Make the certificates that are missing or due; CannotServe where that cannot be."""
        given = [parsed_name(text) for text in self.given]
        self.certificates.look(new_root=self.wants_new_root)
        for names in given:
            self.certificates.require(names)

    def tell(self, say: Callable[[str], None], show_symbol: Callable[[str], None]) -> None:
        """Say where the program is and where a tablet learns to trust it."""
        lan = lan_address(self.host)
        say(f"\nTakebook on this machine: {https_address(self._here(), self.port)}")
        if lan:
            say(f"On the farm's network:    {https_address(lan, self.port)}")
        else:
            say("No network was found, or --host keeps others out: only this machine reaches it.")
        plain = http_address(lan or self._here(), self.plain_port)
        say(f"\nA tablet that does not trust the farm yet begins here: {plain}{TRUST_PATH}")
        say(f"{plain} leads there, and on to Takebook once it does; labels printed with it go on working.")
        say(f"SHA-256 of the farm's root certificate:\n{self.certificates.fingerprint}")
        for name in self.certificates.left_out:
            say(
                f"{name} is no address for HTTPS: the root certificate was made without it. "
                "--https-new-root makes another, which every tablet has to trust anew."
            )
        say("")
        if lan:
            show_symbol(plain)

    def serve(self) -> None:
        """Answer on both ports until SIGTERM or Ctrl-C."""
        server = web_server(self.host, self.port, certificate=self.certificates.leaf_file)
        with contextlib.ExitStack() as stack:
            stack.enter_context(open_door(self.host, self.plain_port, self._door()))
            stack.enter_context(keeping_certificates(self.certificates, server.signal_handler_reload))
            server.serve()

    def _door(self) -> Door:
        @lru_cache(maxsize=64)
        def page(address: str, host: str) -> str:
            plain = http_address(host, self.plain_port)
            return door_page(address=address, plain=plain, fingerprint=self.certificates.fingerprint)

        return Door(
            https_port=self.port,
            hosts=lambda: self.certificates.hosts,
            own_host=lambda: lan_address(self.host) or self._here(),
            root=lambda: self.certificates.root_der,
            page=page,
            static=settings.STATIC_ROOT,
        )

    def _here(self) -> str:
        return "127.0.0.1" if self.host in {"0.0.0.0", "::"} else self.host
