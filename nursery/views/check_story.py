"""What one check tells: its marks in the order they were made, and which of them were amended."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from nursery.calc.places import place_name
from nursery.models import Cause, Check, Closing, Mark
from nursery.views.drawing import STATE_WORDS


@dataclass(frozen=True, slots=True)
class MarkLine:
    """One mark. ``amended`` says what became of it or how it came in; empty for a plain one."""

    mark: Mark
    cell: str
    graft_no: int
    state: str
    word: str
    cause: str
    amended: str


def mark_lines(check: Check, closings: Sequence[Closing], columns: int) -> list[MarkLine]:
    """Return the marks of a check in the order they were made."""
    marks = list(
        check.marks.select_related("cell", "by_worker", "sent_by").order_by("at", "cell__place_no", "pk")
    )
    later = _replacing(marks)
    closed = [closing for closing in closings if closing.kind == Closing.Kind.CLOSE]
    known = {uuid for closing in closed for uuid in closing.known_marks}
    return [_line(mark, check, columns, _amended(mark, later, known if closed else None)) for mark in marks]


def _replacing(marks: Sequence[Mark]) -> dict[str, Mark]:
    """Return by UUID the mark that replaced it; marks of other checks of the flat among them."""
    cells = {mark.cell_id for mark in marks}
    others = Mark.objects.filter(cell_id__in=cells, check_ref__is_void=False)
    replacing = {}
    for mark in others.select_related("check_ref").order_by("-at", "-pk"):
        for uuid in mark.replaces:
            replacing[uuid] = mark
    return replacing


def _amended(mark: Mark, later: dict[str, Mark], known: set[str] | None) -> str:
    """Say what is not plain about a mark: it was changed in its own check, corrected, or came in late."""
    uuid = str(mark.uuid)
    parts = []
    if known is not None and uuid not in known:
        parts.append(_("came in after the closing"))
    by = later.get(uuid)
    if by is not None and by.kind == Mark.Kind.UNDO:
        parts.append(_("taken back"))
    elif by is not None and by.kind == Mark.Kind.CORRECTION:
        parts.append(_("corrected later"))
    elif by is not None and by.check_ref_id == mark.check_ref_id:
        parts.append(_("changed"))
    if mark.is_clock_odd:
        parts.append(_("its device's clock was wrong"))
    return ", ".join(parts)


def _line(mark: Mark, check: Check, columns: int, amended: str) -> MarkLine:
    cause = mark.cause or (check.cause if mark.state in ("dead", "wilting") else "")
    return MarkLine(
        mark=mark,
        cell=place_name(mark.cell.place_no, columns),
        graft_no=mark.cell.graft_no,
        state=mark.state,
        word=str(STATE_WORDS[mark.state]),
        cause=str(Cause(cause).label) if cause else "",
        amended=amended,
    )
