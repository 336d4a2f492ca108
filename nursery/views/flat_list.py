"""The list of all flats."""

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from nursery.forms.rounds import CHECKED_STAGES
from nursery.models import Flat, Stage
from nursery.views.exported import table_answer
from nursery.views.flat_rows import flat_rows
from nursery.views.page import render_page, searched_for

FLATS_PER_PAGE = 40
NOWHERE = "none"
FILE_ROWS_MOST = 5000  # a longer list is for the export of the whole book
HEADER = [
    "code",
    "own_name",
    "stage",
    "place",
    "since",
    "pairings",
    "grafted_on",
    "grafted",
    "alive",
    "counted_on",
]


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
    if "format" in request.GET:
        return table_answer(request.GET["format"], _("flats"), HEADER, table_rows(flats))
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
        "round_url": "" if search or is_nowhere else _round_url(stage),
    }
    return render_page(request, "flat/list.html", context, partial="rows")


def _round_url(stage: str) -> str:
    """Return where these flats can be checked in a round: a stage, or without one what is due."""
    if not stage:
        return reverse("round")
    return f"{reverse('round')}?stage={stage}" if stage in CHECKED_STAGES else ""


def table_rows(flats: QuerySet[Flat]) -> list[list[object]]:
    """Return the list as rows of a file."""
    return [
        [
            row.flat.code, row.flat.own_name, row.stage_name, row.flat.place_name, row.flat.stage_since,
            "; ".join(row.pairings), row.grafted_on, row.grafted, row.alive, row.counted_on,
        ]
        for row in flat_rows(flats[:FILE_ROWS_MOST])
    ]  # fmt: skip
