"""Cells of which people say different things: find them, and settle them.

A settlement is a mark like any other: a correction that replaces all open marks of its cell and names the
closings by which it was seen alive (``calc.seen_alive``), those of later days as well, since whoever settles
sees them all. It is made in the latest of the checks that disagree when the dispute begins, the closed ones
among them, so that the counts from that day on are right. A later day's mark that never knew of the dispute
would then stand beside the correction; it is said again, by another correction in its own check
(``say_again``).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from uuid import uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max, QuerySet
from django.utils.translation import gettext as _

from nursery.actions.bench import changed_meanwhile
from nursery.actions.closed_looks import fold_on, looks_on
from nursery.actions.counting import lock_flats, recount_flats
from nursery.actions.ledger import CellFact, FlatFacts, read_ledger
from nursery.actions.stamp import Stamp
from nursery.calc.fold import MarkFact, fold_cell
from nursery.calc.seen_alive import Look, doubts
from nursery.models import Cell, Check, Closing, DayCount, Flat, Mark

SEEN_ALIVE = "firm"  # what a closing says of a cell that nobody marked, where it must be said by a mark


@dataclass(frozen=True, slots=True)
class Dispute:
    """What disagrees on one cell, from ``day`` on; ``counted`` is the state that counts until it is settled.

    ``open_uuids`` are the open marks and the closings ``seen_alive``, by which others saw the cell alive.
    ``moved_on``: the plant stands in another flat since then, and a mark says something else of it here.
    """

    flat_id: int
    cell: CellFact
    day: date
    counted: str
    open_uuids: tuple[str, ...]
    moved_on: date | None = None
    seen_alive: tuple[str, ...] = ()


def disputes_in(facts: FlatFacts) -> list[Dispute]:
    """Return what is in dispute in one flat, the newest first.

    What was settled by a later look is in dispute still on the days before it.
    """
    found = [dispute for cell in facts.cells for dispute in _disputes_of(facts, cell)]
    return sorted(found, key=lambda dispute: (-dispute.day.toordinal(), dispute.cell.place_no))


def _disputes_of(facts: FlatFacts, cell: CellFact) -> list[Dispute]:
    """Return the disputes on one cell: one for each set of open marks, with all closings against it."""
    marks = facts.marks.get(cell.id, [])
    found: dict[frozenset[str], Dispute] = {}
    days = {mark.day for mark in marks} | {look.day for look in facts.looks.get(cell.id, ())}
    for day in sorted(days):
        standing = [mark for mark in marks if mark.day <= day]
        fold = fold_cell(standing)
        against = doubts(fold, standing, looks_on(facts, cell.id, day))
        is_elsewhere = cell.moved_on is not None and cell.moved_on <= day and fold.state != "gone"
        if fold.disagreement or against or is_elsewhere:
            uuids = tuple(mark.uuid for mark in fold.open)
            counted = "gone" if is_elsewhere else fold.state
            moved_on = cell.moved_on if is_elsewhere else None
            dispute = found.setdefault(
                frozenset(uuids), Dispute(facts.id, cell, day, counted, uuids, moved_on)
            )
            found[frozenset(uuids)] = _with_closings(dispute, against)
    return list(found.values())


def _with_closings(dispute: Dispute, against: Iterable[tuple[MarkFact, Look]]) -> Dispute:
    """Add closings by which the cell was seen alive; for a moved plant they answer nothing."""
    if dispute.moved_on:
        return dispute
    seen = {uuid for _mark, look in against for uuid in look.closings}
    new = tuple(sorted(seen - set(dispute.seen_alive)))
    return replace(dispute, open_uuids=(*dispute.open_uuids, *new), seen_alive=(*dispute.seen_alive, *new))


@transaction.atomic
def settle(cell: Cell, *, uuids: Sequence[str], state: str, reason: str, stamp: Stamp) -> Mark:
    """Settle what is in dispute on a cell: ``state`` stands, and replaces what ``uuids`` name.

    Whoever saw the cell alive by closing a check said "firm". ValidationError if this is not what is in
    dispute (any more), or nobody says ``state``; for a plant that was moved to another flat the only answer
    is "gone".
    """
    lock_flats([cell.flat_id])
    facts = read_ledger([cell.flat_id]).flats[cell.flat_id]
    found = [one for one in disputes_in(facts) if one.cell.id == cell.pk]
    dispute = next((one for one in found if set(one.open_uuids) == set(uuids)), None)
    if dispute is None:
        raise changed_meanwhile()
    marks = _marks(dispute.open_uuids)
    if state not in _answers(dispute, marks):
        raise ValidationError({"state": _("Nobody said so: choose what one of them says.")}, code="state")
    check = _latest_check(dispute, marks)
    correction = Mark.objects.create(
        uuid=uuid4(),
        check_ref=check,
        cell=cell,
        kind=Mark.Kind.CORRECTION,
        state=state,
        cause=_cause(dispute, marks, state),
        reason=reason.strip(),
        replaces=list(dict.fromkeys([*dispute.open_uuids, *_closings_from(facts, cell.pk, check.day)])),
        **stamp.fields(),
    )
    say_again([facts], stamp=stamp, reason=correction.reason)
    recount_flats([cell.flat_id])
    return correction


def _answers(dispute: Dispute, marks: Iterable[Mark]) -> set[str]:
    if dispute.moved_on:
        return {"gone"}
    return {mark.state for mark in marks} | ({SEEN_ALIVE} if dispute.seen_alive else set())


def _cause(dispute: Dispute, marks: Iterable[Mark], state: str) -> str:
    said = [mark.cause for mark in marks if mark.state == state]
    return said[0] if said else "moved" if dispute.moved_on else ""


def _latest_check(dispute: Dispute, marks: Iterable[Mark]) -> Check:
    """Return the check of the last look among those that disagree on the day on which the dispute begins."""
    moments = [(_moment(mark), mark.check_ref) for mark in marks]
    closings = Closing.objects.filter(uuid__in=dispute.seen_alive).defer("known_marks")
    for closing in closings.select_related("check_ref"):
        check = closing.check_ref
        if check.day <= dispute.day:
            moments.append(((True, check.day, check.opened_at, 0), check))
    return max(moments, key=lambda moment: moment[0])[1]


def _closings_from(facts: FlatFacts, cell_id: int, day: date) -> list[str]:
    """Return the closings by which a cell was left alone on a day and since."""
    looks = [look for look in facts.looks.get(cell_id, ()) if look.day >= day]
    return sorted({uuid for look in looks for uuid in look.closings})


@transaction.atomic
def say_again(before: Sequence[FlatFacts], *, stamp: Stamp, reason: str) -> int:
    """After marks came, went or were settled, say again what stood on later days; return how many cells.

    ``before`` is what the flats looked like. Only disagreements that are new since are ended: those that
    people were in before stay for people to settle. What was seen last stands; an undo alone says nothing of
    a cell, so it never wins over a look.
    """
    after = read_ledger([facts.id for facts in before]).flats
    said: list[Mark] = []
    for facts in before:
        for cell in after[facts.id].cells:
            if after[facts.id].marks.get(cell.id, []) != facts.marks.get(cell.id, []):
                said += _end_new_disputes(cell.id, facts, after[facts.id], stamp=stamp)
    for mark in said:
        mark.reason = reason
    Mark.objects.bulk_create(said)
    return len({mark.cell_id for mark in said})


def _end_new_disputes(cell_id: int, old: FlatFacts, new: FlatFacts, *, stamp: Stamp) -> list[Mark]:
    """Say again what was seen last of one cell, day by day.

    Such a mark names no closing. It knows those that the marks it replaces knew, and is against those that
    these were against: whether a plant that one called dead and another saw alive is dead, people say.
    """
    facts, said = list(new.marks.get(cell_id, ())), list[Mark]()
    known: Mapping[str, Mark] = {}
    for day in sorted({mark.day for mark in facts}):
        fold = fold_cell([mark for mark in facts if mark.day <= day])
        if not fold.disagreement or fold_on(old, cell_id, day).disagreement:
            continue
        known = known or {str(mark.uuid): mark for mark in _marks([mark.uuid for mark in facts])}
        rows = {str(mark.uuid): mark for mark in said} | dict(known)
        last = max((rows[mark.uuid] for mark in fold.open), key=_moment)
        mark = Mark(
            uuid=uuid4(),
            check_ref=last.check_ref,
            cell_id=cell_id,
            kind=Mark.Kind.CORRECTION,
            state=last.state,
            cause=last.cause,
            replaces=[mark.uuid for mark in fold.open],
            **stamp.fields(),
        )
        said.append(mark)
        facts.append(_fact(mark))
    return said


def _fact(mark: Mark) -> MarkFact:
    check = mark.check_ref
    return MarkFact(str(mark.uuid), mark.kind, mark.state, tuple(mark.replaces), check.day, check.pk)


def _marks(uuids: Iterable[str]) -> list[Mark]:
    marks = Mark.objects.filter(uuid__in=list(uuids)).select_related("check_ref", "by_worker", "sent_by")
    return list(marks.order_by("pk"))


def _moment(mark: Mark) -> tuple[bool, date, datetime, int]:
    """Order marks by when their cell was looked at."""
    check = mark.check_ref
    return mark.kind != Mark.Kind.UNDO, check.day, check.opened_at, mark.pk or 0


def flats_to_settle() -> QuerySet[Any]:
    """Return the keys of the flats in dispute on some day, and the last such day, the newest first."""
    flagged = DayCount.objects.filter(has_disagreement=True).order_by().values("flat")
    return flagged.annotate(last=Max("day")).order_by("-last", "-flat")


def number_disputes(flat_ids: Iterable[int]) -> dict[int, list[DayCount]]:
    """Return by flat the last count of each run in which more left by number than can have lived."""
    ledger = read_ledger(flat_ids)
    by_cells = {
        (dispute.flat_id, dispute.cell.run_id)
        for facts in ledger.flats.values()
        for dispute in disputes_in(facts)
    }
    rows = DayCount.objects.filter(flat__in=ledger.flats, has_disagreement=True).order_by("day")
    last = {(row.flat_id, row.run_id): row for row in rows.select_related("run")}
    found: dict[int, list[DayCount]] = {}
    for key, row in last.items():
        if key not in by_cells:
            found.setdefault(row.flat_id, []).append(row)
    return found


def flats_in_dispute(flat_ids: Iterable[int]) -> dict[int, list[Dispute]]:
    """Return what is in dispute in each of these flats."""
    ledger = read_ledger(flat_ids)
    return {pk: disputes_in(facts) for pk, facts in ledger.flats.items()}


def flat_disputes(flat: Flat) -> list[Dispute]:
    """Return what is in dispute in one flat, the newest first."""
    return flats_in_dispute([flat.pk])[flat.pk]
