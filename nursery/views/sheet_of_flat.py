"""The sheet of a flat: what a browser must know of it to draw and check it on its own, as plain data.

The page of the check and ``/api/flats`` give the same sheet; its fields stand in DEVELOPERS.md. It is read in
two steps: the ``Head`` says by a tag whether anything changed, in three cheap queries; the rest is read only
if something did. The tag comes first, so that a mark which arrives in between makes for one more answer and
is never passed over.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _

from nursery.actions.counting import places_seen
from nursery.actions.ledger import FlatFacts, Ledger, read_ledger
from nursery.actions.sheet_reads import (
    ClosingTold,
    MarkTold,
    change_counters,
    checks_told,
    closings_told,
    marks_told,
    runs_named,
)
from nursery.actions.states import CellState, cell_states
from nursery.actions.stock import RunStock, stock_of
from nursery.calc.codes import spoken
from nursery.models import LEFT_STAGES, Account, Check, Closing, Flat, Run, Stage
from nursery.views.drawing import RUN_SIGNS, cell_id
from nursery.views.standing import day_said, grafting_said, pairings_said

SHEET_FORMAT = 1  # goes into the tag: a program that writes sheets otherwise says so
LETTERS = {"unmarked": "a", "firm": "f", "wilting": "w", "dead": "d", "gone": "g"}
NO_PLANT, NOT_USED = "-", "."
RUN_CHARACTERS = "123456789abcdefghijklmnopqrstuvwxyz"


@dataclass(frozen=True, slots=True)
class Head:
    """What is known of a flat before its cells are read; ``opened`` are the checks to go on with."""

    flat: Flat
    what: str
    when: str
    runs: list[Run]
    checks: list[Check]
    opened: list[Check]
    today: date
    tag: str


def sheet_of(flat: Flat, *, today: date, user: Account, goes_on: str = "") -> dict[str, Any]:
    """Return the sheet of a flat got by ``access.flat_for_work``; all who work here see the same one.

    ``goes_on`` names a check that was opened again, of whatever day: it is among the opened ones.
    """
    return sheets_from(heads_of([flat], today=today, goes_on=goes_on))[0]


def has_plants(sheet: dict[str, Any]) -> bool:
    """Whether there is a cell to check on this flat."""
    return any(letter in LETTERS.values() for letter in sheet["map"])


def heads_of(flats: Sequence[Flat], *, today: date, goes_on: str = "") -> list[Head]:
    """Return what is known of these flats before their cells are read, in their order."""
    keys = [flat.pk for flat in flats]
    counters, checks, runs = change_counters(keys), checks_told(keys), runs_named(keys)
    heads = []
    for flat in flats:
        own, those = runs.get(flat.pk, []), checks.get(flat.pk, [])
        opened = [check for check in those if _is_to_go_on(check, today, goes_on)]
        said = pairings_said(own), grafting_said(own, today)
        tag = _tag(flat, said, those, opened, today, counters[flat.pk])
        heads.append(Head(flat, *said, own, those, opened, today, tag))
    return heads


def _is_to_go_on(check: Check, today: date, goes_on: str) -> bool:
    if check.is_closed or check.kind == Check.Kind.NUMBERS:
        return False
    return check.day == today or str(check.uuid) == goes_on.lower()


def _tag(
    flat: Flat,
    said: tuple[str, str],
    checks: Sequence[Check],
    opened: Sequence[Check],
    today: date,
    counters: tuple[Any, ...],
) -> str:
    shape, layout = flat.tray_format, flat.layout
    parts = [
        (SHEET_FORMAT, get_language(), timezone.get_current_timezone_name(), today),
        (flat.code, flat.is_pooled, flat.stage, flat.stage_since, flat.place_name, *said),
        (shape.rows, shape.columns, layout.pattern, layout.skips_first),
        [(check.pk, check.is_closed, check.kind, check.cause, _who(check)) for check in checks],
        [check.pk for check in opened],
        counters,
    ]
    return hashlib.blake2b(repr(parts).encode(), digest_size=12).hexdigest()


def _who(check: Check) -> str:
    return str(check.by_worker or check.sent_by or "")


def sheets_from(heads: Sequence[Head]) -> list[dict[str, Any]]:
    """Return the sheets of these flats; as many queries whatever their number."""
    if not heads:
        return []
    keys = [head.flat.pk for head in heads]
    ledger, marks = read_ledger(keys), marks_told(keys)
    closings = closings_told([check for head in heads for check in _asked_of_closings(head)])
    return [_sheet(head, ledger, marks.get(head.flat.pk, []), closings) for head in heads]


def _asked_of_closings(head: Head) -> list[Check]:
    """Return the checks whose closings the sheet tells of: those opened, and all of their days since."""
    since = min((check.day for check in head.opened), default=head.today)
    return [check for check in head.checks if since <= check.day <= head.today or check in head.opened]


def _sheet(
    head: Head, ledger: Ledger, marks: list[MarkTold], closings: dict[int, list[ClosingTold]]
) -> dict[str, Any]:
    flat, facts = head.flat, ledger.flats[head.flat.pk]
    states = cell_states(facts, ledger.runs, day=head.today).values()
    cells = [cell for cell in states if cell.is_present]
    stock = stock_of(facts)
    seen, was_looked_at = places_seen(facts, head.today), _was_looked_at(facts, head.today)
    told = {
        "code": flat.code,
        "spoken": spoken(flat.code),
        "what": head.what,
        "when": head.when,
        "url": flat.get_absolute_url(),
        "place": flat.place_name or "",
        "rows": flat.tray_format.rows,
        "columns": flat.tray_format.columns,
        **({"is_pooled": True} if flat.is_pooled else {}),
        "map": _map(flat, cells),
        **_grafts_and_runs(head, facts, cells, stock),
        **_checks_and_marks(head, marks, cells, closings),
        "opened": [str(check.uuid) for check in head.opened],
        "closings": _closings(head, facts, closings),
        "disputed": [cell.public_id for cell in cells if cell.disagreement],
        "seen_today": sorted(seen),
        "may_count": not was_looked_at,
        "hints": [*_left(flat, head.today), *hints_of(cells, stock, seen if was_looked_at else frozenset())],
        "tag": head.tag,
    }
    return told


def _map(flat: Flat, cells: Sequence[CellState]) -> str:
    shape = flat.tray_format
    places = [NOT_USED] * shape.places_count
    for place_no in flat.layout.used_places(shape.rows, shape.columns):
        places[place_no - 1] = NO_PLANT
    for cell in cells:
        places[cell.place_no - 1] = LETTERS[cell.state]
    return "".join(places)


def _grafts_and_runs(
    head: Head, facts: FlatFacts, cells: Sequence[CellState], stock: dict[int, RunStock]
) -> dict[str, Any]:
    """Tell which graft stands in a place where it is not the first, and its run where there are several."""
    told: dict[str, Any] = {
        "grafts": {str(cell.place_no): cell.graft_no for cell in cells if cell.graft_no > 1}
    }
    run_of = {cell.id: cell.run_id for cell in facts.cells}
    if len({run_of[cell.cell_id] for cell in cells}) > 1:
        numbers = _run_numbers(head.runs, stock)
        places = [NOT_USED] * head.flat.tray_format.places_count
        for cell in cells:
            places[cell.place_no - 1] = _run_character(numbers[run_of[cell.cell_id]])
        told["runs"] = "".join(places)
    return told


def _run_numbers(own: Sequence[Run], stock: dict[int, RunStock]) -> dict[int, int]:
    """Number the runs as the flat's page does: those grafted elsewhere go on after the own ones."""
    numbers = {run.pk: run.number for run in own}
    last = max(numbers.values(), default=0)
    return numbers | {pk: last + n for n, pk in enumerate(sorted(stock.keys() - numbers.keys()), 1)}


def _run_character(number: int) -> str:
    """Return one character; a run beyond the last has that of an earlier run with the same sign."""
    beyond = max(0, number - len(RUN_CHARACTERS))
    return RUN_CHARACTERS[number - 1 - -(-beyond // RUN_SIGNS) * RUN_SIGNS]


def _checks_and_marks(
    head: Head, marks: Sequence[MarkTold], cells: Sequence[CellState], closings: dict[int, list[ClosingTold]]
) -> dict[str, Any]:
    """Tell the open marks of each plant; of one that bears marks of an open check all its marks."""
    going_on = {check.pk for check in head.opened}
    whole_story = {mark.cell_id for mark in marks if mark.check_id in going_on}
    open_uuids = {uuid for cell in cells for uuid in cell.open_uuids}
    known = {check.pk for check in head.checks}  # one begun since then is told with the next sheet
    shown = [
        mark
        for mark in marks
        if mark.check_id in known and (mark.cell_id in whole_story or mark.uuid in open_uuids)
    ]
    named = going_on | {mark.check_id for mark in shown}
    checks = [check for check in head.checks if check.pk in named]
    index = {check.pk: number for number, check in enumerate(checks)}
    return {
        "checks": [_check(check, head, closings) for check in checks],
        "marks": [_mark(mark, index[mark.check_id]) for mark in shown],
    }


def _check(check: Check, head: Head, closings: dict[int, list[ClosingTold]]) -> dict[str, Any]:
    return {
        "uuid": str(check.uuid),
        "day": check.day.isoformat(),
        "since": _("today") if check.day == head.today else day_said(check.day, head.today),
        "cause": check.cause,
        "is_open": not check.is_closed,
        "who": _who(check),
        "at": date_format(timezone.localtime(check.opened_at), "H:i"),
        "opened_at": check.raw_opened_at.isoformat(timespec="milliseconds"),
        "part": _part(check, closings.get(check.pk, [])),
    }


def _part(check: Check, closings: Sequence[ClosingTold]) -> list[int] | None:
    """Return the places that a check, now opened again, was closed with; None if it was the whole flat."""
    if not closings:
        return check.seen_places
    last = closings[-1]
    return last.seen_places or [] if last.seen == Closing.Seen.PART else None


def _mark(mark: MarkTold, index: int) -> list[Any]:
    told = [cell_id(mark.place_no, mark.graft_no), mark.uuid, index, mark.state]
    rest: list[Any] = [mark.kind, mark.cause, list(mark.replaces)]
    usual: list[Any] = ["seen", "", []]
    while rest and rest[-1] == usual[len(rest) - 1]:
        rest.pop()
    return told + rest


def _closings(head: Head, facts: FlatFacts, closings: dict[int, list[ClosingTold]]) -> list[dict[str, Any]]:
    """Tell the closings that say what was known, and which places their check saw; None is the whole flat."""
    told = []
    for check in _asked_of_closings(head):
        fact = facts.checks.get(check.pk)
        if check.kind == Check.Kind.NUMBERS or fact is None or fact.is_leaving:
            continue
        places = None if check.kind == Check.Kind.WHOLE else check.seen_places or []
        those = [closing for closing in closings.get(check.pk, []) if closing.tells_known and closing.stands]
        told += [{"uuid": closing.uuid, "places": places} for closing in those]
    return told


def _was_looked_at(facts: FlatFacts, day: date) -> bool:
    """Whether a check by cells was closed on ``day``; one that tells what left looks at nothing else."""
    closed = [check for check in facts.checks.values() if check.is_closed and check.day == day]
    return any(check.kind != Check.Kind.NUMBERS and not check.is_leaving for check in closed)


def _left(flat: Flat, today: date) -> list[str]:
    """Say of a flat that is no longer here that it can still be checked: a tablet may come late."""
    if flat.stage not in LEFT_STAGES:
        return []
    day = day_said(timezone.localtime(flat.stage_since).date(), today)
    if flat.stage == Stage.DISCARDED:
        return [_("Discarded on %s. What you mark is taken in all the same.") % day]
    return [_("Planted out or dispatched on %s. What you mark is taken in all the same.") % day]


def hints_of(cells: Sequence[CellState], stock: dict[int, RunStock], seen: frozenset[int]) -> list[str]:
    """Say what somebody who begins should know: half was seen today; some left or died by number."""
    hints = []
    if seen and not seen >= {cell.place_no for cell in cells}:
        said = {"seen": sum(cell.place_no in seen for cell in cells), "plants": len(cells)}
        hints.append(_("%(seen)d of %(plants)d were seen today. Closing now completes the day.") % said)
    left = sum(run.left_by_number for run in stock.values())
    by_number = sum(run.dead_by_number for run in stock.values())
    if left:
        text = ngettext(
            "%d left by number, nobody said which: it is drawn and counted here until somebody does.",
            "%d left by number, nobody said which: they are drawn and counted here until somebody does.",
            left,
        )
        hints.append(text % left)
    if by_number:
        text = ngettext(
            "%d is dead by number, nobody said which: mark it, or it counts as alive.",
            "%d are dead by number, nobody said which: mark them, or they count as alive.",
            by_number,
        )
        hints.append(text % by_number)
    return hints
