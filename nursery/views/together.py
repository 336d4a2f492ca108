"""Plants of one flat move to another, cell by cell or by number: looked at first, then done."""

from collections import Counter

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from nursery import access
from nursery.actions.bench import Tray, tray_of_code
from nursery.actions.moving import goals_in, require_pooled, require_usable
from nursery.actions.moving_out import Moving, move_out
from nursery.actions.stamp import Stamp
from nursery.calc.codes import spoken
from nursery.forms.leaving import NUMBER
from nursery.forms.refused import add_refusal
from nursery.forms.together import EXISTING, POOL, MoveForm
from nursery.models import Flat, Layout
from nursery.views.choosing import draw_choice, draw_moves, run_choices
from nursery.views.drawing import DrawnCell, FlatDrawing, draw_flat, without_plants
from nursery.views.flat_now import FlatNow, flat_now
from nursery.views.leaving import goes_by_number, head
from nursery.views.page import read_and_post, stamp_of
from nursery.views.put_together import flats_with_gaps


@read_and_post
def move_together(request: HttpRequest, code: str) -> HttpResponse:
    """Choose plants and where they go (?to=… shows it), then move them."""
    flat = access.flat_for_work(request.user, code)
    now = flat_now(flat)
    said = request.POST if request.method == "POST" else request.GET if "to" in request.GET else None
    form = _form(request, now, said)
    if said is None:
        return _page(request, now, form)
    plan = None
    if form.is_valid():
        try:
            stamp = stamp_of(request, form.cleaned_data["day"])
            plan = _plan(now, form, stamp)
            if request.method == "POST":
                leaving = move_out(flat, moving=plan, stamp=stamp)
                return redirect(f"{flat.get_absolute_url()}?left={leaving.uuid}")
        except ValidationError as error:
            add_refusal(form, error)
    if form.errors or plan is None:
        return _page(request, now, form, status=422)
    return _preview(request, now, form, plan)


def _form(request: HttpRequest, now: FlatNow, said: object) -> MoveForm:
    by_number = goes_by_number(request, now)
    return MoveForm(
        said,
        initial={
            "how": NUMBER if by_number else "cells",
            "places": [] if by_number else now.living_places,
            "to": POOL if now.flat.is_pooled else EXISTING,
            "tray_format": now.flat.tray_format,
            "layout": Layout.objects.first(),
        },
        flat=now.flat,
        living=now.living_places,
        runs=[(run, stock.alive) for run, stock in now.stocked],
    )


def _plan(now: FlatNow, form: MoveForm, stamp: Stamp) -> Moving:
    """Return what the form asks for; ValidationError if it cannot be done."""
    target = _target(form)
    is_pool = target.is_pooled if isinstance(target, Flat) else form.cleaned_data["to"] == POOL
    if is_pool or form.is_by_number:
        if isinstance(target, Flat):
            require_pooled(target)
        numbers = form.numbers() if form.is_by_number else _numbers_of(now, form.places())
        return Moving(target, numbers=numbers)
    places = form.places()
    if isinstance(target, Flat):
        require_usable(now.flat, target)
        return Moving(target, places, goals_in(target, None, len(places), stamp))
    free = target.layout.used_places(target.tray_format.rows, target.tray_format.columns)
    if len(places) > len(free):
        said = {"free": len(free), "number": len(places)}
        text = _("Such a flat has %(free)d places, not %(number)d: choose fewer plants.")
        raise ValidationError({"tray_format": text % said})
    return Moving(target, places, free[: len(places)])


def _target(form: MoveForm) -> Flat | Tray:
    said = form.cleaned_data
    found: Flat | str = ""
    if said["code"].strip():
        try:
            found = tray_of_code(said["code"])
        except ValidationError as error:
            raise ValidationError({"code": error.messages}) from error
    if said["to"] == EXISTING:
        if isinstance(found, str):
            text = _("%s stands on a label and on no flat yet: choose a new flat for it.")
            raise ValidationError({"code": text % spoken(found)})
        return found
    if isinstance(found, Flat):
        text = _("%s is a flat already: choose “a flat with a code”.")
        raise ValidationError({"code": text % spoken(found.code)})
    return Tray(tray_format=said["tray_format"], layout=said["layout"], code=found)


def _numbers_of(now: FlatNow, places: list[int]) -> dict[int, int]:
    """Return how many of each run stand in ``places``: into a pooled flat they go by number."""
    keys = {number: run_id for run_id, number in now.numbers.items()}
    living = {cell.place_no: cell.run_number for cell in now.cells if cell.is_present}
    return dict(Counter(keys[living[place]] for place in places if place in living))


def _page(request: HttpRequest, now: FlatNow, form: MoveForm, status: int = 200) -> HttpResponse:
    by_number = form["how"].value() == NUMBER
    choices = run_choices(now, request.user)
    context = {
        **head(now),
        "form": form,
        "by_number": by_number,
        "choices": list(zip(choices, form.number_fields, strict=True)),
        "shows_runs": len(choices) > 1,
        "has_cells": bool(now.living_places),
        "others": [] if by_number else flats_with_gaps(now),
    }
    if not by_number:
        summary = _("The flat, label corner at the top left: tap the plants that move")
        context["drawing"] = draw_choice(now, chosen=form.shown_places(), summary=summary)
    return render(request, "together/move.html", context, status=status)


def _preview(request: HttpRequest, now: FlatNow, form: MoveForm, plan: Moving) -> HttpResponse:
    context = {
        **head(now),
        "form": form,
        "plan": plan,
        "stays": now.alive - plan.number,
        "sent": [(name, value) for name, values in request.GET.lists() for value in values],
        "target": plan.target if isinstance(plan.target, Flat) else None,
        "is_pool": plan.is_by_number,
        "from_drawing": draw_moves(now, out=plan.places, dom_id="from") if plan.places else "",
        "to_drawing": _draw_target(plan),
    }
    return render(request, "together/preview.html", context)


def _draw_target(plan: Moving) -> SafeString | str:
    if plan.is_by_number:
        return ""
    if isinstance(plan.target, Flat):
        return draw_moves(flat_now(plan.target), into=plan.to_places, dom_id="to")
    shape = plan.target.tray_format
    cells = without_plants(plan.target.layout.used_places(shape.rows, shape.columns))
    cells |= {place: DrawnCell(state="gone", moves="in") for place in plan.to_places}
    summary = _("A new flat; %d places would be filled") % len(plan.to_places)
    return draw_flat(FlatDrawing(shape.rows, shape.columns, cells, summary=summary, dom_id="to"))
