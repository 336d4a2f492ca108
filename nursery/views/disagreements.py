"""What people disagree on, across all flats; and settling it in one touch."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.settling import flats_to_settle, settle
from nursery.calc.places import place_name
from nursery.views.dispute_lines import lines_by_flat
from nursery.views.drawing import STATE_WORDS
from nursery.views.page import stamp_of, wants_partial

FLATS_PER_PAGE = 20


@require_safe
def disagreement_list(request: HttpRequest) -> HttpResponse:
    """All cells on which people disagree, and numbers that contradict the cells; the newest first."""
    page = Paginator(flats_to_settle(), FLATS_PER_PAGE).get_page(request.GET.get("page"))
    keys = [row["flat"] for row in page.object_list]
    context = {"page": page, "entries": lines_by_flat(keys, timezone.localdate())}
    return render(request, "mending/disagreements.html", context)


@require_POST
def cell_settle(request: HttpRequest, code: str, cell: str) -> HttpResponse:
    """One of them is right: that stands, and replaces what the others say."""
    graft = access.cell_for_work(request.user, code, cell)
    state = request.POST.get("state", "")
    name = place_name(graft.place_no, graft.flat.tray_format.columns)
    try:
        settle(
            graft,
            uuids=request.POST.get("uuids", "").split(","),
            state=state,
            reason=_("Settled"),
            stamp=stamp_of(request),
        )
    except ValidationError as error:
        said, kind, status = " ".join(error.messages), "error", 422
    else:
        said = _("%(cell)s settled: %(state)s.") % {"cell": name, "state": STATE_WORDS[state]}
        kind, status = "success", 200
    if wants_partial(request):
        context = {"said": said, "kind": kind, "flat": graft.flat}
        return render(request, "mending/_settled.html", context, status=status)
    messages.add_message(request, messages.SUCCESS if status == 200 else messages.ERROR, said)
    return redirect("disagreement-list" if request.POST.get("back") == "list" else graft.flat)
