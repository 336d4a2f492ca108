"""Cells in dispute, as pages show them: who says what, where the cell lies, what can be answered."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _

from nursery.actions.settling import (
    SEEN_ALIVE,
    Dispute,
    flat_disputes,
    flats_in_dispute,
    flats_to_settle,
    number_disputes,
)
from nursery.calc.fold import WORST_FIRST
from nursery.calc.places import place_name
from nursery.models import Cause, Cell, Closing, DayCount, Flat, Leaving, Mark
from nursery.views.drawing import STATE_WORDS, cell_id
from nursery.views.small_flat import small_flat
from nursery.views.standing import day_said


@dataclass(frozen=True, slots=True)
class Answer:
    """One touch that settles a dispute: the state, and the words of the button."""

    state: str
    label: str


@dataclass(frozen=True, slots=True)
class Said:
    """What one of them says: by a mark, or by closing a check that saw the cell and left it alone."""

    uuid: str
    who: str
    state: str
    word: str
    at: datetime


@dataclass(frozen=True, slots=True)
class DisputeLine:
    """A cell on which people disagree. ``moved`` is where its plant stands, where it was moved on."""

    flat: Flat
    public_id: str
    name: str
    day: date
    counted: str
    uuids: str
    said: list[Said]
    answers: list[Answer]
    moved: Cell | None
    picture: str

    @property
    def dom_id(self) -> str:
        """One name for this dispute on any page."""
        return f"dispute-{self.flat.code}-{self.public_id.replace('.', '-')}-{self.said[0].uuid[:8]}"


@dataclass(frozen=True, slots=True)
class NumberLine:
    """A run of which more plants are said to have left by number than lived."""

    count: DayCount
    name: str
    left: list[Leaving]


@dataclass(slots=True)
class FlatInDispute:
    flat: Flat
    cells: list[DisputeLine] = field(default_factory=list)
    numbers: list[NumberLine] = field(default_factory=list)


def dispute_lines(flat: Flat) -> list[DisputeLine]:
    """Return what is in dispute in one flat, the newest first; one query where nothing is."""
    if not flats_to_settle().filter(flat=flat).exists():
        return []
    return _lines({flat.pk: flat}, flat_disputes(flat))


def lines_by_flat(flat_ids: Sequence[int], today: date) -> list[FlatInDispute]:
    """Return the flats with these keys, in order, and what is in dispute in each; the queries are bounded."""
    flats = Flat.objects.select_related("tray_format", "layout").in_bulk(list(flat_ids))
    entries = {pk: FlatInDispute(flats[pk]) for pk in flat_ids}
    disputes = [one for found in flats_in_dispute(flat_ids).values() for one in found]
    for line in _lines(flats, disputes):
        entries[line.flat.pk].cells.append(line)
    for pk, lines in _number_lines(flat_ids, today).items():
        entries[pk].numbers = lines
    return list(entries.values())


def _lines(flats: Mapping[int, Flat], disputes: Iterable[Dispute]) -> list[DisputeLine]:
    disputes = list(disputes)
    if not disputes:
        return []
    said = _said_by_marks(disputes) | _said_by_closings(disputes)
    away = [dispute.cell.id for dispute in disputes if dispute.moved_on]
    rows = Cell.objects.filter(moved_from__in=away).select_related("flat__tray_format") if away else []
    moved = {cell.moved_from_id: cell for cell in rows}
    return [_line(flats[dispute.flat_id], dispute, said, moved) for dispute in disputes]


def _said_by_marks(disputes: Iterable[Dispute]) -> dict[str, Said]:
    uuids = {uuid for dispute in disputes for uuid in dispute.open_uuids}
    marks = Mark.objects.filter(uuid__in=uuids).select_related("by_worker", "sent_by")
    said = [
        Said(str(mark.uuid), _who(mark), mark.state, mark.get_state_display().lower(), mark.at)
        for mark in marks.order_by("pk")
    ]
    return {one.uuid: one for one in said}


def _said_by_closings(disputes: Iterable[Dispute]) -> dict[str, Said]:
    """Return what was said by closing; of a check closed twice by one person, the last closing speaks."""
    uuids = {uuid for dispute in disputes for uuid in dispute.seen_alive}
    if not uuids:
        return {}
    closings = Closing.objects.filter(uuid__in=uuids, tells_known=True).defer("known_marks")
    closings = closings.select_related("by_worker", "sent_by").order_by("at", "pk")
    last = {(closing.check_ref_id, _who(closing)): closing for closing in closings}
    return {
        str(closing.uuid): Said(str(closing.uuid), _who(closing), SEEN_ALIVE, _("seen alive"), closing.at)
        for closing in last.values()
    }


def _who(event: Mark | Closing) -> str:
    return str(event.by_worker or event.sent_by or "")


def _line(flat: Flat, dispute: Dispute, told: Mapping[str, Said], moved: Mapping[Any, Cell]) -> DisputeLine:
    shape, place = flat.tray_format, dispute.cell.place_no
    said = sorted((told[uuid] for uuid in dispute.open_uuids if uuid in told), key=lambda one: one.at)
    return DisputeLine(
        flat=flat,
        public_id=cell_id(place, dispute.cell.graft_no),
        name=place_name(place, shape.columns),
        day=dispute.day,
        counted=str(STATE_WORDS[dispute.counted]),
        uuids=",".join(sorted(dispute.open_uuids)),
        said=said,
        answers=[Answer("gone", _("It was moved"))] if dispute.moved_on else _answers(said),
        moved=moved.get(dispute.cell.id),
        picture=small_flat(shape.rows, shape.columns, asked=[place]),
    )


def _answers(said: Sequence[Said]) -> list[Answer]:
    """Return an answer for each state that somebody says, the worst first."""
    by_state: dict[str, list[str]] = {}
    for one in said:
        who = by_state.setdefault(one.state, [])
        if one.who and one.who not in who:
            who.append(one.who)
    return [
        Answer(state, _answer_words(str(STATE_WORDS[state]), by_state[state]))
        for state in WORST_FIRST
        if state in by_state
    ]


def _answer_words(state: str, who: Sequence[str]) -> str:
    state = state[:1].upper() + state[1:]
    if not who:
        return state
    return _("%(state)s, as %(who)s says") % {"state": state, "who": _(" and ").join(who)}


def _number_lines(flat_ids: Sequence[int], today: date) -> dict[int, list[NumberLine]]:
    counts = number_disputes(flat_ids)
    if not counts:
        return {}
    leavings = Leaving.objects.standing().by_number().filter(flat__in=counts).prefetch_related("counts")
    by_run: dict[tuple[int, int], list[Leaving]] = {}
    for leaving in leavings.order_by("day", "pk"):
        for entry in leaving.counts.all():
            by_run.setdefault((leaving.flat_id, entry.run_id), []).append(leaving)
    found: dict[int, list[NumberLine]] = {}
    for pk, rows in counts.items():
        for row in rows:
            left = by_run.get((pk, row.run_id), [])
            found.setdefault(pk, []).append(NumberLine(row, _number_words(row, left, today), left))
    return found


def _number_words(row: DayCount, left: Sequence[Leaving], today: date) -> str:
    """Say how many left by number, and how many that leaves room for."""
    sums = [
        _("%(reason)s on %(day)s: %(count)d")
        % {
            "reason": Cause(leaving.reason).label,
            "day": day_said(leaving.day, today),
            "count": sum(entry.plants_count for entry in leaving.counts.all() if entry.run_id == row.run_id),
        }
        for leaving in left
    ]
    return ", ".join(sums)
