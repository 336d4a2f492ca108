"""What this tablet can do, what is missing and why, and what waits on it. A script looks; nothing is sent."""

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.http.request import split_domain_port
from django.shortcuts import render
from django.views.decorators.http import require_safe

from nursery.actions.plain_door import TRUST_PATH
from nursery.actions.serving import http_address


@require_safe
def this_tablet(request: HttpRequest) -> HttpResponse:
    """The sentences for whatever the script finds; without a script, what it would look for."""
    plain_page = None
    if settings.PLAIN_PORT is not None:
        host = split_domain_port(request.get_host())[0].strip("[]")
        plain_page = http_address(host, settings.PLAIN_PORT) + TRUST_PATH
    return render(request, "tablet/this_tablet.html", {"plain_page": plain_page})
