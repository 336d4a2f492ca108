"""Move by scanning: flat after flat, then the place. What was scanned so far is kept with the login."""

from dataclasses import dataclass, field

from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from nursery import access
from nursery.actions.codes import code_words
from nursery.actions.moves import Load, excess_of, move_load, sort_flats
from nursery.calc.codes import FLAT, PLACE, CodeError, kind_of, read_code, spoken
from nursery.models import Flat, Place
from nursery.views.chosen import said_of
from nursery.views.flat_rows import FlatRow, flat_rows
from nursery.views.moves import moved_said
from nursery.views.page import read_and_post, render_page, stamp_of

KEPT = "move_scanned"
DONE, REFUSED, ASKED = "success", "error", "warning"


@dataclass(slots=True)
class Basket:
    """What was scanned and not put down yet: ``codes`` of flats, or the code of one trolley.

    ``asked`` is the place that was scanned although it becomes too full.
    """

    codes: list[str] = field(default_factory=list)
    trolley: str = ""
    asked: str = ""

    @classmethod
    def of(cls, request: HttpRequest) -> "Basket":
        return cls(**request.session.get(KEPT, {}))

    def keep(self, request: HttpRequest) -> None:
        request.session[KEPT] = {"codes": self.codes, "trolley": self.trolley, "asked": self.asked}

    def load(self, request: HttpRequest) -> Load:
        if self.trolley:
            return Load(places=(access.place_for_reading(request.user, self.trolley),))
        return Load(tuple(access.flats_for_work(request.user, self.codes)))


@dataclass(slots=True)
class Told:
    """What is answered to one code. ``undo`` is where it is taken back."""

    kind: str
    words: str
    undo: str = ""


@read_and_post
def move_scan(request: HttpRequest) -> HttpResponse:
    """One code at a time: a flat is taken up, a place ends it."""
    basket, told = Basket.of(request), None
    if request.method == "POST":
        told = _answer(request, basket, request.POST.get("code", "")[:200])
        basket.keep(request)
    return _page(request, basket, told)


@require_POST
def move_scan_drop(request: HttpRequest) -> HttpResponse:
    """Take one flat out of what was scanned, or all of it."""
    basket = Basket.of(request)
    code = request.POST.get("code", "")
    basket = Basket([kept for kept in basket.codes if kept != code]) if code else Basket()
    basket.keep(request)
    return redirect("move-scan")


def _answer(request: HttpRequest, basket: Basket, text: str) -> Told:
    try:
        code = read_code(text)
    except CodeError as error:
        return Told(REFUSED, _("“%(text)s”: %(words)s") % {"text": text.strip(), "words": code_words(error)})
    kinds = {FLAT: _take_flat, PLACE: _take_place}
    if kind_of(code) not in kinds:
        text = _("%s is a sowing. Scan the labels of its flats: they begin with F.")
        return Told(REFUSED, text % spoken(code))
    try:
        return kinds[kind_of(code)](request, basket, code)
    except Http404:
        return Told(REFUSED, _unborne(code))


def _unborne(code: str) -> str:
    if access.is_printed_ahead(code):
        return _("%s was printed ahead and is on no flat yet: put it on at the bench first.") % spoken(code)
    return _("Nothing in the book bears %s. It was not taken up.") % spoken(code)


def _take_flat(request: HttpRequest, basket: Basket, code: str) -> Told:
    (flat,) = access.flats_for_work(request.user, [code])
    said = spoken(code)
    basket.asked = ""
    if basket.trolley:
        return Told(REFUSED, _("A trolley is taken up: scan the place it goes to, or put it back first."))
    if code in basket.codes:
        return Told(ASKED, _("%s is taken up already.") % said)
    sorting = sort_flats([flat])
    if sorting.left:
        return Told(REFUSED, _("%s was discarded or dispatched: it is not moved.") % said)
    if sorting.in_hand:
        return Told(REFUSED, _("%s is still being grafted: finish it first.") % said)
    basket.codes.append(code)
    count = ngettext("%d flat so far.", "%d flats so far.", len(basket.codes)) % len(basket.codes)
    return Told(DONE, _("%(code)s taken up. %(count)s") % {"code": said, "count": count})


def _take_place(request: HttpRequest, basket: Basket, code: str) -> Told:
    place = access.place_for_reading(request.user, code)
    if not basket.codes and not basket.trolley:
        if place.kind != Place.Kind.TROLLEY:
            text = _("%s is a place. Scan the flats first, and the place they go to last.")
            return Told(REFUSED, text % place)
        basket.trolley = code
        return Told(DONE, _("%s taken up with all that is on it. Scan the place it goes to.") % place)
    load = basket.load(request)
    excess = [] if basket.asked == code else excess_of(load, place)
    if excess:
        basket.asked = code
        told = " ".join(map(str, excess))
        return Told(ASKED, _("%s Scan the place again to put them there anyway.") % told)
    return _put_down(request, basket, load, place)


def _put_down(request: HttpRequest, basket: Basket, load: Load, place: Place) -> Told:
    try:
        act = move_load(load, to_place=place, stamp=stamp_of(request))
    except ValidationError as error:
        return Told(REFUSED, " ".join(error.messages))
    basket.codes, basket.trolley, basket.asked = [], "", ""
    return Told(DONE, moved_said(act, place), undo=reverse("move-undo", args=[act]))


def _page(request: HttpRequest, basket: Basket, told: Told | None) -> HttpResponse:
    trolley = Place.objects.filter(code=basket.trolley).first() if basket.trolley else None
    context = {
        "told": told,
        "rows": _rows(basket.codes),
        "trolley": trolley,
        "asked": basket.asked,
        "said": said_of(len(basket.codes), [trolley] if trolley else [], basket.codes),
    }
    status = 422 if told and told.kind == REFUSED else 200
    return render_page(request, "move/scan.html", context, partial="told", status=status)


def _rows(codes: list[str]) -> list[FlatRow]:
    """Return the flats that were taken up, the last first."""
    if not codes:
        return []
    flats = Flat.objects.with_stage().filter(code__in=codes).select_related("sowing__lot__cultivar")
    rows = {row.flat.code: row for row in flat_rows(flats)}
    return [rows[code] for code in reversed(codes) if code in rows]
