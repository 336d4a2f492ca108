"""Take in what devices say of cells. Sending anything twice changes nothing.

Every well-formed mark of a known cell is taken in, whatever its time and the state of its check or flat.
Only unknown flats, checks and cells, malformed parts, and a UUID used twice with other content are refused;
the first stays. One transaction a batch, and as many queries whatever its size.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, TypeVar
from uuid import UUID

from django.db import transaction
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from nursery.actions.batch import Batch, CheckIn, ClosingIn, MarkIn, Sender
from nursery.actions.bulk import insert_new
from nursery.actions.counting import lock_flats, recount_flats
from nursery.actions.ledger import flat_ids_of_codes
from nursery.actions.states import FlatSummary, summaries
from nursery.calc.days import corrected_instant, local_date
from nursery.models import Account, Cell, Check, Closing, Device, Farm, Mark, Worker

STORED, KNOWN, REFUSED = "stored", "known", "refused"
_Row = TypeVar("_Row", Mark, Closing)
CLOCK_SLACK = timedelta(minutes=5)
UNKNOWN_FLAT = _("No flat bears this code.")
UNKNOWN_CHECK = _("This check is not known. Send the check with its first mark.")
UNKNOWN_CELL = _("There is no such cell in this flat.")
OTHER_CONTENT = _("This UUID was already used with other content; the first stays.")
GROWERS_REOPEN = _("Only a grower opens a closed check again.")


@dataclass(slots=True)
class Receipt:
    """What became of each part, by UUID; and how the flats stand now, by code."""

    results: dict[str, dict[str, str]] = field(default_factory=dict)
    flats: dict[str, FlatSummary] = field(default_factory=dict)

    def say(self, uuid: UUID | str, status: str, reason: str | Promise = "") -> None:
        self.results[str(uuid)] = {"status": status, **({"reason": str(reason)} if reason else {})}


@dataclass(slots=True)
class _Desk:
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


@transaction.atomic
def receive_batch(batch: Batch, sender: Sender) -> Receipt:
    """Store what is new in ``batch``, count its flats again, and say what became of each part."""
    desk = _open_desk(batch, sender)
    for uuid, reason in batch.refused.items():
        desk.receipt.say(uuid, REFUSED, reason)
    flat_ids = _take_checks(desk)
    _take_marks(desk)
    _take_closings(desk)
    if flat_ids:
        desk.receipt.flats = summaries(recount_flats(flat_ids))
    return desk.receipt


def _open_desk(batch: Batch, sender: Sender) -> _Desk:
    parts: list[CheckIn | MarkIn | ClosingIn] = [*batch.checks, *batch.marks, *batch.closings]
    keys = {part.worker for part in parts if part.worker}
    workers = {worker.key: worker for worker in Worker.objects.filter(key__in=keys)} if keys else {}
    zone = Farm.objects.current().time_zone
    return _Desk(batch, sender, Receipt(), _note_device(batch, sender), zone, workers)


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


def _take_checks(desk: _Desk) -> set[int]:
    """Lock the batch's flats, store new checks; return the keys of the flats concerned."""
    named = {check.uuid for check in desk.batch.checks}
    named |= {mark.check for mark in desk.batch.marks} | {closing.check for closing in desk.batch.closings}
    by_code = flat_ids_of_codes(check.flat_code for check in desk.batch.checks)
    flat_ids = {*by_code.values(), *Check.objects.filter(uuid__in=named).values_list("flat_id", flat=True)}
    lock_flats(flat_ids)
    known = set(Check.objects.filter(uuid__in=named).values_list("uuid", flat=True))
    fresh = [c for c in desk.batch.checks if c.uuid not in known and c.flat_code in by_code]
    if fresh:
        rows = {check.uuid: _check_row(desk, check, by_code[check.flat_code]) for check in reversed(fresh)}
        insert_new([row for _, row in sorted(rows.items())])  # in one order, as in _insert
    desk.checks = {check.uuid: check for check in Check.objects.filter(uuid__in=named)}
    for check in desk.batch.checks:
        _answer_check(desk, check, by_code.get(check.flat_code), is_new=check.uuid not in known)
    return flat_ids


def _check_row(desk: _Desk, check: CheckIn, flat_id: int) -> Check:
    signature = desk.signature(check.opened_at, check.worker)
    opened_at, raw_opened_at = signature.pop("at"), signature.pop("raw_at")
    return Check(
        uuid=check.uuid,
        flat_id=flat_id,
        day=local_date(opened_at, desk.zone),
        kind=check.kind,
        seen_places=list(check.seen_places) or None,
        cause=check.cause,
        opened_at=opened_at,
        raw_opened_at=raw_opened_at,
        **signature,
    )


def _answer_check(desk: _Desk, check: CheckIn, flat_id: int | None, *, is_new: bool) -> None:
    stored = desk.checks.get(check.uuid)
    if flat_id is None:
        desk.receipt.say(check.uuid, REFUSED, UNKNOWN_FLAT)
        desk.checks.pop(check.uuid, None)
    elif stored is None or (stored.flat_id, stored.kind) != (flat_id, check.kind):
        desk.receipt.say(check.uuid, REFUSED, OTHER_CONTENT)
        desk.checks.pop(check.uuid, None)
    else:
        desk.receipt.say(check.uuid, STORED if is_new else KNOWN)


def _take_marks(desk: _Desk) -> None:
    marks = _of_known_checks(desk, desk.batch.marks)
    if not marks:
        return
    _read_cells(desk, marks)
    rows: list[Mark] = []
    for mark in marks:
        row = _mark_row(desk, mark)
        if row is None:
            desk.receipt.say(mark.uuid, REFUSED, UNKNOWN_CELL)
        else:
            rows.append(row)
    _insert(desk, Mark, rows, _mark_content)


def _of_known_checks(desk: _Desk, parts: Iterable[Any]) -> list[Any]:
    """Return the parts whose check is known; refuse the others."""
    kept = []
    for part in parts:
        if part.check in desk.checks:
            kept.append(part)
        else:
            desk.receipt.say(part.uuid, REFUSED, UNKNOWN_CHECK)
    return kept


def _read_cells(desk: _Desk, marks: list[MarkIn]) -> None:
    flat_ids = {desk.checks[mark.check].flat_id for mark in marks}
    places = {mark.place_no for mark in marks}
    for cell in Cell.objects.select_related("run").filter(flat_id__in=flat_ids, place_no__in=places):
        desk.cells[cell.flat_id, cell.place_no, cell.graft_no] = cell


def _mark_row(desk: _Desk, mark: MarkIn) -> Mark | None:
    check = desk.checks[mark.check]
    cell = desk.cells.get((check.flat_id, mark.place_no, mark.graft_no))
    if cell is None:
        return None
    signature = desk.signature(mark.at, mark.worker)
    at = signature["at"]
    is_odd = at > desk.sender.received_at + CLOCK_SLACK or local_date(at, desk.zone) < cell.run.grafted_on
    return Mark(
        uuid=mark.uuid,
        check_ref=check,
        cell=cell,
        kind=mark.kind,
        state=mark.state,
        cause=mark.cause,
        reason=mark.reason,
        replaces=list(mark.replaces),
        is_clock_odd=is_odd,
        **signature,
    )


def _mark_content(mark: Mark) -> tuple[object, ...]:
    """Return what makes a mark the same mark when it is sent again: all that its author said."""
    return (
        mark.check_ref_id,
        mark.cell_id,
        mark.kind,
        mark.state,
        mark.cause,
        mark.reason,
        tuple(mark.replaces),
        mark.raw_at,
    )


def _take_closings(desk: _Desk) -> None:
    closings = _of_known_checks(desk, desk.batch.closings)
    allowed = []
    for closing in closings:
        if closing.kind == Closing.Kind.REOPEN and not _may_reopen(desk.sender.account):
            desk.receipt.say(closing.uuid, REFUSED, GROWERS_REOPEN)
        else:
            allowed.append(closing)
    if allowed:
        _insert(desk, Closing, [_closing_row(desk, closing) for closing in allowed], _closing_content)
        _derive_closed({desk.checks[closing.check].pk for closing in allowed})
        _set_causes(desk, allowed)


def _may_reopen(account: Account | None) -> bool:
    return account is None or account.is_grower  # None: the program itself


def _closing_row(desk: _Desk, closing: ClosingIn) -> Closing:
    return Closing(
        uuid=closing.uuid,
        check_ref=desk.checks[closing.check],
        kind=closing.kind,
        replaces=list(closing.replaces),
        known_marks=list(closing.known),
        reason=closing.reason,
        **desk.signature(closing.at, closing.worker),
    )


def _closing_content(closing: Closing) -> tuple[object, ...]:
    known = tuple(closing.known_marks)
    return closing.check_ref_id, closing.kind, tuple(closing.replaces), known, closing.raw_at


def _derive_closed(check_ids: set[int]) -> None:
    """A check is closed if some closing of it was not taken back by a reopening of it that names it."""
    closed: dict[int, set[str]] = {pk: set() for pk in check_ids}
    taken_back: dict[int, set[str]] = {pk: set() for pk in check_ids}
    for check_id, uuid, kind, replaces in Closing.objects.filter(check_ref_id__in=check_ids).values_list(
        "check_ref_id", "uuid", "kind", "replaces"
    ):
        if kind == Closing.Kind.CLOSE:
            closed[check_id].add(str(uuid))
        else:
            taken_back[check_id].update(replaces)
    are_closed = {pk for pk, uuids in closed.items() if uuids - taken_back[pk]}
    Check.objects.filter(pk__in=check_ids, is_closed=False).filter(pk__in=are_closed).update(is_closed=True)
    Check.objects.filter(pk__in=check_ids - are_closed, is_closed=True).update(is_closed=False)


def _set_causes(desk: _Desk, closings: list[ClosingIn]) -> None:
    """Keep the cause named for the whole check at its closing; one that is sent again changes nothing."""
    new = [closing for closing in closings if desk.receipt.results[str(closing.uuid)]["status"] == STORED]
    for cause in {closing.cause for closing in new if closing.cause}:
        named = [desk.checks[closing.check].pk for closing in new if closing.cause == cause]
        Check.objects.filter(pk__in=named).update(cause=cause)


def _insert(
    desk: _Desk, model: type[_Row], rows: list[_Row], content: Callable[[_Row], tuple[object, ...]]
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
            desk.receipt.say(row.uuid, REFUSED, OTHER_CONTENT)
        elif desk.receipt.results.get(str(row.uuid), {}).get("status") != REFUSED:
            desk.receipt.say(row.uuid, KNOWN if row.uuid in before else STORED)
