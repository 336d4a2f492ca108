"""Wrong passwords are slowed down: by the name that is tried, and by the address that tries.

A try is noted before its password is looked at. While it is, no more are looked at beside it than would be
free if all of them were wrong, so that many at once gain nothing; but who comes with the right password among
many (a crew that starts its tablets together) waits a moment only. All of it is kept in a small database of
its own in the data folder: that holds for all workers and over a restart, is in no copy of the book, and who
guesses never keeps the book's one writer busy.

Somebody who tries a grower's name all day must not shut the grower out. So a browser in which a name was
logged in before is known by a signed cookie, and has a count of its own.
"""

import contextlib
import math
import secrets
import sqlite3
import time
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from ipaddress import ip_address, ip_network
from pathlib import Path

from django.conf import settings
from django.core import signing
from django.utils.crypto import salted_hmac

from nursery.calc.waiting import FORGOTTEN_AFTER_S, FREE_TRIES, wait_left_s

FILE = "wrong_tries.sqlite3"
# Several people may sit behind one address.
FREE_AT_ADDRESS = 20
FIRST_KEY = "the first account's key"
KNOWN_FOR_S = 365 * 24 * 60 * 60
_SALT = "nursery.known-browser"
_TABLES = """
CREATE TABLE IF NOT EXISTS tries (who TEXT PRIMARY KEY, wrong INTEGER NOT NULL, last REAL NOT NULL);
CREATE TABLE IF NOT EXISTS under_way (who TEXT NOT NULL, token TEXT NOT NULL, began REAL NOT NULL);
"""
# A password is looked at in well under a second; a try that never ended is not waited for longer.
UNDER_WAY_FOR_S = 10.0
LOOK_AGAIN_AFTER_S = 0.05
LOOKS = 60


@dataclass(frozen=True)
class Tries:
    """Who is counted for one try: keys, with how many tries are free."""

    free: dict[str, int]
    token: str = field(default_factory=lambda: secrets.token_hex(8))

    def begin(self) -> int:
        """Note a try and return 0, or return the seconds to wait and note nothing.

        Where as many tries are under way as are free, it waits for one of them to end, three seconds at most.
        """
        for _look in range(LOOKS):
            left = self._begin()
            if left is not None:
                return left
            time.sleep(LOOK_AGAIN_AFTER_S)
        return 1

    def _begin(self) -> int | None:
        """Return the seconds to wait, 0 if none (the try is noted then), or None: others are under way."""
        now = time.time()
        with _counts() as counts:
            counts.execute("DELETE FROM tries WHERE last < ?", [now - FORGOTTEN_AFTER_S])
            counts.execute("DELETE FROM under_way WHERE began < ?", [now - UNDER_WAY_FOR_S])
            rows = [(free, *_row(counts, who), _under_way(counts, who)) for who, free in self.free.items()]
            left = max(
                wait_left_s(wrong, since_last_s=now - last, free=free) for free, wrong, last, _n in rows
            )
            if left > 0:
                return math.ceil(left)
            if any(number and wrong + number >= free for free, wrong, _last, number in rows):
                return None
            counts.executemany(
                "INSERT INTO under_way VALUES (?, ?, ?)", [(who, self.token, now) for who in self.free]
            )
        return 0

    def was_wrong(self) -> None:
        """The try was wrong: it counts."""
        with _counts() as counts:
            self._end(counts)
            counts.executemany(
                "INSERT INTO tries VALUES (?, 1, ?) "
                "ON CONFLICT (who) DO UPDATE SET wrong = wrong + 1, last = excluded.last",
                [(who, time.time()) for who in self.free],
            )

    def was_right(self) -> None:
        """The try was right: the count of the name, or of its browser, goes to nought.

        That of the address stays, else who has a login of their own guesses at others' for ever.
        """
        with _counts() as counts:
            self._end(counts)
            names = [(who,) for who, free in self.free.items() if free != FREE_AT_ADDRESS]
            counts.executemany("DELETE FROM tries WHERE who = ?", names)

    def _end(self, counts: sqlite3.Connection) -> None:
        counts.execute("DELETE FROM under_way WHERE token = ?", [self.token])


def _under_way(counts: sqlite3.Connection, who: str) -> int:
    number: int = counts.execute("SELECT count(*) FROM under_way WHERE who = ?", [who]).fetchone()[0]
    return number


def _row(counts: sqlite3.Connection, who: str) -> tuple[int, float]:
    """Return how many tries were wrong, and when the last of them was."""
    row = counts.execute("SELECT wrong, last FROM tries WHERE who = ?", [who]).fetchone()
    return (row[0], row[1]) if row else (0, 0.0)


def tries_for(name: str, *, address: str, known: str = "") -> Tries:
    """Return the counts that a try for ``name`` falls under; ``known`` is the browser's cookie for it."""
    if known and (token := _token_in(known, name)):
        return Tries({token: FREE_TRIES})
    return Tries(
        {_key("name", _plain(name)): FREE_TRIES, _key("address", _network(address)): FREE_AT_ADDRESS}
    )


def forget_tries(name: str) -> None:
    """A grower set a new password: the name starts anew."""
    with _counts() as counts:
        counts.execute("DELETE FROM tries WHERE who = ?", [_key("name", _plain(name))])


def known_cookie_name(name: str) -> str:
    return "known_" + _key("name", _plain(name))[:12]


def known_cookie(name: str) -> str:
    """Return what a browser is given in which ``name`` was logged in."""
    return signing.dumps([_key("name", _plain(name)), secrets.token_hex(16)], salt=_SALT)


def _token_in(cookie: str, name: str) -> str:
    with contextlib.suppress(signing.BadSignature, ValueError):
        for_name, token = signing.loads(cookie, salt=_SALT, max_age=KNOWN_FOR_S)
        if for_name == _key("name", _plain(name)):
            return _key("known", token)
    return ""


def _key(kind: str, word: str) -> str:
    """Sign the word: what is typed as a name may be a password in the wrong field."""
    return salted_hmac(f"nursery.wrong-tries.{kind}", word, algorithm="sha256").hexdigest()


def _plain(name: str) -> str:
    return unicodedata.normalize("NFKC", name).strip().casefold()[:150]


def _network(address: str) -> str:
    """Return the address; of an IPv6 address the part that one household or firm has to itself."""
    with contextlib.suppress(ValueError):
        parsed = ip_address(address)
        return str(ip_network((parsed, 64), strict=False)) if parsed.version == 6 else str(parsed)
    return address


@contextlib.contextmanager
def _counts() -> Iterator[sqlite3.Connection]:
    """One transaction on the counts; a file that is damaged is begun anew."""
    path = Path(settings.DATA_DIR) / FILE
    counts = sqlite3.connect(path, timeout=20, isolation_level=None)
    try:
        try:
            path.chmod(0o600)
            counts.executescript(_TABLES)
        except sqlite3.DatabaseError as error:
            if isinstance(error, sqlite3.OperationalError):
                raise
            counts.close()
            path.unlink(missing_ok=True)
            counts = sqlite3.connect(path, timeout=20, isolation_level=None)
            counts.executescript(_TABLES)
        counts.execute("BEGIN IMMEDIATE")
        yield counts
        counts.execute("COMMIT")
    finally:
        counts.close()
