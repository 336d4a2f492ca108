"""Blades, noted with one tap."""

from uuid import UUID

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from nursery import access
from nursery.actions.blades import note_blade_once, void_blade
from nursery.actions.stamp import Stamp
from nursery.forms.bench import BladeForm
from nursery.models import BladeEvent
from nursery.views.bench.sessions import session_page
from nursery.views.page import stamp_of


@require_POST
def bench_blade(request: HttpRequest, key: UUID) -> HttpResponse:
    session = access.session_for_work(request.user, key)
    form = BladeForm(request.POST)
    if not form.is_valid():
        return session_page(request, session, error=ValidationError(_("Tap what was done with the blade.")))
    said = form.cleaned_data
    event = BladeEvent(session=session, kind=said["kind"], product=said["product"])
    try:
        # The blade is that of the lane it was tapped in, whoever holds the tablet.
        note_blade_once(event, stamp=Stamp.now(request.user, said["worker"]), uuid=said["uuid"])
    except ValidationError as error:
        return session_page(request, session, error=error)
    return redirect("bench-session", key)


@require_POST
def bench_blade_undo(request: HttpRequest, key: UUID, event: UUID) -> HttpResponse:
    session = access.session_for_work(request.user, key)
    void_blade(
        access.blade_event_for_work(request.user, session, event),
        stamp=stamp_of(request),
    )
    return redirect("bench-session", session.key)
