"""The desk at which one batch is taken in: what its parts share, and what became of each."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, TypeVar
from uuid import UUID

from django.db import connection
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from nursery.actions.batch import Batch, CheckIn, ClosingIn, MarkIn, Sender
from nursery.actions.bulk import insert_new
from nursery.actions.prepared import by_uuid
from nursery.actions.states import FlatSummary
from nursery.calc.days import corrected_instant
from nursery.models import Check, Closing, Device, Farm, Mark, Worker

STORED, KNOWN, REFUSED = "stored", "known", "refused"
UNKNOWN_CHECK = _("This check is not known. Send the check with its first mark.")
NOTED_EVERY = timedelta(minutes=1)  # a device that sends tap by tap need not be written each time
SKEW_NOTED_MS = 1000
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
    cells: dict[tuple[int, int, int], tuple[int, date]] = field(default_factory=dict)

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
        uuids = {row.uuid for row in rows}
        known = {uuid for (uuid,) in _STORED[model].rows(uuids)}
        first: dict[UUID, _Row] = {}
        for row in rows:
            first.setdefault(row.uuid, row)
        fresh = [row for uuid, row in sorted(first.items()) if uuid not in known]
        insert_new(fresh)
        # On SQLite nobody else can have inserted since: what was not there before is what was inserted.
        asked = known if connection.vendor == "sqlite" else uuids
        stored = {row.uuid: content(row) for row in fresh}
        if asked:
            stored |= {row.uuid: content(row) for row in model.objects.filter(uuid__in=asked)}
        for row in rows:
            if content(row) != stored[row.uuid]:
                self.receipt.say(row.uuid, REFUSED, OTHER_CONTENT)
            elif self.receipt.results.get(str(row.uuid), {}).get("status") != REFUSED:
                self.receipt.say(row.uuid, KNOWN if row.uuid in known else STORED)


def open_desk(batch: Batch, sender: Sender) -> Desk:
    """Note the device, and get ready what the parts of ``batch`` share."""
    parts: list[CheckIn | MarkIn | ClosingIn] = [*batch.checks, *batch.marks, *batch.closings]
    keys = {part.worker for part in parts if part.worker}
    workers = {worker.key: worker for worker in Worker.objects.filter(key__in=keys)} if keys else {}
    zone = sender.zone or Farm.objects.current().time_zone
    return Desk(batch, sender, Receipt(), _note_device(batch, sender), zone, workers)


def _note_device(batch: Batch, sender: Sender) -> Device | None:
    if batch.device is None:
        return None
    now = sender.received_at
    skew_ms = round((now - batch.sent_at) / timedelta(milliseconds=1))
    device, is_new = Device.objects.get_or_create(
        uuid=batch.device,
        defaults={"first_seen_at": now, "last_seen_at": now, "skew_ms": skew_ms},
    )
    is_news = now - device.last_seen_at >= NOTED_EVERY or abs(skew_ms - device.skew_ms) >= SKEW_NOTED_MS
    if not is_new and is_news and not batch.is_from_file:
        Device.objects.filter(pk=device.pk).update(last_seen_at=now, skew_ms=skew_ms)
    return device


_STORED = {
    model: by_uuid(lambda keys, model=model: model.objects.filter(uuid__in=keys).values_list("uuid"))  # type: ignore[misc]
    for model in (Mark, Closing)
}
