"""Print labels: one, a sheet, the queue, or a roll of codes ahead."""

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.labels import (
    MOST_AT_ONCE,
    USUAL_STOCK,
    labels_of_codes,
    print_labels,
    print_roll,
    waiting_flats,
)
from nursery.actions.prints import prints_of
from nursery.calc.codes import SOWING, kind_of
from nursery.forms.labels import PaperForm, PrintForm, RollForm
from nursery.forms.refused import add_refusal
from nursery.labels import STOCKS
from nursery.labels.preview import label_svg
from nursery.views.page import stamp_of

STOCK_IN_SESSION = "label_stock"


@require_safe
def label_queue(request: HttpRequest) -> HttpResponse:
    """Show the flats whose label is still to be printed."""
    return _queue_page(request, PrintForm(initial=_usual(request)), RollForm(initial=_usual(request)))


@require_POST
def label_print(request: HttpRequest) -> HttpResponse:
    """Answer with the PDF of the chosen labels."""
    form = PrintForm(request.POST)
    if form.is_valid():
        chosen = form.cleaned_data
        try:
            pdf = print_labels(
                chosen["codes"], stock=chosen["stock"], start=chosen["start"], stamp=stamp_of(request)
            )
            return _pdf(request, pdf, chosen["stock"])
        except ValidationError as error:
            add_refusal(form, error)
    return _queue_page(request, form, RollForm(initial=_usual(request)), status=422)


@require_POST
def label_roll(request: HttpRequest) -> HttpResponse:
    """Answer with the PDF of codes that nothing bears yet."""
    form = RollForm(request.POST)
    if form.is_valid():
        chosen = form.cleaned_data
        try:
            pdf = print_roll(
                chosen["count"], stock=chosen["stock"], start=chosen["start"], stamp=stamp_of(request)
            )
            return _pdf(request, pdf, chosen["stock"])
        except ValidationError as error:
            add_refusal(form, error)
    return _queue_page(request, PrintForm(initial=_usual(request)), form, status=422)


@require_safe
def code_label(request: HttpRequest, code: str) -> HttpResponse:
    """Show the label of a flat or a sowing as it will be printed."""
    read = access.sowing_for_reading if kind_of(code) == SOWING else access.flat_for_work
    bearer = read(request.user, code)
    initial = _usual(request)
    stock = request.GET.get("stock", initial["stock"])
    context = {
        "bearer": bearer,
        "form": PaperForm(initial={**initial, "stock": stock}),
        "printed": prints_of(bearer.code),
        **_picture(bearer.code, stock if stock in STOCKS else initial["stock"]),
    }
    return render(request, "label/one.html", context)


def _picture(code: str, stock: str) -> dict[str, object]:
    try:
        [label] = labels_of_codes([code])
    except ValidationError as error:
        return {"problem": " ".join(error.messages)}
    return {"picture": mark_safe(label_svg(label, STOCKS[stock]))}  # label_svg escapes its text


def _queue_page(request: HttpRequest, form: PrintForm, roll: RollForm, *, status: int = 200) -> HttpResponse:
    flats = list(waiting_flats().prefetch_related("runs__pairing__scion", "runs__pairing__rootstock"))
    context = {
        "flats": flats[:MOST_AT_ONCE],
        "more_count": max(0, len(flats) - MOST_AT_ONCE),
        "form": form,
        "roll": roll,
        "chosen": request.POST.getlist("codes") if form.is_bound else None,
    }
    return render(request, "label/queue.html", context, status=status)


def _usual(request: HttpRequest) -> dict[str, object]:
    """Return the stock used last on this device, else the usual one of the farm's paper."""
    stock = request.session.get(STOCK_IN_SESSION)
    return {"stock": stock if stock in STOCKS else USUAL_STOCK[request.farm.paper], "start": 1}


def _pdf(request: HttpRequest, pdf: bytes, stock: str) -> HttpResponse:
    request.session[STOCK_IN_SESSION] = stock
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="labels.pdf"'
    return response
