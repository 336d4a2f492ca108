"""The tablets: what each is called, how right its clock is, and who may send waiting marks from it."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.devices import name_device, withdraw_tokens
from nursery.forms.devices import DeviceNameForm, WithdrawForm
from nursery.models import Device

PER_PAGE = 30
RIGHT_S = 2  # within it a clock counts as right: an exchange takes that long on a bad network


@require_safe
def device_list(request: HttpRequest) -> HttpResponse:
    """All tablets and other browsers that sent marks, the one heard of last coming first."""
    access.require_grower(request.user)
    return _page(request)


@require_POST
def device_name(request: HttpRequest, key: UUID) -> HttpResponse:
    """Give a tablet its name."""
    device = access.device_for_change(request.user, key)
    form = DeviceNameForm(request.POST, device=device)
    if form.is_valid():
        try:
            name_device(device, name=form.cleaned_data["name"])
        except ValidationError as error:
            form.add_error("name", error.messages)
    if form.errors:
        return _page(request, form)
    device.refresh_from_db()
    messages.success(request, _("This tablet is called “%s” now.") % device)
    return redirect("device-list")


@require_POST
def device_withdraw(request: HttpRequest, key: UUID) -> HttpResponse:
    """Let a login send nothing more from a tablet until it logs in there again."""
    device = access.device_for_change(request.user, key)
    form = WithdrawForm(request.POST)
    if not form.is_valid():
        return _page(request, status=422)
    account = access.account_for_change(request.user, form.cleaned_data["account"])
    withdraw_tokens(account, device=device.uuid, now=timezone.now())
    said = {"account": account.username, "device": device}
    messages.success(
        request, _("%(account)s sends nothing from “%(device)s” before logging in there again.") % said
    )
    return redirect("device-list")


def _page(request: HttpRequest, wrong: DeviceNameForm | None = None, *, status: int = 200) -> HttpResponse:
    """Return the list; with a form that is ``wrong`` in the place of its tablet's."""
    page = Paginator(access.devices_for_reading(request.user), PER_PAGE).get_page(request.GET.get("page"))
    lines = []
    for device in page.object_list:
        is_wrong = wrong is not None and wrong.device.pk == device.pk
        form = wrong if is_wrong else DeviceNameForm(device=device)
        lines.append({"device": device, "form": form, "clock": clock_said(device)})
    context = {"page": page, "lines": lines}
    return render(request, "device/list.html", context, status=422 if wrong else status)


def clock_said(device: Device) -> str:
    """Say how wrong the clock of a tablet was when it last sent something, in the largest fitting unit."""
    wrong_s = round(abs(device.skew_ms) / 1000)
    if wrong_s <= RIGHT_S:
        return _("right")
    if wrong_s < 90:
        length = ngettext("%d second", "%d seconds", wrong_s) % wrong_s
    elif wrong_s < 90 * 60:
        minutes = round(wrong_s / 60)
        length = ngettext("%d minute", "%d minutes", minutes) % minutes
    elif wrong_s < 36 * 3600:
        hours = round(wrong_s / 3600)
        length = ngettext("%d hour", "%d hours", hours) % hours
    else:
        days = round(wrong_s / 86400)
        length = ngettext("%d day", "%d days", days) % days
    return (_("%s slow") if device.skew_ms > 0 else _("%s fast")) % length
