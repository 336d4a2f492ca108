"""The page behind a place's label: what stands there now."""

from collections import defaultdict

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from nursery import access
from nursery.models import Flat, Place
from nursery.views.flat_rows import flat_rows

FLATS_PER_PAGE = 50


@require_safe
def place_detail(request: HttpRequest, code: str) -> HttpResponse:
    """The flats in a place and in the places that stand in it."""
    place = access.place_for_reading(request.user, code)
    inside = places_within(place)
    flats = Flat.objects.standing_in([place, *inside]).select_related("sowing__lot__cultivar")
    page = Paginator(flats.order_by("stage_since", "id"), FLATS_PER_PAGE).get_page(request.GET.get("page"))
    context = {"place": place, "inside": inside, "page": page, "rows": flat_rows(page.object_list)}
    return render(request, "place/detail.html", context)


def places_within(place: Place) -> list[Place]:
    """Return the places that stand in ``place``, however deep; one query."""
    holds: dict[int | None, list[Place]] = defaultdict(list)
    for other in Place.objects.all():
        holds[other.stands_in_id].append(other)
    found, waiting = [], list(holds[place.pk])
    while waiting:
        inner = waiting.pop(0)
        if inner.pk != place.pk and inner not in found:
            found.append(inner)
            waiting += holds[inner.pk]
    return found
