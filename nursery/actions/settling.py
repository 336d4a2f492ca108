"""Cells of which people say different things: find them, and settle them.

A settlement is a mark like any other: a correction that replaces all open marks of its cell, made in the
latest of the checks that disagree, so that the count of that day is right as well. A later day's mark that
never knew of the dispute would then stand beside the correction; it is said again, by another correction in
its own check (``say_again``).
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max, QuerySet
from django.utils.translation import gettext as _

from nursery.actions.bench import changed_meanwhile
from nursery.actions.counting import lock_flats, recount_flats
from nursery.actions.ledger import CellFact, FlatFacts, read_ledger
from nursery.actions.stamp import Stamp
from nursery.calc.fold import MarkFact, fold_cell
from nursery.models import Cell, DayCount, Flat, Mark


@dataclass(frozen=True, slots=True)
class Dispute:
    """Open marks of one cell that disagree, from ``day`` on; ``counted`` is the state that counts until then.

    ``moved_on``: the plant stands in another flat since then, and a mark says something else of it here.
    """

    flat_id: int
    cell: CellFact
    day: date
    counted: str
    open_uuids: tuple[str, ...]
    moved_on: date | None = None


def disputes_in(facts: FlatFacts) -> list[Dispute]:
    """Return what is in dispute in one flat, the newest first.

    What was settled by a later look is in dispute still on the days before it.
    """
    found = [dispute for cell in facts.cells for dispute in _disputes_of(facts, cell)]
    return sorted(found, key=lambda dispute: (-dispute.day.toordinal(), dispute.cell.place_no))


def _disputes_of(facts: FlatFacts, cell: CellFact) -> Iterator[Dispute]:
    marks = facts.marks.get(cell.id, [])
    seen: set[frozenset[str]] = set()
    for day in sorted({mark.day for mark in marks}):
        fold = fold_cell([mark for mark in marks if mark.day <= day])
        uuids = tuple(mark.uuid for mark in fold.open)
        is_elsewhere = cell.moved_on is not None and cell.moved_on <= day and fold.state != "gone"
        if (fold.disagreement or is_elsewhere) and frozenset(uuids) not in seen:
            seen.add(frozenset(uuids))
            counted = "gone" if is_elsewhere else fold.state
            yield Dispute(facts.id, cell, day, counted, uuids, cell.moved_on if is_elsewhere else None)


@transaction.atomic
def settle(cell: Cell, *, uuids: Sequence[str], state: str, reason: str, stamp: Stamp) -> Mark:
    """Settle what is in dispute on a cell: ``state`` stands, and replaces the marks of ``uuids``.

    ValidationError if these marks are not what is in dispute (any more), or none of them says ``state``; for
    a plant that was moved to another flat the only answer is "gone".
    """
    lock_flats([cell.flat_id])
    facts = read_ledger([cell.flat_id]).flats[cell.flat_id]
    found = [one for one in disputes_in(facts) if one.cell.id == cell.pk]
    dispute = next((one for one in found if set(one.open_uuids) == set(uuids)), None)
    if dispute is None:
        raise changed_meanwhile()
    marks = {str(mark.uuid): mark for mark in _marks(dispute.open_uuids)}
    if state not in _answers(dispute, marks.values()):
        raise ValidationError({"state": _("Nobody said so: choose what one of them says.")}, code="state")
    said = [mark for mark in marks.values() if mark.state == state]
    last = max(marks.values(), key=_moment)
    correction = Mark.objects.create(
        uuid=uuid4(),
        check_ref=last.check_ref,
        cell=cell,
        kind=Mark.Kind.CORRECTION,
        state=state,
        cause=said[0].cause if said else "moved",
        reason=reason.strip(),
        replaces=list(dispute.open_uuids),
        **stamp.fields(),
    )
    say_again([facts], stamp=stamp, reason=correction.reason)
    recount_flats([cell.flat_id])
    return correction


def _answers(dispute: Dispute, marks: Iterable[Mark]) -> set[str]:
    return {"gone"} if dispute.moved_on else {mark.state for mark in marks}


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
            marks = after[facts.id].marks.get(cell.id, [])
            if marks != facts.marks.get(cell.id, []):
                said += _end_new_disputes(cell, facts.marks.get(cell.id, []), marks, stamp=stamp)
    for mark in said:
        mark.reason = reason
    Mark.objects.bulk_create(said)
    return len({mark.cell_id for mark in said})


def _end_new_disputes(
    cell: CellFact, old: Sequence[MarkFact], new: Sequence[MarkFact], *, stamp: Stamp
) -> list[Mark]:
    facts, said = list(new), list[Mark]()
    known: Mapping[str, Mark] = {}
    for day in sorted({mark.day for mark in new}):
        fold = fold_cell([mark for mark in facts if mark.day <= day])
        if not fold.disagreement or fold_cell([mark for mark in old if mark.day <= day]).disagreement:
            continue
        known = known or {str(mark.uuid): mark for mark in _marks([mark.uuid for mark in new])}
        rows = {str(mark.uuid): mark for mark in said} | dict(known)
        last = max((rows[mark.uuid] for mark in fold.open), key=_moment)
        mark = Mark(
            uuid=uuid4(),
            check_ref=last.check_ref,
            cell_id=cell.id,
            kind=Mark.Kind.CORRECTION,
            state=last.state,
            cause=last.cause,
            replaces=[mark.uuid for mark in fold.open],
            **stamp.fields(),
        )
        said.append(mark)
        facts.append(
            MarkFact(str(mark.uuid), mark.kind, mark.state, tuple(mark.replaces), last.check_ref.day)
        )
    return said


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
