"""One line for each thing that changed a number: who, when, what it was and what it is, why."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.changed import (
    ASKED,
    CORRECTED,
    GAVE,
    LATE,
    REOPENED,
    SETTLED,
    VOIDED,
    late_marks,
    targets_of,
)
from nursery.actions.corrections import FIELDS
from nursery.calc.fold import WORST_FIRST
from nursery.models import Change, Check, Closing, Flat, Mark, Voiding
from nursery.views.change_words import field_said, names_in, values_said, voiding_said
from nursery.views.drawing import STATE_WORDS
from nursery.views.standing import places_said

FLATS_NAMED = 6


@dataclass(slots=True)
class ChangeLine:
    """One entry, said in words. ``url`` leads to where it can be looked at closer."""

    at: datetime
    who: str
    what: str
    old: str = ""
    new: str = ""
    reason: str = ""
    flats: list[Flat] = field(default_factory=list)
    more_flats: int = 0
    url: str = ""


def lines_of(entries: Sequence[tuple[str, int, datetime]]) -> list[ChangeLine]:
    """Return the lines of a page of entries (``actions.changed``), in order; the queries are bounded."""
    keys: dict[str, list[int]] = defaultdict(list)
    for kind, first, _moment in entries:
        keys[kind].append(first)
    lines = {
        (kind, first): line for kind, firsts in keys.items() for first, line in READERS[kind](firsts).items()
    }
    return [lines[kind, first] for kind, first, _moment in entries if (kind, first) in lines]


def lines_of_act(changes: Sequence[Change]) -> list[ChangeLine]:
    """Return a line for each field that one act corrected."""
    names = names_in(changes)
    by_field: dict[str, list[Change]] = defaultdict(list)
    for change in changes:
        by_field[change.field].append(change)
    return [_correction(rows, names) for rows in by_field.values()]


def _signed(event: Any) -> dict[str, Any]:
    return {"at": event.at, "who": str(event.by_worker or event.sent_by or "–")}


def _corrections(firsts: list[int]) -> dict[int, ChangeLine]:
    moments = Change.objects.filter(pk__in=firsts).values("at")
    rows = Change.objects.filter(at__in=moments).select_related(
        "by_worker", "sent_by", "flat", "run__flat", "check_ref__flat"
    )
    acts = _acts(rows.order_by("pk"), firsts, "field")
    names = names_in(change for act in acts.values() for change in act)
    return {first: _correction(act, names) for first, act in acts.items()}


def _acts(rows: Iterable[Any], firsts: Iterable[int], *columns: str) -> dict[int, list[Any]]:
    """Return the rows of each act by its first: those of one moment and sender that share ``columns``."""
    groups: dict[Any, list[Any]] = defaultdict(list)
    for row in rows:
        groups[row.at, row.sent_by_id, *(getattr(row, column) for column in columns)].append(row)
    wanted = set(firsts)
    found = {}
    for group in groups.values():
        first = next((row.pk for row in group if row.pk in wanted), None)
        if first is not None:
            found[first] = group
    return found


def _correction(rows: Sequence[Change], names: dict[str, str]) -> ChangeLine:
    change = rows[0]
    flats = list({flat.pk: flat for row in rows if (flat := row.flat or (row.run and row.run.flat))}.values())
    can_look = change.run_id is not None and change.field in FIELDS
    return ChangeLine(
        **_signed(change),
        what=field_said(change.field),
        old=values_said(rows, "old", names),
        new=values_said(rows, "new", names),
        reason=change.reason,
        flats=flats[:FLATS_NAMED],
        more_flats=max(0, len(flats) - FLATS_NAMED),
        url=reverse("change-detail", args=[change.uuid]) if can_look else "",
    )


def _givings(firsts: list[int]) -> dict[int, ChangeLine]:
    lines = _corrections(firsts)
    checks = Change.objects.filter(pk__in=firsts).select_related("check_ref__flat")
    for change in checks:
        lines[change.pk].url = _check_url(change.check_ref)
        lines[change.pk].flats.append(change.check_ref.flat)
    return lines


def _voidings(firsts: list[int]) -> dict[int, ChangeLine]:
    moments = Voiding.objects.filter(pk__in=firsts).values("at")
    rows = Voiding.objects.filter(at__in=moments).select_related("by_worker", "sent_by").order_by("pk")
    acts = _acts(rows, firsts, "target_noun")
    targets = targets_of(voiding for act in acts.values() for voiding in act)
    return {first: _voiding(act, targets) for first, act in acts.items()}


def _voiding(rows: Sequence[Voiding], targets: dict[Any, Any]) -> ChangeLine:
    found = [targets[row.target_uuid] for row in rows if row.target_uuid in targets]
    flats = {flat.pk: flat for target in found if (flat := _flat_of(target))}
    target = found[0] if found else None
    return ChangeLine(
        **_signed(rows[0]),
        what=voiding_said(rows[0], target),
        reason=rows[0].reason,
        flats=list(flats.values())[:FLATS_NAMED],
        more_flats=max(0, len(flats) - FLATS_NAMED),
        url=_check_url(target) if isinstance(target, Check) else "",
    )


def _flat_of(target: Any) -> Flat | None:
    return target.run.flat if hasattr(target, "severed_on") else target.flat


def _closings(firsts: list[int]) -> dict[int, ChangeLine]:
    rows = Closing.objects.filter(pk__in=firsts).select_related("by_worker", "sent_by", "check_ref__flat")
    return {row.pk: _closing(row) for row in rows}


def _closing(closing: Closing) -> ChangeLine:
    check = closing.check_ref
    day = {"day": date_format(check.day, "j F Y")}
    is_asked = closing.kind == Closing.Kind.ASK
    words = _("Asked to open the check of %(day)s again") if is_asked else _("Check of %(day)s opened again")
    return ChangeLine(
        **_signed(closing), what=words % day, reason=closing.reason, flats=[check.flat], url=_check_url(check)
    )


def _settlements(firsts: list[int]) -> dict[int, ChangeLine]:
    checks = Mark.objects.filter(pk__in=firsts).values("check_ref")
    rows = Mark.objects.filter(check_ref__in=checks, kind=Mark.Kind.CORRECTION)
    rows = rows.select_related("by_worker", "sent_by", "cell", "check_ref__flat__tray_format")
    acts = _acts(rows.order_by("pk"), firsts, "check_ref_id", "reason")
    corrections = [mark for act in acts.values() for mark in act]
    replaced = _replaced(corrections)
    alive = _seen_alive(corrections, replaced)
    return {first: _settlement(act, replaced, alive) for first, act in acts.items()}


def _replaced(marks: Iterable[Mark]) -> dict[str, Mark]:
    uuids = {uuid for mark in marks for uuid in mark.replaces}
    return {str(mark.uuid): mark for mark in Mark.objects.filter(uuid__in=uuids)}


def _seen_alive(corrections: Sequence[Mark], replaced: dict[str, Mark]) -> set[str]:
    """Return the UUIDs of the corrections that settled a death against a closing which knew nothing of it."""
    uuids = {uuid for mark in corrections for uuid in mark.replaces} - replaced.keys()
    told = Closing.objects.filter(uuid__in=uuids, tells_known=True)
    closings = {str(closing.uuid): closing for closing in told}
    found = set()
    for mark in corrections:
        dead = [
            replaced[uuid] for uuid in mark.replaces if uuid in replaced and replaced[uuid].state == "dead"
        ]
        named = [closings[uuid] for uuid in mark.replaces if uuid in closings]
        if any(_knew_nothing_of(one, closing) for one in dead for closing in named):
            found.add(str(mark.uuid))
    return found


def _knew_nothing_of(mark: Mark, closing: Closing) -> bool:
    return closing.check_ref_id != mark.check_ref_id and str(mark.uuid) not in closing.known_marks


def _settlement(marks: Sequence[Mark], replaced: dict[str, Mark], alive: set[str]) -> ChangeLine:
    first = marks[0]
    check = first.check_ref
    said = [replaced[uuid].state for mark in marks for uuid in mark.replaces if uuid in replaced]
    said += ["firm" for mark in marks if str(mark.uuid) in alive]
    is_settled = len(set(said)) > 1
    places = places_said([mark.cell.place_no for mark in marks], check.flat.tray_format.columns)
    words = _("%(cells)s settled") if is_settled else _("%(cells)s corrected")
    return ChangeLine(
        **_signed(first),
        what=words % {"cells": places},
        old=_states_said(said) or str(STATE_WORDS["unmarked"]),
        new=_states_said(mark.state for mark in marks),
        reason=first.reason,
        flats=[check.flat],
        url=_check_url(check),
    )


def _states_said(states: Iterable[str]) -> str:
    said = sorted(set(states), key=WORST_FIRST.index)
    return ", ".join(dict.fromkeys(str(STATE_WORDS[state]) for state in said))


def _late(firsts: list[int]) -> dict[int, ChangeLine]:
    checks = Mark.objects.filter(pk__in=firsts).values("check_ref")
    rows = late_marks().filter(check_ref__in=checks)
    rows = rows.select_related("by_worker", "sent_by", "cell", "check_ref__flat__tray_format")
    by_check: dict[int, list[Mark]] = defaultdict(list)
    for row in rows.order_by("pk"):
        by_check[row.check_ref_id].append(row)
    wanted = set(firsts)
    found = {}
    for marks in by_check.values():
        first = next((mark.pk for mark in marks if mark.pk in wanted), marks[0].pk)
        found[first] = _late_line(marks)
    return found


def _late_line(marks: Sequence[Mark]) -> ChangeLine:
    check = marks[0].check_ref
    words = ngettext(
        "%(count)d mark came in after the closing of %(day)s: %(cells)s",
        "%(count)d marks came in after the closing of %(day)s: %(cells)s",
        len(marks),
    )
    said = {
        "count": len(marks),
        "day": date_format(check.day, "j F Y"),
        "cells": places_said(list({mark.cell.place_no for mark in marks}), check.flat.tray_format.columns),
    }
    signed = _signed(marks[-1]) | {"at": max(mark.received_at for mark in marks)}
    new = _states_said(mark.state for mark in marks)
    return ChangeLine(**signed, what=words % said, new=new, flats=[check.flat], url=_check_url(check))


def _check_url(check: Any) -> str:
    return reverse("check-detail", args=[check.flat.code, check.uuid])


READERS: dict[str, Callable[[list[int]], dict[int, ChangeLine]]] = {
    CORRECTED: _corrections,
    GAVE: _givings,
    VOIDED: _voidings,
    REOPENED: _closings,
    ASKED: _closings,
    SETTLED: _settlements,
    LATE: _late,
}
