"""Put a flat on the bench: the first of a session by a form, the next with one tap."""

from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from nursery import access
from nursery.actions.bench import Tray, put_on, put_on_next, run_to_copy, tray_of_code
from nursery.actions.work import Work
from nursery.forms.bench import NextForm, PutOnForm
from nursery.forms.refused import add_refusal
from nursery.models import Layout, Pairing, Run, Session, TrayFormat
from nursery.views.bench.sessions import session_page
from nursery.views.page import read_and_post, render_page, stamp_of

PAGE = "bench/put_on.html"
USUAL_CELLS = "72"


@read_and_post
def bench_put_on(request: HttpRequest, key: UUID) -> HttpResponse:
    """Say who grafts what on which flat; everything is filled in as it was last."""
    session = access.session_for_work(request.user, key)
    if request.method != "POST":
        return _page(request, session, _started_form(request, session))
    form = PutOnForm(request.POST)
    if form.is_valid():
        try:
            put_on(session, tray=_tray(form), work=form.work(), stamp=stamp_of(request))
        except ValidationError as error:
            add_refusal(form, error)
    if form.errors:
        return _page(request, session, form, status=422)
    return redirect("bench-session", key)


@require_POST
def bench_next(request: HttpRequest, key: UUID) -> HttpResponse:
    """The next flat, like the last one of this worker."""
    session = access.session_for_work(request.user, key)
    form = NextForm(request.POST)
    if not form.is_valid():
        error = ValidationError(_("That was an old page. Here is the session as it is now."))
        return session_page(request, session, error=error)
    try:
        put_on_next(session, stamp=stamp_of(request), **form.cleaned_data)
    except ValidationError as error:
        return session_page(request, session, error=error)
    return redirect("bench-session", key)


def _tray(form: PutOnForm) -> Any:
    """Return the flat of the code, or a new tray."""
    said = form.cleaned_data
    found: Any = ""
    if said["code"].strip():
        try:
            found = tray_of_code(said["code"])
        except ValidationError as error:
            raise ValidationError({"code": error.messages}) from error
    if not isinstance(found, str):
        return found
    return Tray(tray_format=said["tray_format"], layout=said["layout"], code=found, key=said["key"])


def _started_form(request: HttpRequest, session: Session) -> PutOnForm:
    """Return the form filled in from the last run here, or from the last tray anywhere."""
    here = run_to_copy(session, request.worker)
    last = here or Run.objects.latest_at_the_bench().first()
    initial: dict[str, object] = {"code": request.GET.get("code", "")}
    if last:
        initial |= {"tray_format": last.flat.tray_format, "layout": last.flat.layout}
    else:
        initial |= {
            "tray_format": TrayFormat.objects.filter(name=USUAL_CELLS).first(),
            "layout": Layout.objects.first(),
        }
    if here:
        work = Work.of(here)
        form_of = work if here.worker == request.worker or not request.worker else work.by(request.worker)
        return PutOnForm(work=form_of, initial=initial | _asked(request))
    if last:
        initial |= {"cut": last.cut, "roots": last.roots, "clip": last.clip}
    return PutOnForm(initial=initial | {"worker": request.worker} | _asked(request))


def _asked(request: HttpRequest) -> dict[str, object]:
    """Return the pairing that was just chosen in the page, whose sowings are asked for."""
    if "pairing" not in request.GET:
        return {}
    return {"pairing": request.GET["pairing"]}


def _page(request: HttpRequest, session: Session, form: PutOnForm, status: int = 200) -> HttpResponse:
    context = {
        "session": session,
        "form": form,
        "has_pairings": Pairing.objects.exists(),
    }
    return render_page(request, PAGE, context, partial="sowings", status=status)
