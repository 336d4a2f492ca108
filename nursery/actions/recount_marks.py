"""What the marks of one cell say, folded again in plain Python: a part of ``recount``, with its rules."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from nursery.models import Check, Closing, Mark

BADNESS = {"dead": 0, "gone": 1, "wilting": 2, "firm": 3, "unmarked": 4}


def unreplaced(marks: list[Mark]) -> list[Mark]:
    """Return the marks of one cell that nobody replaced; within a circle nobody is replaced."""
    by_uuid = {str(mark.uuid): mark for mark in marks}

    def reached(start: str) -> set[str]:
        found: set[str] = set()
        todo = [start]
        while todo:
            for uuid in by_uuid[todo.pop()].replaces:
                if uuid in by_uuid and uuid not in found:
                    found.add(uuid)
                    todo.append(uuid)
        return found

    from_here = {uuid: reached(uuid) for uuid in by_uuid}
    return [
        mark
        for uuid, mark in by_uuid.items()
        if not any(uuid in by_uuid[o].replaces and o not in from_here[uuid] for o in by_uuid if o != uuid)
    ]


def plain_state(left: Iterable[Mark]) -> str:
    """Return the worst state of the marks that nobody replaced."""
    return min((mark.state for mark in left), key=BADNESS.__getitem__, default="unmarked")


def told_closings(checks: Iterable[Check]) -> dict[int, list[Closing]]:
    """Return by check the closings that nobody took back, where one of them tells what it knew."""
    found: dict[int, list[Closing]] = {}
    for check in checks:
        closings = list(Closing.objects.filter(check_ref=check))
        named = [uuid for closing in closings if closing.kind == "reopen" for uuid in closing.replaces]
        valid = [one for one in closings if one.kind == "close" and str(one.uuid) not in named]
        if any(closing.tells_known for closing in valid):
            found[check.pk] = valid
    return found


def seen_alive_by(
    check: Check, closings: Sequence[Closing], cell: Any, marks: list[Mark], *, beside: Iterable[Any]
) -> bool:
    """Return whether this closed check saw alive what an open mark calls dead, without either knowing.

    ``beside`` are all cells of the flat, as another graft may have stood in the place that day.
    """
    if not _looked_at(check, cell, beside) or any(mark.check_ref_id == check.pk for mark in marks):
        return False
    known = {uuid for closing in closings for uuid in closing.known_marks}
    if plain_state(unreplaced([mark for mark in marks if str(mark.uuid) in known])) in {"dead", "gone"}:
        return False
    names = {str(closing.uuid) for closing in closings}
    return any(
        mark.state == "dead" and mark.check_ref.day <= check.day and not _knew(mark, names, marks)
        for mark in unreplaced(marks)
    )


def _looked_at(check: Check, cell: Any, beside: Iterable[Any]) -> bool:
    if check.kind == "numbers" or (check.kind == "part" and cell.place_no not in (check.seen_places or [])):
        return False
    if hasattr(cell, "moved_to") and cell.moved_to.came_by.day <= check.day:
        return False
    over = [o for o in beside if o.place_no == cell.place_no and o.graft_no > cell.graft_no]
    return _first_day(cell) <= check.day < min((_first_day(other) for other in over), default=date.max)


def _first_day(cell: Any) -> date:
    day: date = cell.came_by.day if cell.came_by else cell.run.grafted_on
    return day


def _knew(mark: Mark, names: set[str], marks: list[Mark]) -> bool:
    """Return whether a mark, or one that it replaces by however many steps, names one of these."""
    steps, before = {str(mark.uuid)}, set[str]()
    while steps != before:
        before = set(steps)
        for other in marks:
            if str(other.uuid) in before:
                steps.update(other.replaces)
    return bool(steps & names)
