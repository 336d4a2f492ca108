"""Checks: the page on which a flat is checked, and what one check said."""

from uuid import UUID, uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.batch import Batch, ClosingIn, Sender
from nursery.actions.marks import receive_batch
from nursery.calc.codes import spoken
from nursery.models import LOSS_CAUSES, Cause, Check, Closing
from nursery.views.check_story import MARKS_HEADER, check_story, marks_table
from nursery.views.check_words import check_words
from nursery.views.exported import table_answer
from nursery.views.page import script_data, who_is
from nursery.views.sheet_of_flat import has_plants, sheet_of
from nursery.views.standing import places_said


@require_safe
def flat_check(request: HttpRequest, code: str) -> HttpResponse:
    """The flat as it lies: tap what died. The browser draws it from its sheet."""
    flat = access.flat_for_work(request.user, code)
    if flat.is_pooled:
        return redirect("flat-numbers", flat.code)
    goes_on = request.GET.get("goes_on", "")
    sheet = sheet_of(flat, today=timezone.localdate(), user=request.user, goes_on=goes_on)
    context = {"flat": flat, "spoken": sheet["spoken"], "what": sheet["what"], "when": sheet["when"]}
    if has_plants(sheet):
        context |= _page_context(request, {"sheet": sheet, "goes_on": goes_on})
    return render(request, "flat/check.html", context)


@require_safe
def check_shell(request: HttpRequest) -> HttpResponse:
    """The page of a check without a flat: a tablet keeps it and opens on it what it took along."""
    return render(request, "flat/check.html", _page_context(request, {"sheet": None, "goes_on": ""}))


def _page_context(request: HttpRequest, data: dict[str, object]) -> dict[str, object]:
    """Return what the page needs beside the flat: its words, where it sends to, who is working."""
    told = {
        **data,
        "who": who_is(request),
        "urls": {"marks": reverse("api-marks"), "flats": reverse("api-flats")},
        "words": check_words(),
    }
    return {
        "causes": [(cause, Cause(cause).label) for cause in LOSS_CAUSES],
        "data": script_data(told, "check-data"),
    }


@require_safe
def check_detail(request: HttpRequest, code: str, key: UUID) -> HttpResponse:
    """What one check said, mark by mark, with who said it and what became of it."""
    check = access.check_for_reading(request.user, code, key)
    columns = check.flat.tray_format.columns
    closings = list(check.closings.select_related("by_worker", "sent_by", "device").order_by("at", "pk"))
    story = check_story(check, closings, columns)
    if "format" in request.GET:
        name = _("marks %(code)s %(day)s") % {"code": check.flat.code, "day": check.day.isoformat()}
        return table_answer(request.GET["format"], name, MARKS_HEADER, marks_table(story.lines))
    context = {
        "flat": check.flat,
        "spoken": spoken(check.flat.code),
        "check": check,
        "cause": Cause(check.cause).label if check.cause else "",
        "marks": story.lines,
        "amended": story.amended,
        "closings": closings,
        "numbers": check.numbers.select_related("run__pairing").order_by("run__number"),
        "seen": places_said(check.seen_places or [], columns) if check.kind == Check.Kind.PART else "",
        "may_reopen": check.is_closed and request.user.is_grower,
        "may_ask": check.is_closed and not request.user.is_grower,
        "asked": Closing.objects.pending_asks().filter(check_ref=check),
    }
    return render(request, "flat/check_detail.html", context)


@require_POST
def flat_reopen(request: HttpRequest, code: str, key: UUID) -> HttpResponse:
    """Open a closed check again, and go on with it."""
    access.require_grower(request.user)
    check = access.check_for_reading(request.user, code, key)
    now = timezone.now()
    closed = tuple(str(uuid) for uuid in check.closings.values_list("uuid", flat=True))
    closing = ClosingIn(uuid=uuid4(), check=check.uuid, at=now, kind=Closing.Kind.REOPEN, replaces=closed)
    receive_batch(Batch(sent_at=now, closings=[closing]), Sender(request.user, request.worker, now))
    if check.kind == Check.Kind.NUMBERS:
        return redirect("flat-numbers", check.flat.code)
    return redirect(f"{reverse('flat-check', args=[check.flat.code])}?{urlencode({'goes_on': check.uuid})}")
