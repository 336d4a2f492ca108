"""A flat without its label, and two flats with the same one."""

from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.lookup import Answer, Found, Known, look_up
from nursery.actions.prints import prints_of
from nursery.actions.twins import add_twin
from nursery.calc.codes import spoken
from nursery.calc.places import PlaceError, place_name, place_number
from nursery.forms.mending import LostFlatForm
from nursery.models import Check, Flat, TrayFormat
from nursery.views.drawing import WIDE_COLUMNS, DrawnCell, FlatDrawing, draw_flat
from nursery.views.flat_now import flat_now
from nursery.views.flat_rows import FlatRow, flat_rows
from nursery.views.page import render_page, stamp_of
from nursery.views.small_flat import small_flat
from nursery.views.standing import drawing_of, grafting_said, pairings_said, standing_of

SHOWN = 12
CHECKS_SHOWN = 10


@dataclass(frozen=True, slots=True)
class FoundLine:
    """A flat that may be the one: its picture, and how it fits in words."""

    row: FlatRow
    picture: SafeString
    said: str


@require_safe
def flat_lookup(request: HttpRequest) -> HttpResponse:
    """Tap what is dead or empty in the flat without a label; the flats that fit stand beside it."""
    newest = Flat.objects.kept().select_related("tray_format").order_by("-created_at", "-pk").first()
    usual = newest.tray_format if newest else TrayFormat.objects.first()
    asked = request.GET.copy()
    asked.setdefault("shape", str(usual.key) if usual else "")
    form = LostFlatForm(asked)
    context: dict[str, object] = {"form": form, "is_wide": False}
    if form.is_valid() and form.cleaned_data["shape"]:
        shape = form.cleaned_data["shape"]
        tapped, wrong = _read_places(request.GET.get("empty", ""), shape)
        answer = look_up(Known(**form.cleaned_data), tapped)
        context |= {
            "drawing": _to_tap(shape, tapped),
            "is_wide": shape.columns > WIDE_COLUMNS,
            "empty": " ".join(place_name(place, shape.columns) for place in tapped),
            "wrong": wrong,
            "lines": _lines(answer, tapped),
            "more": max(0, len(answer.flats) - SHOWN),
            "answer": answer,
            "is_tapped": bool(tapped),
            "shape": shape,
        }
    status = 422 if form.errors else 200
    return render_page(request, "mending/lookup.html", context, partial="found", status=status)


@require_safe
def flat_two_labels(request: HttpRequest, code: str) -> HttpResponse:
    """Two flats bear this label: which is which, and what becomes of the other."""
    return _two_labels(request, access.flat_for_work(request.user, code))


@require_POST
def flat_twin(request: HttpRequest, code: str) -> HttpResponse:
    """Take the second flat into the book and go on to its label."""
    flat = access.flat_for_work(request.user, code)
    try:
        twin = add_twin(flat, stamp=stamp_of(request))
    except ValidationError as error:
        return _two_labels(request, flat, refused=error.messages, status=422)
    words = _("The second flat is %(code)s now. Print its label, and take the old one off.")
    messages.success(request, words % {"code": spoken(twin.code)})
    return redirect("code-label", twin.code)


def _two_labels(
    request: HttpRequest, flat: Flat, refused: list[str] | None = None, status: int = 200
) -> HttpResponse:
    today = timezone.localdate()
    now = flat_now(flat)
    cells, runs, standing = now.cells, now.runs, standing_of(now.cells, now.stock)
    checks = Check.objects.standing().filter(flat=flat, leaving=None).order_by("-day", "-opened_at")
    context = {
        "flat": flat,
        "what": pairings_said(runs),
        "when": grafting_said(runs, today),
        "said": standing.said,
        "prints": prints_of(flat.code),
        "checks": checks[:CHECKS_SHOWN],
        "lookup": _lookup_query(flat, runs),
        "can_add": bool(cells) and not any(run.started_at and not run.finished_at for run in runs),
        "refused": refused or [],
    }
    if cells:
        context["drawing"] = draw_flat(drawing_of(flat, cells, summary=standing.said))
    return render(request, "mending/two_labels.html", context, status=status)


def _lookup_query(flat: Flat, runs: list) -> str:
    """Return the address part that looks for flats like this one."""
    query = f"?shape={flat.tray_format.key}"
    if runs:
        query += f"&pairing={runs[0].pairing.key}"
    return query


def _read_places(text: str, shape: TrayFormat) -> tuple[list[int], list[str]]:
    """Return the places that were tapped or typed, in order, and what names none."""
    found, wrong = set(), []
    for said in text.replace(",", " ").split()[: shape.places_count]:
        try:
            found.add(place_number(said, rows=shape.rows, columns=shape.columns))
        except PlaceError:
            wrong.append(said[:8])
    return sorted(found), wrong


def _to_tap(shape: TrayFormat, tapped: list[int]) -> SafeString:
    cells = {
        place: DrawnCell(state="dead" if place in tapped else "unmarked")
        for place in range(1, shape.places_count + 1)
    }
    summary = _("The flat without a label, label corner at the top left: tap what is dead or empty")
    return draw_flat(
        FlatDrawing(rows=shape.rows, columns=shape.columns, cells=cells, taps=True, summary=summary)
    )


def _lines(answer: Answer, tapped: list[int]) -> list[FoundLine]:
    shown = answer.flats[:SHOWN]
    rows = {row.flat.pk: row for row in flat_rows(found.flat for found in shown)}
    return [_line(rows[found.flat.pk], found, tapped) for found in shown]


def _line(row: FlatRow, found: Found, tapped: list[int]) -> FoundLine:
    shape = found.flat.tray_format
    picture = small_flat(shape.rows, shape.columns, empty=found.empty, unused=found.unused, asked=set(tapped))
    return FoundLine(row, picture, _fit_said(found) if tapped else _empty_said(found))


def _fit_said(found: Found) -> str:
    fits = found.fit
    said = _("%(agreed)d of %(tapped)d tapped cells fit") % {"agreed": fits.agreed, "tapped": fits.tapped}
    if fits.others:
        text = ngettext("%d other is empty there", "%d others are empty there", fits.others)
        said += ", " + text % fits.others
    return said


def _empty_said(found: Found) -> str:
    count = len(found.empty)
    return ngettext("%d cell dead or empty", "%d cells dead or empty", count) % count
