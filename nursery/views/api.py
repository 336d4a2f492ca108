"""The door for scripts: JSON in, JSON out, never a redirect."""

from dataclasses import asdict

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_POST

from nursery.actions.batch import Sender
from nursery.actions.marks import receive_batch
from nursery.forms.marks import VERSION, MalformedBatch, read_batch


@require_POST
@login_not_required  # it answers for itself: a script must never be sent to a login page
def api_marks(request: HttpRequest) -> JsonResponse:
    """Take in a batch of checks, marks and closings; the format stands in DEVELOPERS.md."""
    if not request.user.is_authenticated:
        return JsonResponse({"error": "login", "message": "Log in again; nothing was lost."}, status=401)
    try:
        batch = read_batch(request.body)
    except MalformedBatch as error:
        return JsonResponse({"error": "malformed", "message": str(error)}, status=400)
    now = timezone.now()
    receipt = receive_batch(batch, Sender(request.user, request.worker, now, request.farm.time_zone))
    return JsonResponse(
        {
            "v": VERSION,
            "server_time": now.isoformat(timespec="milliseconds"),
            "results": receipt.results,
            "flats": {code: asdict(summary) for code, summary in receipt.flats.items()},
        }
    )
