"""Take in what devices say of cells. Sending anything twice changes nothing.

Every well-formed mark of a known cell is taken in, whatever its time and the state of its check or flat.
Only unknown flats, checks and cells, malformed parts, and a UUID used twice with other content are refused;
the first stays. One transaction a batch, and as many queries whatever its size.
"""

from datetime import timedelta

from django.db import connection, transaction
from django.utils.translation import gettext_lazy as _

from nursery.actions.batch import Batch, CheckIn, MarkIn, Sender
from nursery.actions.bulk import insert_new
from nursery.actions.closings import opened_as, take_closings
from nursery.actions.counting import lock_flats, recount_flats
from nursery.actions.desk import KNOWN, OTHER_CONTENT, REFUSED, STORED, Desk, Receipt, open_desk
from nursery.actions.given import was_given
from nursery.actions.ledger import flat_ids_of_codes
from nursery.actions.numbers import take_numbers
from nursery.actions.prepared import by_id, by_uuid
from nursery.actions.states import summaries
from nursery.calc.days import local_date
from nursery.models import Cell, Check, Mark

__all__ = ["REFUSED", "Receipt", "receive_batch"]

CLOCK_SLACK = timedelta(minutes=5)
UNKNOWN_FLAT = _("No flat bears this code.")
UNKNOWN_CELL = _("There is no such cell in this flat.")


@transaction.atomic
def receive_batch(batch: Batch, sender: Sender) -> Receipt:
    """Store what is new in ``batch``, count its flats again, and say what became of each part."""
    desk = open_desk(batch, sender)
    for uuid, reason in batch.refused.items():
        desk.receipt.say(uuid, REFUSED, reason)
    flat_ids = _take_checks(desk)
    _take_marks(desk)
    take_numbers(desk)
    take_closings(desk)
    if flat_ids:
        desk.receipt.flats = summaries(recount_flats(flat_ids))
    return desk.receipt


def _take_checks(desk: Desk) -> set[int]:
    """Lock the batch's flats, store new checks; return the keys of the flats concerned."""
    named = {check.uuid for check in desk.batch.checks}
    for parts in (desk.batch.marks, desk.batch.closings, desk.batch.numbers):
        named |= {part.check for part in parts}
    by_code = flat_ids_of_codes(check.flat_code for check in desk.batch.checks)
    there = dict(_FLATS_OF_CHECKS.rows(named))
    flat_ids = {*by_code.values(), *there.values()}
    lock_flats(flat_ids)
    known = {uuid for uuid, _flat_id in _FLATS_OF_CHECKS.rows(named)} if _others_write() else there.keys()
    fresh = [c for c in desk.batch.checks if c.uuid not in known and c.flat_code in by_code]
    if fresh:
        rows = {check.uuid: _check_row(desk, check, by_code[check.flat_code]) for check in reversed(fresh)}
        insert_new([row for _, row in sorted(rows.items())])  # in one order, as in _insert
    desk.checks = {check.uuid: check for check in Check.objects.filter(uuid__in=named)}
    given = {check.flat_id for check in desk.checks.values()} - flat_ids
    if given:  # to another flat, between our two looks
        lock_flats(given)
        flat_ids |= given
    for check in desk.batch.checks:
        _answer_check(desk, check, by_code.get(check.flat_code), is_new=check.uuid not in known)
    return flat_ids


def _check_row(desk: Desk, check: CheckIn, flat_id: int) -> Check:
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


def _answer_check(desk: Desk, check: CheckIn, flat_id: int | None, *, is_new: bool) -> None:
    stored = desk.checks.get(check.uuid)
    if flat_id is None:
        desk.receipt.say(check.uuid, REFUSED, UNKNOWN_FLAT)
        desk.checks.pop(check.uuid, None)
    elif stored is None or not _is_of(stored, check, flat_id):
        desk.receipt.say(check.uuid, REFUSED, OTHER_CONTENT)
        desk.checks.pop(check.uuid, None)
    else:
        desk.receipt.say(check.uuid, STORED if is_new else KNOWN)


def _is_of(stored: Check, check: CheckIn, flat_id: int) -> bool:
    """Whether a check is the one stored, on its flat or on the one it was given away from since."""
    is_here = stored.flat_id == flat_id or was_given(stored, check.flat_code)
    opened = opened_as(stored)
    is_same = (opened["kind"], set(opened["seen_places"] or ())) == (check.kind, set(check.seen_places))
    return is_here and is_same


def _take_marks(desk: Desk) -> None:
    marks = desk.of_known_checks(desk.batch.marks)
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
    desk.insert(Mark, rows, _mark_content)


def _read_cells(desk: Desk, marks: list[MarkIn]) -> None:
    flat_ids = {desk.checks[mark.check].flat_id for mark in marks}
    places = {mark.place_no for mark in marks}
    for flat_id, place_no, graft_no, pk, grafted_on in _CELLS.rows(flat_ids):
        if place_no in places:
            desk.cells[flat_id, place_no, graft_no] = (pk, grafted_on)


def _mark_row(desk: Desk, mark: MarkIn) -> Mark | None:
    check = desk.checks[mark.check]
    cell = desk.cells.get((check.flat_id, mark.place_no, mark.graft_no))
    if cell is None:
        return None
    signature = desk.signature(mark.at, mark.worker)
    at = signature["at"]
    cell_id, grafted_on = cell
    is_odd = at > desk.sender.received_at + CLOCK_SLACK or local_date(at, desk.zone) < grafted_on
    return Mark(
        uuid=mark.uuid,
        check_ref=check,
        cell_id=cell_id,
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


def _others_write() -> bool:
    """Whether others may have written since our transaction began: on SQLite it holds the only write lock."""
    return connection.vendor != "sqlite"


_FLATS_OF_CHECKS = by_uuid(
    lambda keys: Check.objects.filter(uuid__in=keys).order_by().values_list("uuid", "flat_id")
)
_CELLS = by_id(
    lambda keys: (
        Cell.objects.filter(flat_id__in=keys)
        .order_by()
        .values_list("flat_id", "place_no", "graft_no", "id", "run__grafted_on")
    )
)
