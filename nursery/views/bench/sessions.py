"""Sessions at the bench: begin, see, pause, end."""

from uuid import UUID

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.sessions import (
    end_session,
    pause_session,
    reopen_session,
    resume_session,
    start_session,
)
from nursery.forms.bench import PRODUCTS, StartForm
from nursery.forms.refused import add_refusal
from nursery.models import Pairing, Run, Session
from nursery.models.takes import TakeBy, TakeFilter, TakeTotal, take_report
from nursery.views.bench.board import read_board
from nursery.views.page import stamp_of

ENDED_SHOWN = 5


@require_safe
def bench(request: HttpRequest) -> HttpResponse:
    """The open sessions, and the start of another."""
    return _bench(request, StartForm())


@require_POST
def bench_start(request: HttpRequest) -> HttpResponse:
    form = StartForm(request.POST)
    if form.is_valid():
        try:
            session = start_session(stamp=stamp_of(request), **form.cleaned_data)
        except ValidationError as error:
            add_refusal(form, error)
        else:
            return redirect("bench-put-on", session.key)
    return _bench(request, form, status=422)


@require_safe
def bench_session(request: HttpRequest, key: UUID) -> HttpResponse:
    """One session: who has which flat in hand."""
    return session_page(request, access.session_for_work(request.user, key))


@require_POST
def bench_pause(request: HttpRequest, key: UUID) -> HttpResponse:
    return _change(request, key, pause_session)


@require_POST
def bench_resume(request: HttpRequest, key: UUID) -> HttpResponse:
    return _change(request, key, resume_session)


@require_POST
def bench_end(request: HttpRequest, key: UUID) -> HttpResponse:
    session = access.session_for_work(request.user, key)
    try:
        end_session(session, stamp=stamp_of(request), leave_unfinished="leave" in request.POST)
    except ValidationError as error:
        return session_page(request, session, error=error)
    return redirect("bench-session", key)


@require_POST
def bench_reopen(request: HttpRequest, key: UUID) -> HttpResponse:
    return _change(request, key, reopen_session)


def session_page(
    request: HttpRequest, session: Session, error: ValidationError | None = None
) -> HttpResponse:
    """Render a session as it is now, with what was refused on top."""
    session.refresh_from_db()
    context = {
        "took": _took(session) if session.ended_at else None,
        "board": read_board(session, request.worker, timezone.now()),
        "session": session,
        "products": PRODUCTS,
        "refused": error.messages if error else [],
        "said": request.POST if error else {},
    }
    return render(request, "bench/session.html", context, status=422 if error else 200)


def _took(session: Session) -> TakeTotal:
    """Return what has come of the session's grafts so far."""
    only = TakeFilter(rows={TakeBy.SESSION: (session.pk,)})
    return take_report(by=TakeBy.METHOD, only=only).total


def _change(request: HttpRequest, key: UUID, action) -> HttpResponse:
    session = access.session_for_work(request.user, key)
    try:
        action(session, stamp=stamp_of(request))
    except ValidationError as error:
        return session_page(request, session, error=error)
    return redirect("bench-session", key)


def _bench(request: HttpRequest, form: StartForm, status: int = 200) -> HttpResponse:
    sessions = Session.objects.select_related("place")
    context = {
        "open_sessions": sessions.open().with_flat_counts(),
        "ended_sessions": sessions.ended().with_flat_counts().order_by("-started_at")[:ENDED_SHOWN],
        "left_over": Run.objects.open().left_over().named().select_related("flat"),
        "form": form,
        "has_pairings": Pairing.objects.exists(),
    }
    return render(request, "bench/bench.html", context, status=status)
