"""Checks of the invented season, sent as a tablet would send them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from nursery.actions.batch import Batch, CheckIn, ClosingIn, MarkIn, Sender
from nursery.actions.demo.cast import Cast
from nursery.actions.demo.fate import Fate
from nursery.actions.demo_accounts import TABLET
from nursery.actions.marks import receive_batch
from nursery.actions.states import CellState, flat_states
from nursery.models import Device, Flat, State, Worker


@dataclass(frozen=True, slots=True)
class Look:
    """One check of one flat: who looked, when, on which tablet, and whether they closed it.

    The farm has few tablets; ``device`` picks one of them. ``seen`` are the places looked at, where that was
    a part of the flat.
    """

    flat: Flat
    at: datetime
    worker: Worker
    device: UUID
    is_closed: bool = True
    seen: tuple[int, ...] = ()


TABLETS = [
    ("Bay tablet", UUID("5d0f7a52-93c1-4b0e-8f0a-6a1f4be0c701")),
    ("Chamber tablet", UUID("c2a96e14-0d37-4e55-9b1c-3f7d2c85aa02")),
    ("Juniper's phone", UUID("91b7c3d8-5e2f-4a66-b3d4-08e6f19d7b03")),
]

Says = Callable[[CellState], tuple[str, str] | None]


def check_flat(cast: Cast, look: Look, says: Says) -> CheckIn:
    """Mark each cell of which ``says`` gives a state and a cause, and close the check."""
    check = CheckIn(cast.uuid(), look.flat.code, look.at, worker=look.worker.key)
    go_on(cast, look, check, says)
    return check


def go_on(cast: Cast, look: Look, check: CheckIn, says: Says) -> None:
    """Mark cells in a check that was begun, and close it."""
    states = flat_states(look.flat, day=look.at.date())
    marks = [
        mark
        for cell in states.values()
        if cell.is_present and (mark := _mark(cast, check, cell, says(cell))) is not None
    ]
    open_marks = [uuid for cell in states.values() for uuid in cell.open_uuids]
    closing = ClosingIn(
        cast.uuid(),
        check.uuid,
        look.at + timedelta(minutes=3),
        known=(*open_marks, *(str(mark.uuid) for mark in marks)),
        seen="part" if look.seen else "",
        seen_places=look.seen,
        worker=look.worker.key,
    )
    send(cast, look, checks=[check], marks=marks, closings=[closing] if look.is_closed else [])


def send(
    cast: Cast,
    look: Look,
    *,
    checks: list[CheckIn] | None = None,
    marks: list[MarkIn] | None = None,
    closings: list[ClosingIn] | None = None,
) -> None:
    """Send parts from the tablet of ``look``, four minutes after it began."""
    sent_at = look.at + timedelta(minutes=4)
    name, device = TABLETS[look.device.int % len(TABLETS)]
    seen = {"first_seen_at": sent_at, "last_seen_at": sent_at}
    Device.objects.get_or_create(uuid=device, defaults={"name": name, **seen})
    batch = Batch(sent_at, device, checks=checks or [], marks=marks or [], closings=closings or [])
    receive_batch(batch, Sender(cast.accounts[TABLET], look.worker, sent_at))


def _mark(cast: Cast, check: CheckIn, cell: CellState, said: tuple[str, str] | None) -> MarkIn | None:
    if said is None or said[0] == cell.state:
        return None
    state, cause = said
    return mark_of(cast, check, cell, state=state, cause=cause)


def mark_of(cast: Cast, check: CheckIn, cell: CellState, *, state: str, cause: str = "") -> MarkIn:
    """Return a mark that replaces all that can be seen of the cell."""
    return MarkIn(
        uuid=cast.uuid(),
        check=check.uuid,
        place_no=cell.place_no,
        graft_no=cell.graft_no,
        state=state,
        cause=cause,
        at=check.opened_at + timedelta(seconds=20),
        replaces=cell.open_uuids,
        worker=check.worker,
    )


def as_fated(fates: Mapping[int, Fate], day: int) -> Says:
    """Say of each cell what its fate shows ``day`` days after grafting."""

    def says(cell: CellState) -> tuple[str, str] | None:
        fate = fates.get(cell.place_no)
        if fate is None or cell.state in {State.DEAD, State.GONE}:
            return None
        if fate.dies_on <= day:
            return State.DEAD, fate.cause
        if fate.wilts and day <= 8:
            return State.WILTING, ""
        return (State.FIRM, "") if cell.state == State.WILTING else None

    return says
