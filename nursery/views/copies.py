"""The copies of the book: what there is, one more now, and taking one away to keep elsewhere."""

from pathlib import Path

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.copies_kept import ask_for_copy, is_copy_asked_for, kept_copies
from nursery.actions.copies_lock import is_running
from nursery.actions.copies_state import read_state
from nursery.views.page import render_page

LARGEST_DOWNLOAD = 64 << 20


@require_safe
@never_cache
def copies(request: HttpRequest) -> HttpResponse:
    """The copies in the data folder, how it stands with them, and the button for one more."""
    access.require_grower(request.user)
    context = {
        "copies": kept_copies(),
        "state": read_state(settings.DATA_DIR),
        "is_under_way": is_copy_asked_for(),
        "is_kept_up": is_running(settings.DATA_DIR),
        "folder": Path(settings.DATA_DIR) / "copies",
        "largest": LARGEST_DOWNLOAD,
        "second": settings.COPIES_DIR,
        "at": settings.COPIES_AT,
    }
    return render_page(request, "copies/list.html", context, partial="state")


@require_POST
def copies_make(request: HttpRequest) -> HttpResponse:
    """Ask the program that watches over this one for a copy: no tap waits while it is made."""
    access.require_grower(request.user)
    if not ask_for_copy():
        messages.warning(
            request,
            _("Copies are made by “manage.py start”, which does not run here. Call manage.py backup."),
        )
    return redirect("copies")


@require_safe
@never_cache
def copies_download(request: HttpRequest, name: str) -> HttpResponse:
    """Hand out one copy, in one piece.

    A file that is streamed keeps a thread of the server until the last byte has reached a slow tablet, and on
    SQLite there is one thread. In one piece the server takes it over at once; so it must fit into memory.
    """
    access.require_grower(request.user)
    found = {copy.name: copy for copy in kept_copies()}
    if name not in found or found[name].size > LARGEST_DOWNLOAD:
        raise Http404
    try:
        content = (Path(settings.DATA_DIR) / "copies" / name).read_bytes()
    except FileNotFoundError as error:  # thinned out a moment ago
        raise Http404 from error
    headers = {"Content-Disposition": content_disposition_header(as_attachment=True, filename=name)}
    return HttpResponse(content, content_type="application/octet-stream", headers=headers)
