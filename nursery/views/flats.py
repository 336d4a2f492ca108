"""The page of one flat: what stands on it, who grafted it, how it fared, where it stood."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from nursery import access
from nursery.actions.prints import prints_of
from nursery.calc.codes import spoken
from nursery.models import Flat, Run, Stage
from nursery.views.alive_picture import alive_picture
from nursery.views.amended import amended_checks
from nursery.views.choosing import run_choices
from nursery.views.dispute_lines import dispute_lines
from nursery.views.drawing import draw_flat
from nursery.views.ending import ending_of
from nursery.views.flat_acts import acts_of
from nursery.views.flat_grades import grades_of
from nursery.views.flat_now import FlatNow, flat_now
from nursery.views.flat_stays import stays_of
from nursery.views.flat_story import (
    checks_of,
    day_lines,
    guest_lines,
    losses,
    named_runs,
    run_lines,
)
from nursery.views.leaving_story import LeavingLine, Regrafted, went_and_came
from nursery.views.standing import drawing_of, grafting_said, pairings_said, places_said, standing_of


@require_safe
def flat_detail(request: HttpRequest, code: str) -> HttpResponse:
    """The page behind a flat's code."""
    flat = access.flat_for_reading(request.user, code)
    if flat.origin == Flat.Origin.TALLY:
        return _tally(request, flat, named_runs(flat))
    now = flat_now(flat)
    checks, days = list(checks_of(flat)), day_lines(flat, now.runs, request.user)
    amended = amended_checks(checks)
    standing = standing_of(now.cells, now.stock)
    story = went_and_came(now, request.user)
    context = {
        **_head(flat, [*now.runs, *now.guests]),
        **_story(now),
        **_next(now),
        **story,
        **grades_of(flat, [*now.runs, *now.guests], request.user),
        "standing": standing,
        "acts": acts_of(request.user, flat, runs=now.runs, cells=now.cells),
        "days": days,
        "alive_picture": alive_picture(days),
        "checks": checks,
        "amended": amended,
        "prints": prints_of(flat.code),
        **ending_of(flat, request.GET.get("closed", ""), checks=checks, days=days),
        "just_left": _just_left(story["left"], request.GET.get("left", "")),
        "just_regrafted": _just_regrafted(story["regrafted"], request.GET.get("regrafted", "")),
        "just_discarded": story["last_discard"] if "discarded" in request.GET else None,
    }
    if now.cells:
        context["drawing"] = draw_flat(drawing_of(flat, now.cells, summary=standing.said))
    elif flat.is_pooled:
        context["pool"] = run_choices(now, request.user)
    return render(request, "flat/detail.html", context)


def _head(flat: Flat, runs: list[Run]) -> dict[str, object]:
    return {
        "flat": flat,
        "spoken": spoken(flat.code),
        "what": pairings_said(runs),
        "when": grafting_said(runs, timezone.localdate()),
        "stage": Stage(flat.stage).label if flat.stage else "",
    }


def _story(now: FlatNow) -> dict[str, object]:
    flat, cells = now.flat, now.cells
    columns = flat.tray_format.columns
    return {
        "runs": run_lines(now.runs, cells, columns),
        "guests": guest_lines(now),
        "shows_runs": len({cell.run_number for cell in cells if cell.is_present}) > 1,
        "losses": losses(cells, columns),
        "disputes": dispute_lines(flat),
        "blanks": places_said(flat.blank_places or [], columns),
        "stays": stays_of(flat),
    }


def _next(now: FlatNow) -> dict[str, bool]:
    """Return what can be done with the flat now."""
    is_empty = not now.runs and not now.cells and not now.flat.is_pooled
    return {
        "can_graft": now.is_on_bench or is_empty,
        "is_on_bench": now.is_on_bench,
        "can_check": bool(now.cells) or bool(now.stock),
        "has_left": now.has_left,
    }


def _just_left(left: list[LeavingLine], key: str) -> LeavingLine | None:
    """Return what left on the page before this one."""
    return next((line for line in left if str(line.leaving.uuid) == key), None)


def _just_regrafted(regrafted: list[Regrafted], number: str) -> Regrafted | None:
    return next((again for again in regrafted if str(again.run.number) == number), None)


def _tally(request: HttpRequest, flat: Flat, runs: list[Run]) -> HttpResponse:
    """A flat of a past season, known by its counts alone."""
    context = {
        **_head(flat, runs),
        "runs": run_lines(runs, [], columns=1),
        "rows": flat.tally_rows.standing().order_by("run__number", "checked_on"),
        "days": day_lines(flat, runs, request.user),
    }
    return render(request, "flat/tally.html", context)
