"""Plants of one flat leave: by tapped cells, all that live, or by number; and that is taken back."""

from dataclasses import dataclass
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from nursery import access
from nursery.actions.departing import Departure, depart
from nursery.actions.saying_which import say_which
from nursery.actions.stamp import Stamp
from nursery.actions.undo_leaving import undo_leaving
from nursery.calc.codes import spoken
from nursery.calc.days import PROVEN_FROM_DAY
from nursery.forms.grading import GradeForm
from nursery.forms.leaving import NUMBER, LeaveForm, WhichForm
from nursery.forms.refused import add_refusal
from nursery.models import Leaving
from nursery.views.choosing import draw_choice, is_wide, run_choices
from nursery.views.flat_now import FlatNow, flat_now
from nursery.views.page import posted, read_and_post, stamp_of
from nursery.views.standing import grafting_said, pairings_said

GOALS_SHOWN = 4
GOALS_READ = 60


@dataclass(frozen=True, slots=True)
class LastGoal:
    """A reason and destination of before, for one touch."""

    reason: str
    said: str
    destination: str


@read_and_post
def leave(request: HttpRequest, code: str) -> HttpResponse:
    """Let plants of one flat leave, for one reason, to one destination."""
    flat = access.flat_for_work(request.user, code)
    now = flat_now(flat)
    form = LeaveForm(
        posted(request),
        initial={"how": NUMBER if goes_by_number(request, now) else "cells"},
        flat=flat,
        living=now.living_places,
        runs=[(run, stock.alive) for run, stock in now.stocked],
    )
    grades = GradeForm(posted(request), runs=form.counted)
    if form.is_valid() and grades.is_valid():
        try:
            leaving = depart(flat, departure=_departure(form, grades), stamp=_stamp(request, form))
        except ValidationError as error:
            add_refusal(form, error)
        else:
            return redirect(f"{flat.get_absolute_url()}?left={leaving.uuid}")
    return _page(request, now, form, grades)


@require_POST
def leave_undo(request: HttpRequest, code: str, uuid: UUID) -> HttpResponse:
    """Take back what left; the plants stand in their flat again."""
    leaving = access.leaving_for_work(request.user, code, uuid)
    try:
        undo_leaving(leaving, stamp=stamp_of(request))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(
            request, _("Taken back: these plants stand in %s again.") % spoken(leaving.flat.code)
        )
    return redirect(leaving.flat)


@read_and_post
def leave_which(request: HttpRequest, code: str, uuid: UUID) -> HttpResponse:
    """Say which cells they were that left by number."""
    leaving = access.leaving_for_work(request.user, code, uuid)
    flat = access.flat_for_work(request.user, code)
    now = flat_now(flat)
    form = WhichForm(posted(request), flat=flat, living=now.living_places)
    if form.is_valid():
        try:
            new = say_which(leaving, places=form.places(), stamp=stamp_of(request))
        except ValidationError as error:
            add_refusal(form, error)
        else:
            return redirect(f"{flat.get_absolute_url()}?left={new.uuid}")
    context = {
        **head(now),
        "form": form,
        "leaving": leaving,
        "number": sum(leaving.counts.values_list("plants_count", flat=True)),
        "drawing": draw_choice(now, chosen=form.shown_places(), summary=_tap_said()),
    }
    return render(request, "leaving/which.html", context, status=422 if form.is_bound else 200)


def goes_by_number(request: HttpRequest, now: FlatNow) -> bool:
    """Whether plants are chosen by number: asked for, or no cell is known."""
    return not now.living_places or request.GET.get("by") == NUMBER


def head(now: FlatNow) -> dict[str, object]:
    """Return what stands over every page on which something is done with a flat."""
    return {
        "flat": now.flat,
        "spoken": spoken(now.flat.code),
        "what": pairings_said([*now.runs, *now.guests]),
        "when": grafting_said([*now.runs, *now.guests], now.today),
        "alive": now.alive,
        "is_wide": is_wide(now.flat),
    }


def last_goals() -> list[LastGoal]:
    """Return the last destinations, each with its reason, the newest first."""
    rows = Leaving.objects.standing().latest_destinations()[:GOALS_READ]
    goals = [LastGoal(row.reason, row.get_reason_display(), row.destination) for row in rows]
    return list(dict.fromkeys(goals))[:GOALS_SHOWN]


def _stamp(request: HttpRequest, form: LeaveForm) -> Stamp:
    return stamp_of(request, form.cleaned_data["day"])


def _departure(form: LeaveForm, grades: GradeForm) -> Departure:
    if form.is_by_number:
        return Departure(form.goal(), numbers=form.numbers(), graded=grades.counts())
    return Departure(form.goal(), places=form.places(), graded=grades.counts())


def _page(request: HttpRequest, now: FlatNow, form: LeaveForm, grades: GradeForm) -> HttpResponse:
    by_number = form["how"].value() == NUMBER
    choices = run_choices(now, request.user)
    context = {
        **head(now),
        "form": form,
        "grades": grades,
        "by_number": by_number,
        "choices": list(zip(choices, form.number_fields, strict=True)),
        "shows_runs": len(choices) > 1,
        "goals": last_goals(),
        "early": _early_said(now),
        "has_cells": bool(now.living_places),
    }
    if not by_number:
        context["drawing"] = draw_choice(now, chosen=form.shown_places(), summary=_tap_said())
    return render(request, "leaving/leave.html", context, status=422 if form.is_bound else 200)


def _tap_said() -> str:
    return _("The flat, label corner at the top left: tap the plants that leave")


def _early_said(now: FlatNow) -> str:
    """Say what leaving today does to the rate while the youngest grafts have not shown that they took."""
    ages = [(now.today - run.grafted_on).days for run, _stock in now.stocked]
    young = [age for age in ages if age < PROVEN_FROM_DAY]
    if not young:
        return ""
    text = _(
        "It is day %(age)d. What leaves before day %(first)d has not shown that it took"
        " and is left out of the rate."
    )
    return text % {"age": min(young), "first": PROVEN_FROM_DAY}
