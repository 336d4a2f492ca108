"""Logging in and out, the first login of an empty book, and who is working at a shared tablet."""

from contextlib import suppress
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login as log_in
from django.contrib.auth import logout as log_out
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from nursery import access
from nursery.actions.demo_accounts import DEMO_LOGINS, DEMO_PASSWORD
from nursery.actions.devices import withdraw_tokens
from nursery.actions.first_account import create_first_account, is_first_account_wanted
from nursery.actions.wrong_tries import (
    FIRST_KEY,
    KNOWN_FOR_S,
    Tries,
    known_cookie,
    known_cookie_name,
    tries_for,
)
from nursery.forms.logins import FirstAccountForm, LoginForm, WhoForm
from nursery.forms.refused import add_refusal
from nursery.models import Account, Worker
from nursery.views.page import posted, read_and_post


@sensitive_post_parameters("password")
@read_and_post
@never_cache
@login_not_required
def login(request: HttpRequest) -> HttpResponse:
    """Ask for name and password; where nobody has a login yet, make the first one."""
    if is_first_account_wanted():
        return redirect("first-account")
    form = LoginForm(request, data=posted(request))
    wait = 0
    if request.method == "POST" and request.POST.get("username") and request.POST.get("password"):
        tries = _tries(request, request.POST["username"])
        wait = tries.begin()
        if wait:  # no password is looked at, right or wrong
            form = LoginForm(request, initial={"username": request.POST["username"]})
        elif not form.is_valid():
            tries.was_wrong()
        else:
            tries.was_right()
            log_in(request, form.get_user())
            return _remember(redirect(_next_page(request)), form.get_user())
    context = {"form": form, "next": request.GET.get("next", request.POST.get("next", ""))}
    if request.farm.is_demo:
        context |= {"demo_logins": DEMO_LOGINS, "demo_password": DEMO_PASSWORD}
    return _page(request, "login/login.html", context, wait=wait)


@require_POST
@login_not_required
def logout(request: HttpRequest) -> HttpResponse:
    """End the login of this browser; it may no longer send marks without one either."""
    if request.user.is_authenticated:
        with suppress(ValueError):  # a browser that never took a round along names no device
            withdraw_tokens(request.user, device=UUID(request.POST.get("device", "")), now=timezone.now())
    log_out(request)
    return redirect("login")


@sensitive_post_parameters("password", "key")
@read_and_post
@never_cache
@login_not_required
def first_account(request: HttpRequest) -> HttpResponse:
    """Name the farm and make its first grower, with the key that the terminal shows."""
    if not is_first_account_wanted():
        return redirect("login")
    form = FirstAccountForm(posted(request), initial={"time_zone": "UTC"})
    wait = 0
    if request.method == "POST" and form.is_valid():
        tries = tries_for(FIRST_KEY, address=_address(request))
        wait = tries.begin()
        account = None if wait else _first_account(form, tries)
        if account:
            log_in(request, account)
            return _remember(redirect("home"), account)
    return _page(request, "login/first.html", {"form": form}, wait=wait)


def _first_account(form: FirstAccountForm, tries: Tries) -> Account | None:
    """Make the account; where that is refused, the form says why, and only a wrong key counts as wrong."""
    given = form.cleaned_data
    try:
        account = create_first_account(
            settings.DATA_DIR,
            key=given["key"],
            farm={"name": given["farm_name"], "time_zone": given["time_zone"]},
            login={name: given[name] for name in ("username", "password", "worker_name")},
        )
    except ValidationError as error:
        add_refusal(form, error)
        if "key" in form.errors:
            tries.was_wrong()
        else:
            tries.was_right()
        return None
    tries.was_right()
    return account


def _page(request: HttpRequest, template: str, context: dict[str, object], *, wait: int) -> HttpResponse:
    """Show a form that asks for a password, with what to wait for."""
    if not wait:
        return render(request, template, context, status=422 if context["form"].errors else 200)
    answer = render(request, template, context | {"wait": _wait_in_words(wait)}, status=429)
    answer.headers["Retry-After"] = str(wait)
    return answer


def _wait_in_words(seconds: int) -> str:
    if seconds <= 60:
        return ngettext("%d second", "%d seconds", seconds) % seconds
    minutes = -(-seconds // 60)
    return ngettext("%d minute", "%d minutes", minutes) % minutes


def _tries(request: HttpRequest, name: str) -> Tries:
    return tries_for(name, address=_address(request), known=request.COOKIES.get(known_cookie_name(name), ""))


def _address(request: HttpRequest) -> str:
    """Return who sent this: behind a proxy that speaks HTTPS, the address which that proxy wrote last."""
    if settings.HTTPS and (forwarded := request.headers.get("X-Forwarded-For")):
        return forwarded.rsplit(",", 1)[-1].strip()
    return request.META["REMOTE_ADDR"]


def _remember(answer: HttpResponse, account: Account) -> HttpResponse:
    """Let this browser be known for this name, so that others' wrong tries do not keep it waiting."""
    name = account.get_username()
    answer.set_cookie(
        known_cookie_name(name), known_cookie(name), max_age=KNOWN_FOR_S,
        secure=settings.SESSION_COOKIE_SECURE, httponly=True, samesite="Lax",
    )  # fmt: skip
    return answer


@read_and_post
@never_cache
def who(request: HttpRequest) -> HttpResponse:
    """A shared tablet asks who is working; a login of one's own shows whose it is."""
    if not request.user.is_shared:
        return render(request, "login/own.html")
    if request.method == "POST":
        form = WhoForm(request.POST)
        if form.is_valid():
            request.session[access.WORKER_IN_SESSION] = str(form.cleaned_data["worker"].key)
            return redirect(_next_page(request))
        messages.warning(request, _("This person no longer works here. Tap another name."))
    context = {
        "workers": Worker.objects.active(),
        "next": request.GET.get("next", request.POST.get("next", "")),
    }
    return render(request, "login/who.html", context, status=422 if request.method == "POST" else 200)


def _next_page(request: HttpRequest) -> str:
    """Return where the visitor was going, if it is a page of this program."""
    wanted = request.POST.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, request.is_secure())
    return wanted if is_ours else resolve_url(settings.LOGIN_REDIRECT_URL)
