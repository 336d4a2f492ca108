"""The desk at which one batch is taken in: what its parts share, and what became of each."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, TypeVar
from uuid import UUID

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from nursery.actions.batch import Batch, CheckIn, ClosingIn, MarkIn, Sender
from nursery.actions.bulk import insert_new
from nursery.actions.states import FlatSummary
from nursery.calc.days import corrected_instant
from nursery.models import Cell, Check, Closing, Device, Farm, Mark, Worker

STORED, KNOWN, REFUSED = "stored", "known", "refused"
UNKNOWN_CHECK = _("This check is not known. Send the check with its first mark.")
OTHER_CONTENT = _("This UUID was already used with other content; the first stays.")

_Row = TypeVar("_Row", Mark, Closing)


@dataclass(slots=True)
class Receipt:
    """What became of each part, by UUID; and how the flats stand now, by code."""

    results: dict[str, dict[str, str]] = field(default_factory=dict)
    flats: dict[str, FlatSummary] = field(default_factory=dict)

    def say(self, uuid: UUID | str, status: str, reason: str | Promise = "") -> None:
        self.results[str(uuid)] = {"status": status, **({"reason": str(reason)} if reason else {})}

    def is_new(self, uuid: UUID | str) -> bool:
        return self.results[str(uuid)]["status"] == STORED


@dataclass(slots=True)
class Desk:
    """What the parts of one batch share while it is taken in."""

    batch: Batch
    sender: Sender
    receipt: Receipt
    device: Device | None
    zone: str
    workers: dict[UUID, Worker]
    checks: dict[UUID, Check] = field(default_factory=dict)
    cells: dict[tuple[int, int, int], Cell] = field(default_factory=dict)

    def corrected(self, raw: datetime) -> datetime:
        return corrected_instant(raw, self.batch.sent_at, self.sender.received_at)

    def signature(self, raw: datetime, worker: UUID | None) -> dict[str, Any]:
        """Return the columns of an event for something at ``raw`` on the device's clock."""
        return {
            "at": self.corrected(raw),
            "raw_at": raw,
            "received_at": self.sender.received_at,
            "device": self.device,
            "by_worker": self.workers.get(worker, self.sender.worker) if worker else self.sender.worker,
            "sent_by": self.sender.account,
        }

    def of_known_checks(self, parts: Iterable[Any]) -> list[Any]:
        """Return the parts whose check is known; refuse the others."""
        kept = []
        for part in parts:
            if part.check in self.checks:
                kept.append(part)
            else:
                self.receipt.say(part.uuid, REFUSED, UNKNOWN_CHECK)
        return kept

    def insert(
        self, model: type[_Row], rows: list[_Row], content: Callable[[_Row], tuple[object, ...]]
    ) -> None:
        """Insert the rows whose UUID is new; answer for each: stored, known, or used with other content.

        The same UUID may come from two batches at once, for two flats that do not share a lock. So the answer
        is read back after the insert, not foretold before it. Both insert by the order of the UUIDs, so that
        neither holds one that the other has waited for while it waits itself.
        """
        uuids = [row.uuid for row in rows]
        before = set(model.objects.filter(uuid__in=uuids).values_list("uuid", flat=True))
        first: dict[UUID, _Row] = {}
        for row in rows:
            first.setdefault(row.uuid, row)
        fresh = [row for uuid, row in sorted(first.items()) if uuid not in before]
        insert_new(fresh)
        stored = {row.uuid: content(row) for row in model.objects.filter(uuid__in=uuids)}
        for row in rows:
            if content(row) != stored[row.uuid]:
                self.receipt.say(row.uuid, REFUSED, OTHER_CONTENT)
            elif self.receipt.results.get(str(row.uuid), {}).get("status") != REFUSED:
                self.receipt.say(row.uuid, KNOWN if row.uuid in before else STORED)


def open_desk(batch: Batch, sender: Sender) -> Desk:
    """Note the device, and get ready what the parts of ``batch`` share."""
    parts: list[CheckIn | MarkIn | ClosingIn] = [*batch.checks, *batch.marks, *batch.closings]
    keys = {part.worker for part in parts if part.worker}
    workers = {worker.key: worker for worker in Worker.objects.filter(key__in=keys)} if keys else {}
    zone = Farm.objects.current().time_zone
    return Desk(batch, sender, Receipt(), _note_device(batch, sender), zone, workers)


def _note_device(batch: Batch, sender: Sender) -> Device | None:
    if batch.device is None:
        return None
    now = sender.received_at
    skew_ms = round((now - batch.sent_at) / timedelta(milliseconds=1))
    device, _is_new = Device.objects.update_or_create(
        uuid=batch.device,
        defaults={"last_seen_at": now, "skew_ms": skew_ms},
        create_defaults={"first_seen_at": now, "last_seen_at": now, "skew_ms": skew_ms},
    )
    return device
