"""The door for scripts: who may come in, and what they hear when the book cannot answer. Never a redirect.

A script comes with the session of its page or, where that has ended, with the token of its device. A browser
sends a session along by itself, so that one needs the CSRF token beside it; the token of a device it does
not, so for that it is enough that no page of another site sends it.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import CsrfViewMiddleware
from django.views.decorators.csrf import csrf_exempt, csrf_protect

from nursery import access
from nursery.actions.devices import account_of_token
from nursery.views.api_trouble import refusal, trouble_answer

View = Callable[..., HttpResponse]
OURS = {"", "none", "same-origin"}  # what a browser says of a request that no page of another site made
_origins = CsrfViewMiddleware(lambda request: HttpResponse())


def api_door(*, tokens: bool = True) -> Callable[[View], View]:
    """Let in who is logged in and, with ``tokens``, who brings the token of a device."""

    def with_door(view: View) -> View:
        with_session = csrf_protect(view)

        @csrf_exempt  # asked for below, where there is a session
        @login_not_required  # it answers for itself: a script must never be sent to a login page
        @wraps(view)
        def door(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            try:
                if request.user.is_authenticated:
                    return with_session(request, *args, **kwargs)
                return _token_refused(request, tokens) or view(request, *args, **kwargs)
            except (OperationalError, InterfaceError) as error:
                answer = trouble_answer(error)
                if answer is None:
                    raise
                return answer

        return door

    return with_door


def _token_refused(request: HttpRequest, tokens: bool) -> HttpResponse | None:
    """Let the request be that of the token's login; else return why not."""
    scheme, _space, token = request.headers.get("Authorization", "").partition(" ")
    account = None
    if tokens and scheme.lower() == "bearer" and token:
        if _is_foreign(request):
            return refusal("origin")
        account = account_of_token(token.strip())
    if account is None:
        return refusal("login")
    request.user = account
    request.worker = access.worker_of(account)
    return None


def _is_foreign(request: HttpRequest) -> bool:
    """Whether a page of another site made this request, as far as the browser says."""
    if request.headers.get("Sec-Fetch-Site", "") not in OURS:
        return True
    # The same origins as for a form with its CSRF token.
    return "Origin" in request.headers and not _origins._origin_verified(request)
