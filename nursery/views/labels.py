"""Print labels: of one flat, sowing or place, of all that wait, or codes ahead."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.label_words import gaps_of_codes, labels_of_codes
from nursery.actions.labels import (
    MOST_AT_ONCE,
    USUAL_STOCK,
    print_labels,
    print_roll,
    waiting_flats,
    waiting_places,
    waiting_sowings,
)
from nursery.actions.papers import all_stocks
from nursery.actions.prints import prints_of
from nursery.calc.codes import PLACE, SOWING, kind_of
from nursery.forms.labels import PaperForm, PrintForm, RollForm
from nursery.forms.refused import add_refusal
from nursery.labels import Stock
from nursery.labels.gaps import Gap, scripts_that_print
from nursery.labels.preview import label_svg
from nursery.models import Place, Sowing
from nursery.views.page import stamp_of

STOCK_IN_SESSION = "label_stock"
# Between what was printed once and everything.
TABS = (
    ("flats", "label-queue", gettext_lazy("Flats")),
    ("sowings", "label-sowings", gettext_lazy("Sowings")),
    ("places", "label-places", gettext_lazy("Places")),
)
SCRIPT_NAMES = {
    "Latin": gettext_lazy("Latin"),
    "Greek": gettext_lazy("Greek"),
    "Cyrillic": gettext_lazy("Cyrillic"),
    "Armenian": gettext_lazy("Armenian"),
    "Georgian": gettext_lazy("Georgian"),
    "Hebrew": gettext_lazy("Hebrew"),
    "Arabic": gettext_lazy("Arabic"),
    "Persian": gettext_lazy("Persian"),
    "Urdu": gettext_lazy("Urdu"),
    "Devanagari (Hindi, Marathi, Nepali)": gettext_lazy("Devanagari (Hindi, Marathi, Nepali)"),
    "Bengali": gettext_lazy("Bengali"),
    "Tamil": gettext_lazy("Tamil"),
    "Thai": gettext_lazy("Thai"),
    "Lao": gettext_lazy("Lao"),
    "Khmer": gettext_lazy("Khmer"),
    "Ethiopic (Amharic)": gettext_lazy("Ethiopic (Amharic)"),
    "Chinese": gettext_lazy("Chinese"),
    "Japanese": gettext_lazy("Japanese"),
    "Korean": gettext_lazy("Korean"),
}


@dataclass(frozen=True)
class Row:
    """A label to choose: its code, what it will say, and a word of warning."""

    code: str
    what: str
    note: str = ""


@require_safe
def label_queue(request: HttpRequest) -> HttpResponse:
    """Show the flats whose label is still to be printed."""
    return _list_page(request, "flats")


@require_safe
def label_sowings(request: HttpRequest) -> HttpResponse:
    """Show the sowings without a label, or with ``?all`` every sowing."""
    return _list_page(request, "sowings")


@require_safe
def label_places(request: HttpRequest) -> HttpResponse:
    """Show the places without a label, or with ``?all`` every place."""
    return _list_page(request, "places")


@require_safe
def label_scripts(request: HttpRequest) -> HttpResponse:
    """Say which scripts print."""
    rows = [
        {"name": SCRIPT_NAMES[name], "sample": sample, "lost": lost, "is_none": set(lost) == set(sample)}
        for name, sample, lost in scripts_that_print()
    ]
    return render(request, "label/scripts.html", {"scripts": rows})


@require_POST
def label_print(request: HttpRequest) -> HttpResponse:
    """Answer with the PDF of the chosen labels."""
    form = PrintForm(request.POST, farm=request.farm)

    def printed() -> bytes:
        chosen = form.cleaned_data
        return print_labels(
            chosen["codes"], on=form.sheet, stamp=stamp_of(request), with_gaps=chosen["with_gaps"]
        )

    pdf = _pdf(request, form, printed)
    if pdf:
        return pdf
    page, codes = form.cleaned_data.get("page") or "flats", form.cleaned_data.get("codes")
    if page == "one" and codes:
        return _one_page(request, codes[0], form, status=422)
    return _list_page(request, page if page != "one" else "flats", form=form)


@require_POST
def label_roll(request: HttpRequest) -> HttpResponse:
    """Answer with the PDF of codes that nothing bears yet."""
    form = RollForm(request.POST, farm=request.farm)

    def printed() -> bytes:
        return print_roll(form.cleaned_data["count"], on=form.sheet, stamp=stamp_of(request))

    return _pdf(request, form, printed) or _list_page(request, "flats", roll=form)


@require_safe
def code_label(request: HttpRequest, code: str) -> HttpResponse:
    """Show the label of a flat, a sowing or a place as it will be printed."""
    initial = _usual(request)
    stock = request.GET.get("stock", initial["stock"])
    form = PrintForm(initial={**initial, "stock": stock, "page": "one"}, farm=request.farm)
    return _one_page(request, code, form)


def _one_page(request: HttpRequest, code: str, form: PrintForm, *, status: int = 200) -> HttpResponse:
    bearer = _bearer(request, code)
    stocks = all_stocks()
    stock = stocks.get(str(form["stock"].value()), stocks[str(_usual(request)["stock"])])
    context = {
        "bearer": bearer,
        "form": form,
        "printed": prints_of(bearer.code),
        "gaps": gaps_of_codes([bearer.code]),
        **_picture(bearer.code, stock),
    }
    return render(request, "label/one.html", context, status=status)


def _bearer(request: HttpRequest, code: str) -> Any:
    kind = kind_of(code)
    if kind == SOWING:
        return access.sowing_for_reading(request.user, code)
    if kind == PLACE:
        return access.place_for_reading(request.user, code)
    return access.flat_for_work(request.user, code)


def _picture(code: str, stock: Stock) -> dict[str, object]:
    try:
        [label] = labels_of_codes([code])
        return {"picture": mark_safe(label_svg(label, stock))}  # label_svg escapes its text
    except ValidationError as error:
        return {"problem": " ".join(error.messages)}
    except ValueError:
        return {"misfit": _("This label does not fit on this paper. Choose a larger one.")}


def _list_page(
    request: HttpRequest, page: str, *, form: PrintForm | None = None, roll: RollForm | None = None
) -> HttpResponse:
    """One of the three lists; a form that was refused comes back with what was chosen."""
    show_all = page != "flats" and "all" in request.GET
    rows = list(_rows(page, show_all=show_all))
    shown = rows[:MOST_AT_ONCE]
    usual = _usual(request)
    context = {
        "page": page,
        "tabs": [(name == page, reverse(url), words) for name, url, words in TABS],
        "show_all": show_all,
        "rows": shown,
        "more_count": len(rows) - len(shown),
        "gaps": _texts(gaps_of_codes([row.code for row in shown])),
        "form": form or PrintForm(initial={**usual, "page": page}, farm=request.farm),
        "roll": roll or RollForm(initial=usual, farm=request.farm),
        "chosen": request.POST.getlist("codes") if form else None,
    }
    return render(request, "label/queue.html", context, status=422 if form or roll else 200)


def _rows(page: str, *, show_all: bool) -> Iterable[Row]:
    if page == "sowings":
        sowings = Sowing.objects.named().order_by("-sown_on", "-pk") if show_all else waiting_sowings()
        return [Row(one.code, one.lot.cultivar.name, date_format(one.sown_on)) for one in sowings]
    if page == "places":
        places = Place.objects.all() if show_all else waiting_places()
        return [Row(place.code, place.name, str(place.get_kind_display())) for place in places]
    flats = waiting_flats().prefetch_related("runs__pairing__scion", "runs__pairing__rootstock")
    bare = _("bears a bare code only")
    return [
        Row(flat.code, ", ".join(str(run.pairing) for run in flat.runs.all()), bare if flat.is_bare else "")
        for flat in flats
    ]


def _texts(gaps: Iterable[Gap]) -> list[Gap]:
    """Return each text once: many flats bear one name."""
    return list({gap.text: gap for gap in gaps}.values())


def _usual(request: HttpRequest) -> dict[str, object]:
    """Return the stock used last on this device, else the usual one of the farm's paper."""
    stock = request.session.get(STOCK_IN_SESSION)
    return {"stock": stock if stock in all_stocks() else USUAL_STOCK[request.farm.paper], "start": 1}


def _pdf(request: HttpRequest, form: PaperForm, make: Callable[[], bytes]) -> HttpResponse | None:
    """Answer with what ``make`` prints; None, with the reason in the form, where it is refused."""
    if not form.is_valid():
        return None
    try:
        pdf = make()
    except ValidationError as error:
        add_refusal(form, error)
        return None
    request.session[STOCK_IN_SESSION] = form.sheet.stock
    return pdf_answer(pdf, "labels.pdf")


def pdf_answer(pdf: bytes, name: str) -> HttpResponse:
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response
