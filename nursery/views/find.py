"""From a code to its page: typed, scanned, or in the address; and help where it leads nowhere."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from nursery import access
from nursery.actions.codes import code_words
from nursery.calc.codes import FLAT, PLACE, SOWING, CodeError, kind_of, near_codes, read_code
from nursery.models import Flat, Place, PrintedCode, Session, Sowing
from nursery.views.flat_rows import FlatRow, flat_rows
from nursery.views.flats import flat_detail
from nursery.views.places import place_detail
from nursery.views.sowings import sowing_detail

PAGES = {FLAT: flat_detail, SOWING: sowing_detail, PLACE: place_detail}


@dataclass(frozen=True, slots=True)
class Near:
    """Something whose code is one slip away from what was typed."""

    code: str
    what: str


@require_safe
def code_find(request: HttpRequest) -> HttpResponse:
    """Open the page of a code in any form; a wrong one answers 422 with what may have been meant."""
    text = request.GET.get("code", "")
    try:
        code = read_code(text)
    except CodeError as error:
        return _wrong(request, text, code_words(error))
    if not access.is_borne(code):
        return _unborne(request, code)
    return redirect("code", code)


def code(request: HttpRequest, code: str) -> HttpResponse:
    """Answer with the page of whatever bears the code: what the labels' addresses lead to."""
    try:
        return PAGES[kind_of(code)](request, code=code)
    except Http404:
        if access.is_borne(code):
            raise
        return _unborne(request, code)


@require_safe
def code_slip(request: HttpRequest, text: str) -> HttpResponse:
    """Help where an address looks like a code and is none."""
    try:
        return redirect("code", read_code(text))
    except CodeError as error:
        return _wrong(request, text, code_words(error))


def _wrong(request: HttpRequest, text: str, problem: str) -> HttpResponse:
    context = {"text": text.strip(), "problem": problem, "near": _near(near_codes(text))}
    return render(request, "code/wrong.html", context, status=422)


def _unborne(request: HttpRequest, code: str) -> HttpResponse:
    is_printed = access.is_printed_ahead(code)
    sessions = Session.objects.open().select_related("place") if is_printed else []
    context = {"code": code, "is_printed": is_printed, "sessions": sessions}
    return render(request, "code/unborne.html", context, status=404)


def _near(codes: Iterable[str]) -> list[Near]:
    codes = list(codes)
    if not codes:
        return []
    rows = flat_rows(Flat.objects.filter(code__in=codes).select_related("sowing__lot__cultivar"))
    sowings = Sowing.objects.named().filter(code__in=codes)
    places = Place.objects.filter(code__in=codes)
    printed = PrintedCode.objects.free().filter(code__in=codes)
    return [
        *(Near(row.flat.code, _what_flat(row)) for row in rows),
        *(Near(sowing.code, _("Sowing: %(sowing)s") % {"sowing": sowing}) for sowing in sowings),
        *(Near(row.code, _("Label printed ahead, not in use yet")) for row in printed),
        *(Near(place.code, _("Place: %(place)s") % {"place": place}) for place in places),
    ]


def _what_flat(row: FlatRow) -> str:
    if row.pairings:
        named = {"pairings": ", ".join(row.pairings), "day": date_format(row.grafted_on, "j F Y")}
        return _("%(pairings)s, grafted %(day)s") % named
    if row.flat.sowing:
        return _("Sown: %(sowing)s") % {"sowing": row.flat.sowing}
    return row.flat.own_name or _("Nothing grafted yet")
