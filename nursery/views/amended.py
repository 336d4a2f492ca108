"""Which checks were amended after they were closed: marks that came in later, and marks corrected later.

What a closing knew is what its author could see. One that did not say is taken to have known what had come in
before it. Of a check that was opened again, what is said from then on amends it, too.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import takewhile

from nursery.models import Check, Closing, Mark


@dataclass(frozen=True, slots=True)
class Amended:
    """So many cells of a check were amended; ``who`` did so last."""

    cells: int
    who: str
    at: datetime


def first_closings(closings: Iterable[Closing]) -> list[Closing]:
    """Return the closings of a check, in the order they came in, until somebody opened it again."""
    ordered = sorted(closings, key=lambda closing: closing.pk)
    until = takewhile(lambda closing: closing.kind != Closing.Kind.REOPEN, ordered)
    return [closing for closing in until if closing.kind == Closing.Kind.CLOSE]


def is_late(mark: Mark, closed: Sequence[Closing]) -> bool:
    """Whether none of these closings knew of a mark of their check."""
    return bool(closed) and not any(_knew(closing, mark) for closing in closed)


def amended_of(own: Iterable[Mark], others: Iterable[Mark], closings: Iterable[Closing]) -> Amended | None:
    """Say how a check was amended, by its ``own`` marks and ``others`` of their cells; None if it was not."""
    closed = first_closings(closings)
    if not closed:
        return None
    told, since = {str(mark.uuid) for mark in own}, min(closing.received_at for closing in closed)
    changes = [mark for mark in own if is_late(mark, closed)]
    changes += [
        mark
        for mark in others
        if mark.kind == Mark.Kind.CORRECTION and mark.received_at > since and told.intersection(mark.replaces)
    ]
    if not changes:
        return None
    last = max(changes, key=lambda mark: (mark.at, mark.pk))
    cells = {mark.cell_id for mark in changes}
    return Amended(len(cells), str(last.by_worker or last.sent_by or ""), last.at)


def amended_checks(checks: Sequence[Check]) -> set[int]:
    """Return the keys of those among the checks of a flat that were amended, in two queries."""
    keys = [check.pk for check in checks]
    closings: dict[int, list[Closing]] = defaultdict(list)
    for closing in Closing.objects.filter(check_ref__in=keys):
        closings[closing.check_ref_id].append(closing)
    marks: dict[int, list[Mark]] = defaultdict(list)
    for mark in Mark.objects.filter(check_ref__in=keys).select_related("by_worker", "sent_by"):
        marks[mark.check_ref_id].append(mark)
    standing = [mark for check in checks if not check.is_void for mark in marks[check.pk]]
    return {
        pk
        for pk in keys
        if amended_of(marks[pk], (m for m in standing if m.check_ref_id != pk), closings[pk])
    }


def _knew(closing: Closing, mark: Mark) -> bool:
    if closing.tells_known or closing.known_marks:
        return str(mark.uuid) in closing.known_marks
    return mark.received_at <= closing.received_at
