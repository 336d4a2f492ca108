"""Mend a check: it was another flat that was looked at, or it shall not count."""

from dataclasses import replace
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from nursery import access
from nursery.actions.codes import code_words
from nursery.actions.mending import give_check, preview_giving, unvoid_check, void_check
from nursery.actions.states import CellState
from nursery.calc.codes import CodeError, kind_of, read_code, spoken
from nursery.forms.mending import FreeReasonForm, OtherFlatForm, ReasonForm
from nursery.forms.refused import add_refusal
from nursery.models import Check, Flat
from nursery.views.drawing import draw_flat
from nursery.views.page import posted, read_and_post, stamp_of
from nursery.views.small_flat import small_flat
from nursery.views.standing import drawing_of, pairings_said, standing_of


@read_and_post
def check_give(request: HttpRequest, code: str, key: UUID) -> HttpResponse:
    """This was another flat: say which, look at both, and give it the check."""
    access.require_grower(request.user)
    check = access.check_for_reading(request.user, code, key)
    asked = posted(request) or (request.GET if "code" in request.GET else None)
    form, why = OtherFlatForm(asked), FreeReasonForm(posted(request))
    context: dict[str, object] = {"check": check, "form": form, "why": why, "flat": check.flat}
    if form.is_valid() and (request.method != "POST" or why.is_valid()):
        try:
            other = _other_flat(request, form.cleaned_data["code"])
            if request.method == "POST":
                said = give_check(
                    check, to_flat=other, reason=why.cleaned_data["reason"], stamp=stamp_of(request)
                )
                messages.success(request, _given_words(check, other, said))
                return redirect("check-detail", other.code, check.uuid)
            context |= {"other": other, **_preview(request, check, other)}
        except ValidationError as error:
            add_refusal(form, error)
    status = 422 if form.errors or why.errors else 200
    return render(request, "mending/give.html", context, status=status)


@read_and_post
def check_void(request: HttpRequest, code: str, key: UUID) -> HttpResponse:
    """Let a check count for nothing, and say why."""
    access.require_grower(request.user)
    check = access.check_for_reading(request.user, code, key)
    form = ReasonForm(posted(request))
    if form.is_valid():
        try:
            void_check(check, reason=form.cleaned_data["reason"], stamp=stamp_of(request))
        except ValidationError as error:
            add_refusal(form, error)
        else:
            messages.success(request, _("Void: this check counts for nothing now."))
            return redirect("check-detail", check.flat.code, check.uuid)
    context = {"check": check, "flat": check.flat, "form": form, "marks_count": check.marks.count()}
    return render(request, "mending/void.html", context, status=422 if form.errors else 200)


@require_POST
def check_unvoid(request: HttpRequest, code: str, key: UUID) -> HttpResponse:
    """Let a void check count again."""
    access.require_grower(request.user)
    check = access.check_for_reading(request.user, code, key)
    try:
        unvoid_check(check, reason="", stamp=stamp_of(request))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("This check counts again."))
    return redirect("check-detail", check.flat.code, check.uuid)


def _other_flat(request: HttpRequest, text: str) -> Flat:
    """Return the flat that was scanned or typed; ValidationError says what is wrong with the code."""
    try:
        code = read_code(text)
    except CodeError as error:
        raise ValidationError({"code": code_words(error)}) from error
    if kind_of(code) != "F":
        words = _("%s is not a flat's code: that begins with F.")
        raise ValidationError({"code": words % spoken(code)})
    try:
        return access.flat_for_work(request.user, code)
    except Http404 as error:
        raise ValidationError({"code": _("No flat bears %s.") % spoken(code)}) from error


def _given_words(check: Check, other: Flat, said: int) -> str:
    words = _("The check is one of %(code)s now.") % {"code": spoken(other.code)}
    return words + (" " + _("%d cells follow what was seen last.") % said if said else "")


def _preview(request: HttpRequest, check: Check, other: Flat) -> dict[str, object]:
    """Draw both flats as they would be: what the check marks there is fresh, all else was so before."""
    outcome = preview_giving(check, other, stamp=stamp_of(request))
    runs = list(other.runs.named())
    return {
        "other_what": pairings_said(runs),
        "there": _drawn(other, outcome.there, outcome.marked),
        "here": _small(check.flat, outcome.here),
        "there_said": standing_of(outcome.there).said,
        "here_said": standing_of(outcome.here).said,
        "marks_count": len(outcome.marked),
    }


def _drawn(flat: Flat, cells: list[CellState], marked: frozenset[int]) -> str:
    shown = [replace(cell, before="" if cell.cell_id in marked else cell.state) for cell in cells]
    return draw_flat(drawing_of(flat, shown, summary=standing_of(cells).said))


def _small(flat: Flat, cells: list[CellState]) -> str:
    empty = {cell.place_no for cell in cells if cell.is_present and cell.state in ("dead", "gone")}
    shape = flat.tray_format
    used = flat.layout.used_places(shape.rows, shape.columns)
    unused = set(range(1, shape.places_count + 1)) - set(used)
    return small_flat(shape.rows, shape.columns, empty=empty | set(flat.blank_places or []), unused=unused)
