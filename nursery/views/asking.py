"""Closed by accident: crew asks to open a check again, and a grower does, or leaves it closed."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from nursery import access
from nursery.actions.closings import ask_to_reopen, leave_closed
from nursery.models import Closing
from nursery.views.page import stamp_of


@require_POST
def flat_ask(request: HttpRequest, code: str, key: UUID) -> HttpResponse:
    """Ask the growers to open a closed check again; asking twice is asking once."""
    check = access.check_for_reading(request.user, code, key)
    try:
        ask_to_reopen(check, stamp=stamp_of(request))
    except ValidationError as error:
        messages.warning(request, error.messages[0])
    return redirect(check.flat)


@require_POST
def flat_leave_closed(request: HttpRequest, code: str, key: UUID) -> HttpResponse:
    """Answer with no: the check stays closed."""
    access.require_grower(request.user)
    check = access.check_for_reading(request.user, code, key)
    for asked in Closing.objects.pending_asks().filter(check_ref=check):
        leave_closed(asked, stamp=stamp_of(request))
    messages.success(request, _("The check stays closed."))
    return redirect("home" if request.POST.get("back") == "home" else check.flat)
