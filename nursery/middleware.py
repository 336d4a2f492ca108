"""What every request knows: the farm, its time zone, and who is working."""

import zoneinfo
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

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


def farm_context(request: HttpRequest) -> dict[str, object]:
    """Give templates the farm and the name of who is working."""
    worker = getattr(request, "worker", None)
    return {"farm": getattr(request, "farm", None), "worker": worker, "worker_name": str(worker or "")}
