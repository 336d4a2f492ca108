"""Checks: the page on which a flat is checked, and what one check said."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date
from uuid import UUID, uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.batch import Batch, ClosingIn, Sender
from nursery.actions.counting import places_seen
from nursery.actions.ledger import FlatFacts, read_ledger
from nursery.actions.marks import receive_batch
from nursery.actions.states import CellState, cell_states
from nursery.actions.stock import stock_of
from nursery.calc.codes import spoken
from nursery.calc.fold import fold_cell
from nursery.models import LOSS_CAUSES, Cause, Check, Closing, Flat, Mark
from nursery.views.check_story import mark_lines
from nursery.views.check_words import check_words
from nursery.views.drawing import BLANK, UNUSED, WIDE_COLUMNS, cell_id, draw_flat
from nursery.views.standing import (
    day_said,
    drawing_of,
    grafting_said,
    pairings_said,
    places_said,
    standing_of,
)


@require_safe
def flat_check(request: HttpRequest, code: str) -> HttpResponse:
    """The flat as it lies: tap what died."""
    flat = access.flat_for_work(request.user, code)
    if flat.is_pooled:
        return redirect("flat-numbers", flat.code)
    today = timezone.localdate()
    ledger = read_ledger([flat.pk])
    facts = ledger.flats[flat.pk]
    cells = [cell for cell in cell_states(facts, ledger.runs, day=today).values() if cell.is_present]
    runs = list(flat.runs.named())
    context = {
        "flat": flat,
        "spoken": spoken(flat.code),
        "what": pairings_said(runs),
        "when": grafting_said(runs, today),
        "standing": standing_of(cells),
        "causes": [(cause, Cause(cause).label) for cause in LOSS_CAUSES],
        "is_wide": flat.tray_format.columns > WIDE_COLUMNS,
    }
    if cells:
        opened = _opened(request, flat, today)
        context["opened"] = opened
        context["drawing"] = _drawing(flat, cells)
        seen, was_looked_at = places_seen(facts, today), _was_looked_at(facts, today)
        context["hints"] = _hints(facts, cells, seen if was_looked_at else frozenset())
        context["may_count"] = not was_looked_at
        context["data"] = _page_data(request, flat) | {
            "cells": _told(cells, today),
            "seen_today": sorted(seen),
            "checks": [_own_marks(check, facts, today) for check in opened],
            "goes_on": request.GET.get("goes_on", ""),
        }
    return render(request, "flat/check.html", context)


def _opened(request: HttpRequest, flat: Flat, today: date) -> list[Check]:
    """Return the checks of today that nobody closed, and the one that was opened again, of whatever day."""
    goes_on = request.GET.get("goes_on", "")
    opened = list(flat.checks.still_open(today).prefetch_related("marks__cell", "closings"))
    if goes_on and goes_on not in {str(check.uuid) for check in opened}:
        try:
            again = access.check_for_reading(request.user, flat.code, UUID(goes_on))
        except ValueError:
            return opened
        if not again.is_closed and not again.is_void and again.kind != Check.Kind.NUMBERS:
            opened.append(again)
    return opened


def _was_looked_at(facts: FlatFacts, day: date) -> bool:
    """Whether a check by cells was closed on ``day``; one that tells what left looks at nothing else."""
    closed = [check for check in facts.checks.values() if check.is_closed and check.day == day]
    return any(check.kind != Check.Kind.NUMBERS and not check.is_leaving for check in closed)


def _hints(facts: FlatFacts, cells: Sequence[CellState], seen: frozenset[int]) -> list[str]:
    """Say what somebody who begins should know: half was seen today; some left or died by number."""
    hints = []
    if seen and not seen >= {cell.place_no for cell in cells}:
        said = {"seen": sum(cell.place_no in seen for cell in cells), "plants": len(cells)}
        hints.append(_("%(seen)d of %(plants)d were seen today. Closing now completes the day.") % said)
    stock = stock_of(facts).values()
    left, by_number = sum(run.left_by_number for run in stock), sum(run.dead_by_number for run in stock)
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


def _drawing(flat: Flat, cells: Iterable[CellState]) -> str:
    """Draw what a new check finds: all that is dead or wilting was so before it."""
    found = [
        replace(cell, before=cell.state) if cell.state in ("dead", "wilting") else cell for cell in cells
    ]
    return draw_flat(drawing_of(flat, found, taps=True, heads=True, terse=True, still=(UNUSED, BLANK)))


def _page_data(request: HttpRequest, flat: Flat) -> dict[str, object]:
    return {
        "flat": flat.code,
        "columns": flat.tray_format.columns,
        "worker": str(request.worker.key) if request.worker else None,
        "send": reverse("api-marks"),
        "done": flat.get_absolute_url(),
        "words": check_words(),
    }


def _told(cells: Iterable[CellState], today: date) -> dict[str, dict[str, object]]:
    """Return what the script must know of the cells that bear marks: the open ones, since when, and why."""
    return {
        cell.public_id: _facts(list(cell.open_uuids), cell.decided_on, cell.cause, today)
        for cell in cells
        if cell.open_uuids
    }


def _facts(open_uuids: Sequence[str], since: date | None, cause: str, today: date) -> dict[str, object]:
    told: dict[str, object] = {"open": open_uuids}
    if since:
        told["since"] = _("today") if since == today else day_said(since, today)
    if cause:
        told["cause"] = cause
    return told


def _own_marks(check: Check, facts: FlatFacts, today: date) -> dict[str, object]:
    """Return the marks of an open check by cell, with the state each cell had without them.

    The device that opened the check takes it up again with this, after a reload.
    """
    by_cell: dict[int, list[Mark]] = {}
    for mark in sorted(check.marks.all(), key=lambda mark: (mark.at, mark.pk)):
        by_cell.setdefault(mark.cell_id, []).append(mark)
    own = {str(mark.uuid) for mark in check.marks.all()}
    told = {}
    for cell_key, marks in by_cell.items():
        base = fold_cell([mark for mark in facts.marks.get(cell_key, []) if mark.uuid not in own])
        since = base.deciding.day if base.deciding else None
        cause = facts.causes.get(base.deciding.uuid, "") if base.deciding else ""
        cell = marks[0].cell
        told[cell_id(cell.place_no, cell.graft_no)] = {
            "state": base.state,
            **_facts([mark.uuid for mark in base.open], since, cause, today),
            "marks": [[str(mark.uuid), mark.kind, mark.state, mark.cause] for mark in marks],
        }
    return {
        "uuid": str(check.uuid),
        "opened_at": check.raw_opened_at.isoformat(timespec="milliseconds"),
        "cause": check.cause,
        "part": _part_closed_before(check),
        "own": told,
    }


def _part_closed_before(check: Check) -> list[int] | None:
    """Return the places that a check, now opened again, was closed with; None if it was the whole flat."""
    closed = [closing for closing in check.closings.all() if closing.kind == Closing.Kind.CLOSE]
    if not closed:
        return check.seen_places
    last = max(closed, key=lambda closing: closing.pk)
    return last.seen_places or [] if last.seen == Closing.Seen.PART else None


@require_safe
def check_detail(request: HttpRequest, code: str, key: UUID) -> HttpResponse:
    """What one check said, mark by mark, with who said it and what became of it."""
    check = access.check_for_reading(request.user, code, key)
    columns = check.flat.tray_format.columns
    closings = list(check.closings.select_related("by_worker", "sent_by").order_by("at", "pk"))
    context = {
        "flat": check.flat,
        "spoken": spoken(check.flat.code),
        "check": check,
        "cause": Cause(check.cause).label if check.cause else "",
        "marks": mark_lines(check, closings, columns),
        "closings": closings,
        "numbers": check.numbers.select_related("run__pairing").order_by("run__number"),
        "seen": places_said(check.seen_places or [], columns) if check.kind == Check.Kind.PART else "",
        "may_reopen": check.is_closed and request.user.is_grower,
        "may_ask": check.is_closed and not request.user.is_grower,
        "asked": Closing.objects.pending_asks().filter(check_ref=check),
    }
    return render(request, "flat/check_detail.html", context)


@require_POST
def flat_reopen(request: HttpRequest, code: str, key: UUID) -> HttpResponse:
    """Open a closed check again, and go on with it."""
    access.require_grower(request.user)
    check = access.check_for_reading(request.user, code, key)
    now = timezone.now()
    closed = tuple(str(uuid) for uuid in check.closings.values_list("uuid", flat=True))
    closing = ClosingIn(uuid=uuid4(), check=check.uuid, at=now, kind=Closing.Kind.REOPEN, replaces=closed)
    receive_batch(Batch(sent_at=now, closings=[closing]), Sender(request.user, request.worker, now))
    if check.kind == Check.Kind.NUMBERS:
        return redirect("flat-numbers", check.flat.code)
    return redirect(f"{reverse('flat-check', args=[check.flat.code])}?{urlencode({'goes_on': check.uuid})}")
