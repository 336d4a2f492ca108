"""Grades of the plants that live in a flat, and the severing of a tongue approach."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from nursery import access
from nursery.actions.grading import left_by, record_grading, undo_grading
from nursery.actions.leaving import sever
from nursery.actions.severing import undo_sever
from nursery.forms.grading import GradeForm, SeverForm
from nursery.forms.refused import add_refusal
from nursery.models import Flat, Run
from nursery.views.flat_now import flat_now
from nursery.views.leaving import head
from nursery.views.page import posted, read_and_post, stamp_of


@read_and_post
def flat_grade(request: HttpRequest, code: str) -> HttpResponse:
    """Say how many plants of each run are first, second and cull."""
    flat = access.flat_for_work(request.user, code)
    now = flat_now(flat)
    form = GradeForm(posted(request), runs=[(run, stock.alive) for run, stock in now.stocked])
    if form.is_valid():
        try:
            record_grading(flat, counts=form.counts(), stamp=stamp_of(request, form.cleaned_data["day"]))
        except ValidationError as error:
            add_refusal(form, error)
        else:
            messages.success(request, _("The grades are in the book."))
            return redirect(flat)
    context = {**head(now), "form": form, "shows_names": len(form.runs) > 1}
    return render(request, "flat/grade.html", context, status=422 if form.is_bound else 200)


@read_and_post
def leave_grade(request: HttpRequest, code: str, uuid: UUID) -> HttpResponse:
    """Say of which grade the plants were that left."""
    leaving = access.leaving_for_work(request.user, code, uuid)
    left = left_by(leaving)
    named = Run.objects.named().filter(pk__in=left).order_by("flat_id", "number")
    form = GradeForm(posted(request), runs=[(run, left[run.pk]) for run in named])
    if form.is_valid():
        try:
            record_grading(leaving.flat, counts=form.counts(), stamp=stamp_of(request), leaving=leaving)
        except ValidationError as error:
            add_refusal(form, error)
        else:
            messages.success(request, _("The grades are in the book."))
            return redirect(leaving.flat)
    now = flat_now(access.flat_for_work(request.user, code))
    context = {**head(now), "form": form, "shows_names": len(form.runs) > 1, "leaving": leaving}
    return render(request, "flat/grade.html", context, status=422 if form.is_bound else 200)


@require_POST
def flat_grade_undo(request: HttpRequest, code: str, uuid: UUID) -> HttpResponse:
    grading = access.grading_for_work(request.user, code, uuid)
    try:
        undo_grading(grading, stamp=stamp_of(request))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("The grades were taken back."))
    return redirect(grading.flat)


@read_and_post
def flat_sever(request: HttpRequest, code: str) -> HttpResponse:
    """Say on which day the roots of the scions were cut: the take counts from there."""
    flat = access.flat_for_work(request.user, code)
    runs = access.runs_to_sever(request.user, flat)
    form = SeverForm(posted(request))
    if form.is_valid() and runs:
        try:
            _sever_all(runs, form, request)
        except ValidationError as error:
            add_refusal(form, error)
        else:
            messages.success(request, _("Severed: the take counts from this day."))
            return redirect(flat)
    context = {**head(flat_now(flat)), "form": form, "runs": runs}
    return render(request, "flat/sever.html", context, status=422 if form.is_bound else 200)


def _sever_all(runs: list[Run], form: SeverForm, request: HttpRequest) -> None:
    if form.day() > timezone.localdate():
        raise ValidationError({"severed_on": _("This day is still to come: choose an earlier one.")})
    for run in runs:
        sever(run, severed_on=form.day(), stamp=stamp_of(request))


@require_POST
def flat_sever_undo(request: HttpRequest, code: str, uuid: UUID) -> HttpResponse:
    severing = access.severing_for_work(request.user, code, uuid)
    flat: Flat = severing.run.flat
    try:
        undo_sever(severing, stamp=stamp_of(request))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("Taken back: these plants are not severed yet."))
    return redirect(flat)
