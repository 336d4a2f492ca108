"""The door for scripts: marks in. The format stands in DEVELOPERS.md."""

from dataclasses import asdict

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_POST

from nursery.actions.batch import Sender
from nursery.actions.marks import receive_batch
from nursery.forms.marks import VERSION, MalformedBatch, read_batch
from nursery.views.api_door import api_door
from nursery.views.api_trouble import refusal


@require_POST
@api_door()
def api_marks(request: HttpRequest) -> HttpResponse:
    """Take in a batch of checks, marks and closings."""
    try:
        batch = read_batch(request.body)
    except MalformedBatch as error:
        return refusal("malformed", str(error))
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
