"""What views have in common: what came in, who sent it, and a whole page or the part that htmx swaps in."""

import json
from datetime import date, datetime, time

from django.core.serializers.json import DjangoJSONEncoder
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_http_methods

from nursery.actions.stamp import Stamp

HTMX_HEADERS = ("HX-Request", "HX-Boosted", "HX-History-Restore-Request")


read_and_post = require_http_methods(["GET", "HEAD", "POST"])


def posted(request: HttpRequest) -> QueryDict | None:
    """Return what a form is bound to: None where the page was only asked for."""
    return request.POST if request.method == "POST" else None


def stamp_of(request: HttpRequest, day: date | None = None) -> Stamp:
    """Return the signature of this moment, or of the end of another ``day``: the login and who is working."""
    now = timezone.now()
    if day is None or day == timezone.localdate(now):
        return Stamp.of(now, request.user, request.worker)
    at = timezone.make_aware(datetime.combine(day, time(23, 59)))
    return Stamp(at=at, raw_at=at, received_at=now, account=request.user, worker=request.worker)


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


def who_is(request: HttpRequest) -> dict[str, str | None]:
    """Return who is working, for a script that signs with it what is tapped."""
    worker = request.worker
    return {
        "account": request.user.get_username(),
        "worker": str(worker.key) if worker else None,
        "name": str(worker or request.user.get_username()),
    }


def script_data(value: object, dom_id: str) -> SafeString:
    """Return data for a script of the page, without the blanks that a large flat would pay for."""
    text = json.dumps(value, cls=DjangoJSONEncoder, separators=(",", ":"))
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04X}")
    # Safe: the three signs that could end the element or begin another are written as JSON escapes.
    return format_html('<script id="{}" type="application/json">{}</script>', dom_id, mark_safe(text))
