"""The farm's own label papers: a list, a form with a drawing beside it, and a printed test page."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.papers import all_stocks, delete_paper, fill_in, own_papers, save_paper, tried_stock
from nursery.forms.labels import measure_words
from nursery.forms.papers import LabelStockForm
from nursery.forms.refused import add_refusal
from nursery.labels import STOCKS, render_test_page
from nursery.labels.preview import sheet_svg
from nursery.models import Farm, LabelStock
from nursery.views.labels import pdf_answer
from nursery.views.page import read_and_post, render_page

USUAL_LABEL = {"columns": 1, "rows": 1, "pad_mm": 2}


@require_safe
def label_papers(request: HttpRequest) -> HttpResponse:
    """The farm's own papers, and those that come with the program."""
    is_inches = _is_inches(request)
    own = [
        (row, measure_words(stock, is_inches=is_inches) if stock else _("These measures do not go together."))
        for row, stock in own_papers()
    ]
    built_in = [(name, measure_words(stock, is_inches=is_inches)) for name, stock in STOCKS.items()]
    return render(request, "label/papers.html", {"own": own, "built_in": built_in})


@read_and_post
def label_paper_new(request: HttpRequest) -> HttpResponse:
    access.require_grower(request.user)
    paper = {Farm.Paper.A4: "A4", Farm.Paper.LETTER: "Letter"}[request.farm.paper]
    return _form_page(request, LabelStock(paper=paper, **USUAL_LABEL))


@read_and_post
def label_paper(request: HttpRequest, key: UUID) -> HttpResponse:
    return _form_page(request, _row(request, key))


@require_POST
def label_paper_delete(request: HttpRequest, key: UUID) -> HttpResponse:
    """Delete a paper that nothing was printed on; else say so."""
    row = _row(request, key)
    try:
        delete_paper(row)
    except ValidationError as error:
        form = LabelStockForm(record=row, farm=request.farm)
        context = {"form": form, "row": row, "refused": error.messages, **_drawing(request, row)}
        return render(request, "label/paper.html", context, status=422)
    messages.success(request, _("“%s” is deleted.") % row.name)
    return redirect("label-papers")


@require_safe
def label_paper_test(request: HttpRequest, stock: str) -> HttpResponse:
    """Answer with the test page of the paper of this name."""
    paper = all_stocks().get(stock)
    if paper is None:
        raise Http404
    is_inches = _is_inches(request)
    where = _("Mark 20 must lie 20 mm from the paper's edge. If it lies 21 mm from it, shift by −1 mm.")
    if is_inches:
        where = _("Mark 1 must lie 1 in from the paper's edge. If it lies 1.04 in from it, shift by −0.04.")
    texts = [paper.name, _("Print at 100 %, not fitted to the page."), where]
    return pdf_answer(render_test_page(paper, texts, is_inches=is_inches), "test-page.pdf")


def _row(request: HttpRequest, key: UUID) -> LabelStock:
    row: LabelStock = access.record_for_change(request.user, LabelStock.objects.all(), key=str(key))
    return row


def _form_page(request: HttpRequest, row: LabelStock) -> HttpResponse:
    """Show the form, draw what is being typed (htmx asks with GET), or store it."""
    is_new = row.pk is None
    typed: Any = request.POST if request.method == "POST" else request.GET or None
    form = LabelStockForm(typed, record=row, farm=request.farm)
    if request.method == "POST" and form.is_valid():
        try:
            save_paper(row, form.values())
        except ValidationError as error:
            add_refusal(form, error)
        else:
            messages.success(request, _("“%s” is stored. Print its test page before the labels.") % row.name)
            return redirect("label-paper", row.key)
    is_refused = request.method == "POST"
    drawn = LabelStock(**{field.attname: getattr(row, field.attname) for field in LabelStock._meta.fields})
    context = {"form": form, "row": None if is_new else row, **_drawing(request, drawn, form)}
    status = 422 if is_refused else 200
    return render_page(request, "label/paper.html", context, partial="sheet", status=status)


def _drawing(request: HttpRequest, drawn: LabelStock, form: LabelStockForm | None = None) -> dict[str, Any]:
    """Return the picture of the sheet as typed, or why there is none."""
    if form is not None and form.is_bound:
        if not form.is_valid() and form.errors.keys() - {"name"}:
            return {"problems": [text for errors in form.errors.values() for text in errors]}
        fill_in(drawn, {name: value for name, value in form.cleaned_data.items() if name != "name"})
    if not drawn.label_width_mm:
        return {}
    try:
        stock = tried_stock(drawn)
    except ValidationError as error:
        return {"problems": error.messages}
    words = measure_words(stock, is_inches=_is_inches(request))
    return {"sheet": mark_safe(sheet_svg(stock)), "sheet_words": words}  # numbers only


def _is_inches(request: HttpRequest) -> bool:
    return bool(request.farm.units == Farm.Units.US)
