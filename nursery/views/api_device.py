"""The door for scripts: the token with which a device sends its waiting marks when its login has ended."""

import json
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from nursery.actions.devices import MOST_NAME, issue_token, withdraw_tokens
from nursery.forms.marks import VERSION
from nursery.views.api_door import api_door
from nursery.views.api_trouble import refusal
from nursery.views.page import who_is


@require_http_methods(["POST", "DELETE"])
@api_door(tokens=False)
def api_device(request: HttpRequest) -> HttpResponse:
    """Give the browser of who is logged in a token (POST), or take its tokens back (DELETE)."""
    try:
        device, name = _read(request.body)
    except ValueError as error:
        return refusal("malformed", str(error))
    now = timezone.now()
    if request.method == "DELETE":
        told: dict[str, Any] = {"withdrawn": withdraw_tokens(request.user, device=device, now=now)}
    else:
        token = issue_token(request.user, device=device, now=now, name=name)
        told = {"token": token, "who": who_is(request)}
    return _answer({"v": VERSION, "server_time": now.isoformat(timespec="milliseconds"), **told})


def _read(body: bytes) -> tuple[UUID, str]:
    """Return the device's UUID and its name; ValueError says what is wrong."""
    try:
        data = json.loads(body)
        device = UUID(data["device"])
    except (ValueError, RecursionError, TypeError, KeyError, AttributeError) as error:
        raise ValueError(_("The body must be a JSON object with the UUID of the device.")) from error
    name = data.get("name") or ""
    if not isinstance(name, str) or not name.isprintable():
        raise ValueError(_("The name must be a text."))
    return device, name.strip()[:MOST_NAME]


def _answer(told: dict[str, Any]) -> JsonResponse:
    answer = JsonResponse(told)
    answer.headers["Cache-Control"] = "no-store"
    return answer
