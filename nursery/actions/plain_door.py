"""What answers on the plain HTTP port while the program itself speaks HTTPS.

It leads every address, those on printed labels among them, to the same path over HTTPS; it hands out the
farm's root certificate and the page that says how to trust it, since a tablet must read both before it trusts
anything. It holds no book, asks for no login and never reads what is sent to it.

The Host header is whatever the sender writes, so it is believed only where it names this machine.
"""

import hashlib
import json
import mimetypes
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from ipaddress import ip_address
from pathlib import Path
from urllib.parse import quote

from nursery.actions.serving import https_address

ROOT_PATH, TRUST_PATH, STATIC_PATH = "/farm-root.crt", "/trust", "/static/"
MANIFEST_PATH = "/manifest.webmanifest"
SAFE_METHODS = frozenset({"GET", "HEAD"})
# A login made over plain HTTP would go on travelling unencrypted with each label that is scanned.
_FORGET_LOGIN = "sessionid=; Max-Age=0; Path=/; HttpOnly; SameSite=Lax"
_HOST = re.compile(r"(\[[0-9a-f:.]+\]|[a-z0-9._-]+)(:[0-9]{1,5})?")
# Visible ASCII may stand in a Location as it came, what lies above it is written with %; the rest ends lines.
_TARGET = re.compile(r"/[\x21-\x7e\x80-\xff]*")
_AS_IT_CAME = "".join(map(chr, range(0x21, 0x7F)))


@dataclass(frozen=True)
class Asked:
    """What a browser asks: the target is the path with its query, as it came."""

    method: str
    target: str
    host: str = ""
    agent: str = ""


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""


@dataclass(frozen=True)
class Door:
    """Where the door leads and what it hands out."""

    https_port: int
    # The hosts that the certificate names, and the machine's own address: both may change while it runs.
    hosts: Callable[[], frozenset[str]]
    own_host: Callable[[], str]
    root: Callable[[], bytes]
    page: Callable[[str, str], str]  # of the address over HTTPS and the host
    static: Path

    def answer(self, asked: Asked) -> Answer:
        """Answer one request."""
        target = _target(asked.target)
        if target is None:
            return _words(400, "This is no address.")
        path = target.partition("?")[0]
        if asked.method not in SAFE_METHODS:
            return self._moved(path, self._address(asked.host))
        if path == ROOT_PATH:
            return self._root(asked.agent)
        if path in {"/", TRUST_PATH}:
            return self._page(asked.host)
        if path == MANIFEST_PATH:  # whoever installs the program shall install the one that speaks HTTPS
            return _words(404, "Nothing is installed from here.")
        if path.startswith(STATIC_PATH) and (found := self._static(path)):
            return found
        location = self._address(asked.host) + target
        headers = {"Location": location, "Cache-Control": "no-store", "Set-Cookie": _FORGET_LOGIN}
        return _words(307, f"Takebook is at {location}", headers)

    def _host(self, sent: str) -> str:
        """Return the host that was asked for if it is this machine, else the machine's own address."""
        found = _HOST.fullmatch(sent.strip().lower())
        host = found[1].strip("[]").rstrip(".") if found else ""
        if ":" in host:
            try:
                host = str(ip_address(host))
            except ValueError:
                host = ""
        return host if host in self.hosts() else self.own_host()

    def _address(self, sent: str) -> str:
        return https_address(self._host(sent), self.https_port)

    def _moved(self, path: str, address: str) -> Answer:
        """Refuse what is sent here: it would have to be sent twice, and once without encryption."""
        words = f"Nothing was stored. Takebook is now at {address}: open it there."
        if not path.startswith("/api/"):
            return _words(403, words)
        body = json.dumps({"error": "moved", "message": words, "address": address}).encode()
        return Answer(403, {"Content-Type": "application/json", "Cache-Control": "no-store"}, body)

    def _root(self, agent: str) -> Answer:
        headers = {"Content-Type": "application/x-x509-ca-cert", "Cache-Control": "no-store"}
        # Android's settings want a file; Safari takes the certificate as a profile only where it may open it.
        kind = "attachment" if "Android" in agent else "inline"
        headers["Content-Disposition"] = f'{kind}; filename="{ROOT_PATH[1:]}"'
        return Answer(200, headers, self.root())

    def _page(self, sent: str) -> Answer:
        host = self._host(sent)
        address = https_address(host, self.https_port)
        policy = (
            f"default-src 'self'; img-src 'self' data:; connect-src 'self' {address}; object-src 'none'; "
            "base-uri 'self'; form-action 'self'; frame-ancestors 'none'"
        )
        headers = {
            "Content-Type": "text/html; charset=utf-8",
            "Content-Security-Policy": policy,
            "Cache-Control": "no-store",
            "Set-Cookie": _FORGET_LOGIN,
        }
        return Answer(200, headers, self.page(address, host).encode())

    def _static(self, path: str) -> Answer | None:
        """Return a collected file; None if there is none of this name, whatever the name climbs to."""
        root = self.static.resolve()
        file = (root / path.removeprefix(STATIC_PATH)).resolve()
        if not file.is_relative_to(root) or not file.is_file():
            return None
        kind = mimetypes.guess_type(file.name)[0] or "application/octet-stream"
        # Names hold the hash of what is in the file.
        headers = {"Content-Type": kind, "Cache-Control": "public, max-age=604800"}
        return Answer(200, headers, file.read_bytes())


def fingerprint(der: bytes) -> str:
    """Return the SHA-256 of a certificate as browsers and tablets write it: pairs of hexadecimal digits."""
    return hashlib.sha256(der).digest().hex(" ").upper()


def _target(sent: str) -> str | None:
    """Return path and query of what was asked for, or None if nothing may be built of it."""
    if sent.lower().startswith(("http://", "https://")):  # as a proxy is asked
        sent = "/" + sent.split("://", 1)[1].partition("/")[2]
    if not _TARGET.fullmatch(sent):
        return None
    return quote(sent.partition("#")[0], safe=_AS_IT_CAME, encoding="latin-1")


def _words(status: int, text: str, headers: dict[str, str] | None = None) -> Answer:
    base = {"Content-Type": "text/plain; charset=utf-8", "Cache-Control": "no-store"}
    return Answer(status, base | (headers or {}), f"{text}\n".encode())
