"""Answers when something is refused."""

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Say that the page is too old to be trusted; in JSON where a script asked."""
    if request.path.startswith("/api/"):
        return JsonResponse({"error": "csrf", "message": "Reload the page and send again."}, status=403)
    return render(request, "403_csrf.html", status=403)
