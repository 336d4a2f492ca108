"""The farm's certificate while the program runs: looked at every few minutes, made anew in time."""

import contextlib
import sys
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from cryptography.hazmat.primitives.serialization import Encoding

from nursery.actions.https_names import Names, machine_names
from nursery.actions.https_root import (
    LEAF_FILE,
    Pair,
    ensure_leaf,
    ensure_root,
    https_folder,
    limits_of,
    names_of,
)
from nursery.actions.plain_door import fingerprint
from nursery.actions.serving import CannotServe

LOOK_EVERY_SECONDS = 300.0


class Certificates:
    """The root and the machine's certificate in a data folder. ``look`` brings them up to date."""

    def __init__(
        self,
        data: Path,
        *,
        names: Callable[[], Names],
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.folder, self._names, self._clock = https_folder(data), names, clock
        self.left_out: list[str] = []
        self.hosts: frozenset[str] = frozenset()
        self.root: Pair
        self.leaf: Pair

    @property
    def leaf_file(self) -> Path:
        return self.folder / LEAF_FILE

    @property
    def root_der(self) -> bytes:
        return self.root.certificate.public_bytes(Encoding.DER)

    @property
    def fingerprint(self) -> str:
        return fingerprint(self.root_der)

    def look(self, *, new_root: bool = False) -> bool:
        """Make what is missing or due; return whether the machine's certificate is another one now.

        Raises CannotServe where the root is of no use, OSError where the folder cannot be written.
        """
        names, now = self._names(), self._clock()
        self.root = ensure_root(self.folder, names=names, now=now, anew=new_root)
        self.leaf, is_new = ensure_leaf(self.folder, self.root, names=names, now=now)
        self.hosts = frozenset(names_of(self.leaf).as_text())
        self.left_out = (names - limits_of(self.root).allowed(names)).as_text()
        return is_new

    def require(self, given: Names) -> None:
        """Raise CannotServe if the root may not speak for a name that was given by hand."""
        beyond = (given - limits_of(self.root).allowed(given)).as_text()
        if beyond:
            raise CannotServe(
                f"--https-name {beyond[0]}: the farm's root certificate was made without it and cannot speak "
                "for it. With --https-new-root another one is made, and every tablet has to trust it anew."
            )


def names_of_machine(host: str, extra: list[str]) -> Callable[[], Names]:
    """Return what says, whenever asked, how this machine is called then."""
    return lambda: machine_names(host=host, extra=extra)


@contextlib.contextmanager
def keeping_certificates(certificates: Certificates, on_new: Callable[[], None]) -> Iterator[None]:
    """Look at the certificates until the block is left; ``on_new`` is called after one was made."""
    ending = threading.Event()
    thread = threading.Thread(
        target=_watch, args=[certificates, on_new, ending], name="certificates", daemon=True
    )
    thread.start()
    try:
        yield
    finally:
        ending.set()
        thread.join(timeout=5)


def _watch(certificates: Certificates, on_new: Callable[[], None], ending: threading.Event) -> None:
    said = ""
    while not ending.wait(LOOK_EVERY_SECONDS):
        try:
            if certificates.look():
                _say("A new certificate was made for", ", ".join(sorted(certificates.hosts)))
                on_new()
            said = ""
        except (CannotServe, OSError) as error:
            if str(error) != said:  # once, not every few minutes
                said = str(error)
                _say("The certificate could not be looked after:", said)


def _say(*words: str) -> None:
    print(*words, file=sys.stderr, flush=True)
