"""The places: a map and a list of what stands where since when, and the page behind a place's label."""

from dataclasses import dataclass

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from nursery import access
from nursery.actions.yard import Yard
from nursery.models import Flat, Place
from nursery.views.flat_rows import FlatRow, flat_rows
from nursery.views.page import render_page, wants_partial
from nursery.views.place_story import story_of
from nursery.views.targets import room_said
from nursery.views.yard_map import yard_map

FLATS_PER_PAGE = 50
PAGES_MOST = 10_000


@dataclass(frozen=True, slots=True)
class Inner:
    """A place that stands in the one whose page this is."""

    place: Place
    room: str


@require_safe
def places(request: HttpRequest) -> HttpResponse:
    """What stands where since when, as a map (boxes in boxes) or as a list."""
    found = yard_map(timezone.localdate())
    context = {
        "map": found,
        "is_list": request.GET.get("view") == "list",
        "flats": sum(box.own for box in found.lines) + found.nowhere_count,
    }
    return render_page(request, "place/list.html", context, partial="yard")


@require_safe
def place_detail(request: HttpRequest, code: str) -> HttpResponse:
    """What stands in a place and in the places that stand in it, and what came and went."""
    place = access.place_for_reading(request.user, code)
    story = story_of(place, _page_number(request.GET.get("past", "")))
    if wants_partial(request):
        return render_page(request, "place/detail.html", {"place": place, "story": story}, partial="story")
    yard = Yard.read()
    inside = yard.inside(place)
    flats = Flat.objects.standing_in([place, *inside]).select_related("sowing__lot__cultivar")
    page = Paginator(flats.order_by("stage_since", "id"), FLATS_PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "place": place,
        "around": yard.around(place.stands_in_id),
        "inside": [Inner(inner, room_said(inner, yard)) for inner in yard.holds(place)],
        "has_inside": bool(inside),
        "flats_count": (count := yard.flats_in(place)),
        "room": room_said(place, yard),
        "free": (place.capacity_flats or 0) - count,
        "is_over": place.capacity_flats is not None and count > place.capacity_flats,
        "page": page,
        "rows": [(row, _age(row)) for row in flat_rows(page.object_list)],
        "story": story,
    }
    return render_page(request, "place/detail.html", context, partial="story")


def _age(row: FlatRow) -> int | None:
    return (timezone.localdate() - row.grafted_on).days if row.grafted_on else None


def _page_number(text: str) -> int:
    number = int(text) if text.isascii() and text.isdigit() and len(text) < 6 else 1
    return min(max(number, 1), PAGES_MOST)
