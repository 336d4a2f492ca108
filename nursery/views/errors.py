"""Answers when something is refused, or fails."""

import sys

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.views.defaults import server_error as usual_server_error

from nursery.views.api_trouble import refusal, trouble_answer


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Say that the page is too old to be trusted; in JSON where a script asked."""
    if request.path.startswith("/api/"):
        return JsonResponse({"error": "csrf", "message": "Reload the page and send again."}, status=403)
    return render(request, "403_csrf.html", status=403)


def server_error(request: HttpRequest) -> HttpResponse:
    """Say that something failed; to a script in JSON, and what it was where waiting or people can mend it.

    What fails before the view is reached ends here: the farm is read with every request.
    """
    if request.path.startswith("/api/"):
        return trouble_answer(sys.exc_info()[1]) or refusal("failed")
    return usual_server_error(request)
