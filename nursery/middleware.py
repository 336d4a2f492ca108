"""What every request knows: the farm, its time zone, and who is working."""

import zoneinfo
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django_htmx.http import HttpResponseClientRedirect

from nursery import access
from nursery.models import Farm


class FarmMiddleware:
    """Set ``request.farm`` and ``request.worker`` and show times in the farm's zone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.farm = Farm.objects.current()
        request.worker = access.worker_at(request)
        with timezone.override(zoneinfo.ZoneInfo(request.farm.time_zone)):
            return self.get_response(request)


class WhoMiddleware:
    """Send a shared tablet on which nobody is chosen to the page that asks who is working."""

    OPEN = frozenset({"who", "login", "logout"})

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view, args, kwargs) -> HttpResponse | None:
        user: Any = request.user
        if not user.is_authenticated or not user.is_shared or request.worker:
            return None
        # A script that sends marks says itself who tapped.
        if request.resolver_match.url_name in self.OPEN or request.path.startswith("/api/"):
            return None
        if request.method in {"GET", "HEAD"}:
            came_from = request.get_full_path()
        else:
            came_from = "/"
            messages.warning(request, _("Nothing was stored: say who is working, then do it again."))
        address = reverse("who", query={"next": came_from})
        if request.headers.get("HX-Request") == "true":
            return HttpResponseClientRedirect(address)
        return redirect(address)


def farm_context(request: HttpRequest) -> dict[str, object]:
    """Give templates the farm and the name of who is working."""
    worker = getattr(request, "worker", None)
    return {"farm": getattr(request, "farm", None), "worker": worker, "worker_name": str(worker or "")}
