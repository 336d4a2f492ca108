"""The page of one flat: what stands on it, who grafted it, how it fared, where it stood."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from nursery import access
from nursery.actions.prints import prints_of
from nursery.actions.states import CellState, flat_states
from nursery.calc.codes import spoken
from nursery.models import LEFT_STAGES, Check, Flat, Run, Stage
from nursery.views.dispute_lines import dispute_lines
from nursery.views.drawing import draw_flat
from nursery.views.flat_acts import acts_of
from nursery.views.flat_stays import stays_of
from nursery.views.flat_story import checks_of, day_lines, losses, named_runs, run_lines
from nursery.views.standing import drawing_of, grafting_said, pairings_said, places_said, standing_of


@require_safe
def flat_detail(request: HttpRequest, code: str) -> HttpResponse:
    """The page behind a flat's code."""
    flat = access.flat_for_reading(request.user, code)
    runs = named_runs(flat)
    if flat.origin == Flat.Origin.TALLY:
        return _tally(request, flat, runs)
    cells = list(flat_states(flat, day=timezone.localdate()).values())
    checks = list(checks_of(flat))
    standing = standing_of(cells)
    context = {
        **_head(flat, runs),
        **_story(flat, runs, cells),
        **_next(flat, runs, cells),
        "standing": standing,
        "acts": acts_of(request.user, flat, runs=runs, cells=cells),
        "days": day_lines(flat, runs, request.user),
        "checks": checks,
        "prints": prints_of(flat.code),
        "closed": _just_closed(checks, request.GET.get("closed", "")),
    }
    if cells:
        context["drawing"] = draw_flat(drawing_of(flat, cells, summary=standing.said))
    return render(request, "flat/detail.html", context)


def _head(flat: Flat, runs: list[Run]) -> dict[str, object]:
    return {
        "flat": flat,
        "spoken": spoken(flat.code),
        "what": pairings_said(runs),
        "when": grafting_said(runs, timezone.localdate()),
        "stage": Stage(flat.stage).label if flat.stage else "",
    }


def _story(flat: Flat, runs: list[Run], cells: list[CellState]) -> dict[str, object]:
    columns = flat.tray_format.columns
    return {
        "runs": run_lines(runs, cells, columns),
        "shows_runs": len({cell.run_number for cell in cells if cell.is_present}) > 1,
        "losses": losses(cells, columns),
        "disputes": dispute_lines(flat),
        "blanks": places_said(flat.blank_places or [], columns),
        "stays": stays_of(flat),
    }


def _next(flat: Flat, runs: list[Run], cells: list[CellState]) -> dict[str, bool]:
    """Return what can be done with the flat now."""
    is_open = any(run.started_at and not run.finished_at for run in runs)
    return {
        "can_graft": is_open or not runs,
        "is_on_bench": is_open,
        "can_check": bool(cells),
        "has_left": flat.stage in LEFT_STAGES,
    }


def _just_closed(checks: list[Check], key: str) -> Check | None:
    """Return the check that was closed on the page before this one."""
    try:
        uuid = UUID(key)
    except ValueError:
        return None
    return next((check for check in checks if check.uuid == uuid and check.is_closed), None)


def _tally(request: HttpRequest, flat: Flat, runs: list[Run]) -> HttpResponse:
    """A flat of a past season, known by its counts alone."""
    context = {
        **_head(flat, runs),
        "runs": run_lines(runs, [], columns=1),
        "rows": flat.tally_rows.standing().order_by("run__number", "checked_on"),
        "days": day_lines(flat, runs, request.user),
    }
    return render(request, "flat/tally.html", context)
