"""What every request knows: the farm, its time zone, and who is working."""

import zoneinfo
from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

from django.contrib import messages
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django_htmx.http import HttpResponseClientRedirect

from nursery import access
from nursery.models import Farm

SAFE_METHODS = frozenset({"GET", "HEAD"})


def page_of(request: HttpRequest) -> str:
    """Return the page that is asked for; for what is sent, the page it is sent from."""
    if request.method in SAFE_METHODS:
        return request.get_full_path()
    sent_from = request.headers.get("Referer", "")
    is_ours = url_has_allowed_host_and_scheme(sent_from, {request.get_host()}, request.is_secure())
    return urlsplit(sent_from)._replace(scheme="", netloc="", fragment="").geturl() if is_ours else "/"


class FarmMiddleware:
    """Set ``request.farm`` and ``request.worker`` and show times in the farm's zone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.farm = Farm.objects.current()
        request.worker = access.worker_at(request)
        with timezone.override(zoneinfo.ZoneInfo(request.farm.time_zone)):
            return self.get_response(request)


class LoginMiddleware(LoginRequiredMiddleware):
    """Send who is not logged in to the login, and from there to a page: never to what only takes a form."""

    def handle_no_permission(self, request: HttpRequest, view: Any) -> HttpResponseBase:
        if request.method in SAFE_METHODS:
            return super().handle_no_permission(request, view)
        messages.warning(request, _("Nothing was stored: log in, then do it again."))
        return redirect_to_login(page_of(request))


class MethodMiddleware:
    """Answer who opens or reloads an address that only takes a form with a page, not with an empty screen."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        answer = self.get_response(request)
        if answer.status_code != 405 or request.path.startswith("/api/"):
            return answer
        page = render(request, "405.html", status=405)
        page.headers["Allow"] = answer.headers["Allow"]
        return page


class WhoMiddleware:
    """Send a shared tablet on which nobody is chosen to the page that asks who is working."""

    OPEN = frozenset({"who", "login", "logout", "manifest", "service-worker", "offline"})

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
        if request.method not in SAFE_METHODS:
            messages.warning(request, _("Nothing was stored: say who is working, then do it again."))
        address = reverse("who", query={"next": page_of(request)})
        if request.headers.get("HX-Request") == "true":
            return HttpResponseClientRedirect(address)
        return redirect(address)


def farm_context(request: HttpRequest) -> dict[str, object]:
    """Give templates the farm and the name of who is working."""
    worker = getattr(request, "worker", None)
    return {"farm": getattr(request, "farm", None), "worker": worker, "worker_name": str(worker or "")}
