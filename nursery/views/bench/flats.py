"""One flat at the bench: hand over by a tap, say what is empty, finish."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.bench import run_in_hand, take_off, used_places
from nursery.actions.finishing import finish_flat, set_blanks, undo_finish
from nursery.actions.runs import first_place_after, hand_over, undo_hand_over
from nursery.actions.work import Work
from nursery.calc.codes import spoken
from nursery.forms.bench import BlanksForm, FinishForm, HandOverForm
from nursery.forms.refused import add_refusal
from nursery.models import Flat, Run, Session
from nursery.views.bench.flat_page import (
    draw_bench,
    free_page,
    hand_over_choices,
    line_of_flat,
    run_lines,
)
from nursery.views.drawing import WIDE_COLUMNS
from nursery.views.page import stamp_of


@require_safe
def flat_bench(request: HttpRequest, code: str) -> HttpResponse:
    """The flat as it lies: tap where the next run begins, or with ?blanks what is empty."""
    if access.is_printed_ahead(code):
        return free_page(request, code, flat=None)
    flat = access.flat_for_work(request.user, code)
    return _page(request, flat, is_blanks="blanks" in request.GET)


@require_POST
def flat_hand_over(request: HttpRequest, code: str) -> HttpResponse:
    flat = access.flat_for_work(request.user, code)
    form = HandOverForm(request.POST)
    if form.is_valid():
        try:
            _hand_over(request, flat, form)
        except ValidationError as error:
            add_refusal(form, error)
    if form.errors:
        return _page(request, flat, refused=form)
    return redirect("flat-bench", flat.code)


@require_POST
def flat_hand_over_undo(request: HttpRequest, code: str) -> HttpResponse:
    flat = access.flat_for_work(request.user, code)
    try:
        undo_hand_over(flat, stamp=stamp_of(request))
    except ValidationError as error:
        return _page(request, flat, refused=error)
    return redirect("flat-bench", flat.code)


@require_POST
def flat_blanks(request: HttpRequest, code: str) -> HttpResponse:
    """Note what is empty and go on grafting."""
    flat = access.flat_for_work(request.user, code)
    form = BlanksForm(request.POST, flat=flat, used=used_places(flat))
    if form.is_valid():
        try:
            set_blanks(flat, blanks=form.cleaned_data["blanks"], stamp=stamp_of(request))
        except ValidationError as error:
            add_refusal(form, error)
    if form.errors:
        return _page(request, flat, refused=form, is_blanks=True)
    return redirect("flat-bench", flat.code)


@require_POST
def flat_finish(request: HttpRequest, code: str) -> HttpResponse:
    flat = access.flat_for_work(request.user, code)
    form = FinishForm(request.POST, flat=flat, used=used_places(flat))
    if form.is_valid():
        try:
            count = finish_flat(flat, blanks=form.places(), stamp=stamp_of(request))
        except ValidationError as error:
            add_refusal(form, error)
        else:
            return _finished(request, flat, count)
    return _page(request, flat, refused=form, is_blanks=form.data.get("filled") == "some")


@require_POST
def flat_finish_undo(request: HttpRequest, code: str) -> HttpResponse:
    flat = access.flat_for_work(request.user, code)
    try:
        undo_finish(flat, stamp=stamp_of(request))
    except ValidationError as error:
        return _page(request, flat, refused=error)
    return redirect("flat-bench", flat.code)


@require_POST
def flat_take_off(request: HttpRequest, code: str) -> HttpResponse:
    flat = access.flat_for_work(request.user, code)
    session = _session_of(flat)
    try:
        take_off(flat, stamp=stamp_of(request))
    except ValidationError as error:
        return _page(request, flat, refused=error)
    messages.success(request, _("%s is off the bench. Its code can be put on again.") % spoken(flat.code))
    return _to_session(session)


def _hand_over(request: HttpRequest, flat: Flat, form: HandOverForm) -> None:
    said = form.cleaned_data
    run = run_in_hand(flat)
    place = said["first_place"]
    if place is None:
        place = first_place_after(flat, said["done_count"])
    work = Work.of(run)
    if said["worker"]:
        work = work.by(said["worker"])
    if said["pairing"]:
        work = work.on_pairing(said["pairing"])
    hand_over(flat, first_place=place, work=work, stamp=stamp_of(request))


def _finished(request: HttpRequest, flat: Flat, count: int) -> HttpResponse:
    said = {"code": spoken(flat.code), "count": count}
    messages.success(
        request, ngettext("%(code)s: %(count)s graft.", "%(code)s: %(count)s grafts.", count) % said
    )
    return _to_session(_session_of(flat))


def _session_of(flat: Flat) -> Session | None:
    last: Run | None = flat.runs.select_related("session").order_by("-number").first()
    return last.session if last else None


def _to_session(session: Session | None) -> HttpResponse:
    if session is None or session.ended_at:
        return redirect("bench")
    return redirect("bench-session", session.key)


def _page(
    request: HttpRequest,
    flat: Flat,
    *,
    refused: Any = None,
    is_blanks: bool = False,
) -> HttpResponse:
    """Render the flat as it is now; with what was refused, if anything."""
    flat = access.flat_for_work(request.user, flat.code)
    status = 422 if refused is not None else 200
    words = _words(refused)
    runs = list(flat.runs.named().order_by("number"))
    if not runs or runs[-1].finished_at or not runs[-1].started_at:
        return free_page(request, flat.code, flat=flat, refused=words, status=status)
    line = line_of_flat(flat, runs)
    shown = run_lines(line)
    context = {
        "flat": flat,
        "line": line,
        "runs": shown,
        "in_hand": shown[-1],
        "is_wide": flat.tray_format.columns > WIDE_COLUMNS,
        "session": runs[-1].session,
        "drawing": draw_bench(line, is_blanks=is_blanks),
        "is_blanks": is_blanks,
        "blanks_said": getattr(refused, "data", {}).get("blanks", line.blanks_said) if is_blanks else "",
        "done_said": getattr(refused, "data", {}).get("done_count", ""),
        "choices": {} if is_blanks else hand_over_choices(flat, runs),
        "refused": words,
    }
    return render(request, "bench/flat.html", context, status=status)


def _words(refused: Any) -> list[str]:
    if refused is None:
        return []
    if isinstance(refused, ValidationError):
        return refused.messages
    return [str(message) for messages_ in refused.errors.values() for message in messages_]
