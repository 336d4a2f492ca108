"""The list of all flats."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from nursery.models import Flat, Stage
from nursery.views.flat_rows import flat_rows
from nursery.views.page import render_page, searched_for

FLATS_PER_PAGE = 40
NOWHERE = "none"


@require_safe
def flat_list(request: HttpRequest) -> HttpResponse:
    """Search by code, pairing, place or own name; one pill a stage; ``?choose`` to choose some of them."""
    search = searched_for(request)
    stage = request.GET.get("stage", "")
    flats = Flat.objects.with_stage().select_related("sowing__lot__cultivar")
    if search:
        flats = flats.matching(search)
    if stage in Stage.values:
        flats = flats.in_stage(stage)
    is_nowhere = request.GET.get("place") == NOWHERE
    if is_nowhere:
        flats = flats.nowhere()
    page = Paginator(flats, FLATS_PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": flat_rows(page.object_list),
        "search": search,
        "stage": stage,
        "pills": [("", _("All")), *Stage.choices],
        "is_filtered": bool(search or stage or is_nowhere),
        "is_nowhere": is_nowhere,
        "is_choosing": "choose" in request.GET,
    }
    return render_page(request, "flat/list.html", context, partial="rows")
