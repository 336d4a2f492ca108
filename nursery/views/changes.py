"""Everything that changed a number: the list, one act of corrections, and putting it back."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.changed import KINDS, Wanted, changed
from nursery.actions.corrections import act_of, put_back
from nursery.forms.changes import ChangesForm
from nursery.models import Change
from nursery.views.change_lines import lines_of, lines_of_act
from nursery.views.exported import table_answer
from nursery.views.page import render_page, stamp_of

LINES_PER_PAGE = 40
FILE_LINES_MOST = 5000
HEADER = ["at", "who", "what", "old", "new", "reason", "flats"]


@require_safe
def change_list(request: HttpRequest) -> HttpResponse:
    """All of it, newest first, by flat, person, kind and time."""
    form = ChangesForm(request.GET)
    wanted = form.wanted() if form.is_valid() else Wanted()
    entries = changed(wanted)
    if "format" in request.GET and not form.errors:
        return table_answer(
            request.GET["format"], _("changes"), HEADER, table_rows(entries[:FILE_LINES_MOST])
        )
    page = Paginator(entries, LINES_PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "lines": lines_of(page.object_list),
        "flat": wanted.flat,
        "kinds": [("", _("All")), *KINDS.items()],
        "kind": wanted.kind,
        "is_filtered": any(request.GET.get(name) for name in form.fields),
    }
    status = 422 if form.errors else 200
    return render_page(request, "mending/changes.html", context, partial="lines", status=status)


def table_rows(entries: Sequence[tuple[str, int, datetime]]) -> list[list[object]]:
    """Return the entries as rows of a file."""
    return [
        [line.at, line.who, line.what, line.old, line.new, line.reason, " ".join(f.code for f in line.flats)]
        for line in lines_of(entries)
    ]


@require_safe
def change_detail(request: HttpRequest, key: UUID) -> HttpResponse:
    """What one act put right, and what it was before."""
    return _detail(request, access.change_for_reading(request.user, key))


@require_POST
def change_put_back(request: HttpRequest, key: UUID) -> HttpResponse:
    """The same correction the other way."""
    access.require_grower(request.user)
    change = access.change_for_reading(request.user, key)
    try:
        written = put_back(change, stamp=stamp_of(request))
    except ValidationError as error:
        return _detail(request, change, refused=error.messages, status=422)
    messages.success(request, _("Put back as it was."))
    return redirect("change-detail", written[0].uuid)


def _detail(
    request: HttpRequest, change: Change, refused: list[str] | None = None, status: int = 200
) -> HttpResponse:
    try:
        together = act_of(change)
    except ValidationError as error:
        raise Http404 from error
    flats = list({row.run.flat_id: row.run.flat for row in together}.values())
    context = {
        "change": change,
        "lines": lines_of_act(together),
        "flats": flats,
        "refused": refused or [],
        "may_put_back": request.user.is_grower,
    }
    return render(request, "mending/change.html", context, status=status)
