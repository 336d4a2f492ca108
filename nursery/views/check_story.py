"""What one check tells: its marks in the order they were made, who made each where, and what became of it."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import QuerySet
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.calc.places import place_name
from nursery.models import Cause, Check, Closing, Mark
from nursery.views.amended import Amended, amended_of, first_closings, is_late
from nursery.views.drawing import STATE_WORDS

SKEW_SAID = timedelta(minutes=1)  # a clock that is nearer to ours is right for a grower
MARKS_HEADER = [
    "mark",
    "cell",
    "graft",
    "state",
    "kind",
    "cause",
    "reason",
    "who",
    "login",
    "device",
    "at",
    "at_by_its_clock",
    "received_at",
    "clock_odd",
    "replaced_by",
    "amended",
]


@dataclass(frozen=True, slots=True)
class MarkLine:
    """One mark. ``amended`` says what became of it or how it came in; empty for a plain one."""

    mark: Mark
    cell: str
    graft_no: int
    state: str
    word: str
    cause: str
    is_of_the_day: bool
    clock: str
    amended: str
    replaced_by: list[Mark]


@dataclass(frozen=True, slots=True)
class CheckStory:
    lines: list[MarkLine]
    amended: Amended | None


def check_story(check: Check, closings: Sequence[Closing], columns: int) -> CheckStory:
    """Return the marks of a check in the order they were made, and how it was amended, in two queries."""
    marks = list(_signed(check.marks.all()).order_by("at", "cell__place_no", "pk"))
    others = list(_signed(_others(check, marks)))
    later, closed = _replacing([*marks, *others]), first_closings(closings)
    lines = [
        _line(mark, check, columns, replaced_by=later[str(mark.uuid)], late=is_late(mark, closed))
        for mark in marks
    ]
    return CheckStory(lines, amended_of(marks, others, closings))


def marks_table(lines: Sequence[MarkLine]) -> list[list[object]]:
    """Return the marks as rows of a file, with times on the farm's clock."""
    return [
        [
            line.mark.uuid, line.cell, line.graft_no, line.word, line.mark.get_kind_display().lower(),
            line.cause, line.mark.reason, str(line.mark.by_worker or ""), str(line.mark.sent_by or ""),
            str(line.mark.device or ""), _farm_time(line.mark.at), _farm_time(line.mark.raw_at),
            _farm_time(line.mark.received_at), line.mark.is_clock_odd,
            " ".join(str(mark.uuid) for mark in line.replaced_by), line.amended,
        ]
        for line in lines
    ]  # fmt: skip


def _others(check: Check, marks: Sequence[Mark]) -> QuerySet[Mark]:
    cells = {mark.cell_id for mark in marks}
    others = Mark.objects.filter(cell__in=cells, check_ref__is_void=False)
    return others.exclude(check_ref=check).order_by("at", "pk")


def _signed(marks: QuerySet[Mark]) -> QuerySet[Mark]:
    return marks.select_related("cell", "by_worker", "sent_by", "device")


def _replacing(marks: Sequence[Mark]) -> Mapping[str, list[Mark]]:
    """Return by UUID the marks of the same cell that replaced it, the earliest first."""
    cells = {str(mark.uuid): mark.cell_id for mark in marks}
    replacing: dict[str, list[Mark]] = defaultdict(list)
    for mark in sorted(marks, key=lambda mark: (mark.at, mark.pk)):
        for uuid in mark.replaces:
            if cells.get(uuid) == mark.cell_id:
                replacing[uuid].append(mark)
    return replacing


def _amended(mark: Mark, replaced_by: Sequence[Mark], late: bool) -> str:
    """Say what is not plain about a mark: it was changed in its own check, corrected, or came in late."""
    parts = [_("came in after the closing")] if late else []
    by = replaced_by[0] if replaced_by else None
    if by is not None and by.kind == Mark.Kind.UNDO:
        parts.append(_("taken back"))
    elif by is not None and by.kind == Mark.Kind.CORRECTION:
        parts.append(_("corrected later"))
    elif by is not None and by.check_ref_id == mark.check_ref_id:
        parts.append(_("changed"))
    if mark.is_clock_odd:
        parts.append(_("its device's clock was wrong"))
    return ", ".join(parts)


def clock_said(mark: Mark) -> str:
    """Say by how much the clock of a mark's device was wrong; nothing where it was right to the minute."""
    skew = mark.at - mark.raw_at
    if abs(skew) < SKEW_SAID:
        return ""
    if skew > timedelta():
        return _("its clock was %s behind") % _time_said(skew)
    return _("its clock was %s ahead") % _time_said(-skew)


def _time_said(time: timedelta) -> str:
    """Say a stretch of time by its two largest parts: "3 days 2 h", "2 h 5 min"."""
    minutes = round(time.total_seconds() / 60)
    days, hours, minutes = minutes // 1440, minutes // 60 % 24, minutes % 60
    parts = [
        ngettext("%d day", "%d days", days) % days if days else "",
        _("%d h") % hours if hours else "",
        _("%d min") % minutes if minutes and not days else "",
    ]
    return " ".join(filter(None, parts))


def _farm_time(at: datetime) -> str:
    return localtime(at).isoformat(sep=" ", timespec="seconds")


def _line(mark: Mark, check: Check, columns: int, *, replaced_by: list[Mark], late: bool) -> MarkLine:
    cause = mark.cause or (check.cause if mark.state in ("dead", "wilting") else "")
    return MarkLine(
        mark=mark,
        cell=place_name(mark.cell.place_no, columns),
        graft_no=mark.cell.graft_no,
        state=mark.state,
        word=str(STATE_WORDS[mark.state]),
        cause=str(Cause(cause).label) if cause else "",
        is_of_the_day=localtime(mark.at).date() == check.day,
        clock=clock_said(mark),
        amended=_amended(mark, replaced_by, late),
        replaced_by=replaced_by,
    )
