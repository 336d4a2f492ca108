"""Answer with a whole page, or with the part of it that htmx swaps in."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers

HTMX_HEADERS = ("HX-Request", "HX-Boosted", "HX-History-Restore-Request")


def wants_partial(request: HttpRequest) -> bool:
    """True only where htmx will swap the answer into a page that is already there."""
    headers = request.headers
    return headers.get("HX-Request") == "true" and not (
        headers.get("HX-Boosted") or headers.get("HX-History-Restore-Request")
    )


def searched_for(request: HttpRequest) -> str:
    """Return the words a list is searched by; PostgreSQL cannot look for a NUL."""
    return request.GET.get("q", "").replace("\0", "").strip()


def render_page(
    request: HttpRequest, template: str, context: dict[str, object], *, partial: str, status: int = 200
) -> HttpResponse:
    """Render the whole page, or only ``partial`` when htmx swaps it in."""
    if wants_partial(request):
        template = f"{template}#{partial}"
    response = render(request, template, context, status=status)
    patch_vary_headers(response, HTMX_HEADERS)
    return response
