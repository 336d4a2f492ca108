"""Patchy flats are put together: which ones, a picture of what would move, and the one touch that does it."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.safestring import SafeString
from django.views.decorators.http import require_safe

from nursery import access
from nursery.actions.moving import propose_together
from nursery.actions.moving import put_together as do_put_together
from nursery.models import Flat
from nursery.views.choosing import draw_moves
from nursery.views.flat_now import FlatNow, flat_now, flats_now
from nursery.views.flat_rows import FlatRow, flat_rows
from nursery.views.leaving import head
from nursery.views.leaving_many import chosen_flats
from nursery.views.page import read_and_post, stamp_of
from nursery.views.standing import pairings_said

FLATS_READ = 60
FLATS_SHOWN = 12


@dataclass(frozen=True, slots=True)
class Gaps:
    """A flat in which there is room."""

    row: FlatRow
    gaps: int


@dataclass(frozen=True, slots=True)
class Shown:
    """One flat of a proposal: what goes out of it, what comes in."""

    flat: Flat
    what: str
    out: int
    into: int
    alive: int
    drawing: SafeString


@read_and_post
def put_together(request: HttpRequest) -> HttpResponse:
    """Show what putting the chosen flats together would move, and do it."""
    flats = chosen_flats(request)
    if not flats:
        return redirect("flat-list")
    stamp = stamp_of(request)
    refused: list[str] = []
    if request.method == "POST":
        try:
            return redirect("leave-act", do_put_together(flats, stamp=stamp))
        except ValidationError as error:
            refused = error.messages
    plan = propose_together(flats, stamp=stamp)
    shown = _shown(flats, plan)
    context = {
        "flats": flats,
        "shown": [one for one in shown if one.out or one.into],
        "others": [one for one in shown if not one.out and not one.into],
        "number": sum(len(moves) for moves in plan.values()),
        "is_mixed": len({one.what for one in shown if one.out or one.into}) > 1,
        "emptied": len({source for source, _target in plan}),
        "refused": refused,
    }
    return render(request, "together/put.html", context, status=422 if refused else 200)


@require_safe
def put_together_with(request: HttpRequest, code: str) -> HttpResponse:
    """Choose with which other flats of the same pairing a flat is put together."""
    flat = access.flat_for_work(request.user, code)
    now = flat_now(flat)
    context = {**head(now), "others": flats_with_gaps(now)}
    return render(request, "together/with.html", context)


def flats_with_gaps(now: FlatNow) -> list[Gaps]:
    """Return other flats on which the same pairings grow and in which there is room, the newest first."""
    pairings = {run.pairing_id for run in [*now.runs, *now.guests]}
    flats = Flat.objects.growing(pairings).exclude(pk=now.flat.pk).filter(is_pooled=False)
    rows = flat_rows(flats.select_related("tray_format", "layout")[:FLATS_READ])
    found = [Gaps(row, _places(row.flat) - row.alive) for row in rows if row.alive]
    return [one for one in found if one.gaps > 0][:FLATS_SHOWN]


def _places(flat: Flat) -> int:
    return len(flat.layout.used_places(flat.tray_format.rows, flat.tray_format.columns))


def _shown(flats: Sequence[Flat], plan: dict[tuple[Flat, Flat], list[tuple[int, int]]]) -> list[Shown]:
    shown = []
    for number, (flat, now) in enumerate(zip(flats, flats_now(flats), strict=True)):
        out = [place for (source, _to), moves in plan.items() if source == flat for place, _into in moves]
        into = [place for (_from, target), moves in plan.items() if target == flat for _out, place in moves]
        drawing = draw_moves(now, out=out, into=into, dom_id=f"flat-{number}")
        what = pairings_said([*now.runs, *now.guests])
        shown.append(Shown(flat, what, len(out), len(into), now.alive, drawing))
    return sorted(shown, key=lambda one: (not one.into, -one.alive))
