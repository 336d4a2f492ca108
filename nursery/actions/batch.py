"""What a device sends: checks, marks, closings and numbers, as plain data."""

from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from nursery.models import Account, Worker


@dataclass(frozen=True, slots=True)
class CheckIn:
    """A check as its device opened it; ``opened_at`` on the device's clock."""

    uuid: UUID
    flat_code: str
    opened_at: datetime
    kind: str = "whole"
    seen_places: tuple[int, ...] = ()
    cause: str = ""
    worker: UUID | None = None


@dataclass(frozen=True, slots=True)
class MarkIn:
    """A statement about the ``graft_no``-th graft in place ``place_no`` of the check's flat."""

    uuid: UUID
    check: UUID
    place_no: int
    graft_no: int
    state: str
    at: datetime
    kind: str = "seen"
    cause: str = ""
    reason: str = ""
    replaces: tuple[str, ...] = ()
    worker: UUID | None = None


@dataclass(frozen=True, slots=True)
class ClosingIn:
    """A check closed or opened again; ``known`` are the marks its author could see, None if nobody said.

    ``seen`` says at closing what was looked at: "whole", "part" (``seen_places``), or "" as it was opened. It
    ``is_look`` unless the program closes a check in which nobody looked at what was left alone.
    """

    uuid: UUID
    check: UUID
    at: datetime
    kind: str = "close"
    replaces: tuple[str, ...] = ()
    known: tuple[str, ...] | None = None
    cause: str = ""
    reason: str = ""
    seen: str = ""
    seen_places: tuple[int, ...] = ()
    worker: UUID | None = None
    is_look: bool = True


@dataclass(frozen=True, slots=True)
class NumbersIn:
    """Dead and wilting of one run in a check by numbers. ``run`` is its key, or its number on the flat."""

    check: UUID
    run: UUID | int
    dead: int
    wilting: int = 0

    @property
    def name(self) -> str:
        """What an answer calls it: it has no UUID of its own."""
        return f"{self.check}/{self.run}"


@dataclass(slots=True)
class Batch:
    """One exchange. ``sent_at`` is the device's clock at sending, from which its error is known.

    One ``is_from_file`` that a person brought: the device itself was not heard of.
    """

    sent_at: datetime
    device: UUID | None = None
    checks: list[CheckIn] = field(default_factory=list)
    marks: list[MarkIn] = field(default_factory=list)
    closings: list[ClosingIn] = field(default_factory=list)
    numbers: list[NumbersIn] = field(default_factory=list)
    refused: dict[str, str] = field(default_factory=dict)  # malformed parts, by UUID, with the reason
    is_from_file: bool = False


@dataclass(frozen=True, slots=True)
class Sender:
    """Who sent a batch, and when it came."""

    account: Account | None
    worker: Worker | None
    received_at: datetime
    zone: str = ""  # the farm's, where it is known already
