"""The records by their table of nouns: hub, lists that search, forms, deletion; and the farm's settings."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.html import format_html
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.farm import save_farm
from nursery.actions.records import delete_record
from nursery.forms.records import FarmForm
from nursery.forms.records.base import RecordForm, initial_of
from nursery.forms.refused import add_refusal
from nursery.models import Layout, TrayFormat
from nursery.views.exported import table_answer
from nursery.views.page import posted, read_and_post, render_page, searched_for
from nursery.views.record_nouns import FIRST_STEPS, NOUNS, SLUG_OF, Noun
from nursery.views.record_words import EXAMPLES, layouts_used

ROWS_PER_PAGE = 50


@require_safe
def records(request: HttpRequest) -> HttpResponse:
    """All kinds of records, with how many there are, and which one to begin with."""
    counts = {slug: _readable(request, noun).count() for slug, noun in NOUNS.items()}
    first = next((NOUNS[slug] for slug in FIRST_STEPS if not counts[slug]), None)
    cards = [{"noun": noun, "count": counts[slug], "is_first": noun is first} for slug, noun in NOUNS.items()]
    return render(request, "record/hub.html", {"cards": cards, "first": first})


@require_safe
def record_list(request: HttpRequest, noun: str) -> HttpResponse:
    """One kind of record, searched by words, a page at a time."""
    kind = _noun(noun)
    search = searched_for(request)
    rows = access.records_for_reading(request.user, kind.matching(search))
    if "format" in request.GET:
        header = [_("Name"), *(str(column.heading) for column in kind.columns)]
        lines = ([kind.name(row), *(column.of(row) for column in kind.columns)] for row in rows)
        return table_answer(request.GET["format"], str(kind.title), header, lines)
    page = Paginator(rows, ROWS_PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "noun": kind,
        "search": search,
        "page": page,
        "lines": [_line(request, kind, row) for row in page.object_list],
        "missing": None if page.object_list or search else _missing(request, kind),
    }
    return render_page(request, "record/list.html", context, partial="rows")


@read_and_post
def record_new(request: HttpRequest, noun: str) -> HttpResponse:
    """An empty form; ``?copy=`` and ``?<field>=`` fill it in, ``?next=`` is where it leads."""
    access.require_grower(request.user)
    kind = _noun(noun)
    record = kind.model()
    if request.method == "POST":
        form = _form(request, kind, record, data=request.POST)
        if _is_saved(request, kind, form):
            messages.success(request, _("“%s” is in the book.") % kind.name(record))
            return redirect(_way_on(request, kind, record))
    else:
        form = _form(request, kind, record, initial=_given(request, kind))
    context = {"noun": kind, "form": form, "title": kind.new, "missing": _missing(request, kind)}
    return _form_page(request, form, context)


@read_and_post
def record_edit(request: HttpRequest, noun: str, key: str) -> HttpResponse:
    """The form of one record, with what it is used for and the way to delete it."""
    kind = _noun(noun)
    record = access.record_for_change(request.user, kind.rows(), **{kind.key: key})
    context = {"noun": kind, "record": record, "key": key, "title": kind.name(record), **_drawings(record)}
    if request.method == "POST":
        form = _form(request, kind, record, data=request.POST)
        if _is_saved(request, kind, form):
            messages.success(request, _("“%s” is stored.") % kind.name(record))
            return redirect(_way_on(request, kind, record))
    else:
        form = _form(request, kind, record)
    return _form_page(request, form, {**context, "form": form})


@require_POST
def record_delete(request: HttpRequest, noun: str, key: str) -> HttpResponse:
    """Delete a record that nothing uses; else say what uses it."""
    kind = _noun(noun)
    record = access.record_for_change(request.user, kind.rows(), **{kind.key: key})
    title = kind.name(record)
    try:
        delete_record(record)
    except ValidationError as error:
        form = _form(request, kind, record)
        context = {"noun": kind, "record": record, "key": key, "title": title, "form": form}
        context |= {"refused": error.messages, **_drawings(record)}
        return render(request, "record/form.html", context, status=422)
    messages.success(request, _("“%s” is deleted.") % title)
    return redirect("record-list", kind.slug)


@read_and_post
def record_farm(request: HttpRequest) -> HttpResponse:
    """The farm's settings."""
    access.require_grower(request.user)
    farm = request.farm
    form = FarmForm(posted(request), record=farm, farm=farm)
    if request.method == "POST" and form.is_valid():
        try:
            save_farm(farm, form.values(), is_address_change_confirmed=form.is_confirmed)
        except ValidationError as error:
            add_refusal(form, error)
        else:
            messages.success(request, _("The farm's settings are stored."))
            return redirect("record-farm")
    if form.errors:
        farm.refresh_from_db()
    return _form_page(request, form, {"form": form, "title": _("The farm's settings")})


def _noun(slug: str) -> Noun:
    if slug not in NOUNS:
        raise Http404
    return NOUNS[slug]


def _readable(request: HttpRequest, noun: Noun) -> Any:
    return access.records_for_reading(request.user, noun.model._default_manager.all())


def _line(request: HttpRequest, noun: Noun, row: Any) -> dict[str, Any]:
    """Return a line of a list: its name, where it leads whom, and its cells."""
    if noun.has_page:
        link = reverse("code", args=[row.code])
    else:
        link = reverse("record-edit", args=[noun.slug, noun.key_of(row)]) if request.user.is_grower else ""
    cells = [(column.heading, column.of(row), column.is_number) for column in noun.columns]
    return {"name": noun.name(row), "link": link, "cells": cells}


def _missing(request: HttpRequest, noun: Noun) -> Noun | None:
    """Return the first kind of record that has to be there before one of this kind can be."""
    for slug in noun.needs:
        if not _readable(request, NOUNS[slug]).exists():
            return _missing(request, NOUNS[slug]) or NOUNS[slug]
    return None


def _form(request: HttpRequest, noun: Noun, record: Any, **given: Any) -> RecordForm:
    form = noun.form(record=record, farm=request.farm, **given)
    _link_new_rows(form, request)  # before anything is checked: a checked field keeps its help
    return form


def _given(request: HttpRequest, noun: Noun) -> dict[str, Any]:
    """Return what the address fills in: a copied record's values, and fields by name."""
    given: dict[str, Any] = {}
    if "copy" in request.GET:
        key = {noun.key: request.GET["copy"]}
        copied = access.record_for_change(request.user, noun.rows(), **key)
        given = initial_of(copied, [name for name in noun.form.front + noun.form.folded if name != "name"])
    names = set(noun.form.front + noun.form.folded) & set(request.GET)
    return given | {name: request.GET[name] for name in names}


def _is_saved(request: HttpRequest, noun: Noun, form: RecordForm) -> bool:
    """Store what was typed; where that is refused, the form says why."""
    if not form.is_valid():
        return False
    try:
        noun.save(form.record, form, request)
    except ValidationError as error:
        add_refusal(form, error)
        return False
    return True


def _way_on(request: HttpRequest, noun: Noun, record: Any) -> str:
    """Return where to go after saving: to the page that sent here, to the record's own, or to the list."""
    wanted = request.GET.get("next", "")
    if wanted and url_has_allowed_host_and_scheme(wanted, {request.get_host()}, request.is_secure()):
        into = request.GET.get("into", "")
        return f"{wanted}?{urlencode({into: noun.key_of(record)})}" if into else wanted
    if noun.has_page:
        return reverse("code", args=[record.code])
    return reverse("record-list", args=[noun.slug])


def _link_new_rows(form: RecordForm, request: HttpRequest) -> None:
    """Beside each choice of records stands a link to make one that is missing, and come back."""
    for name, field in form.fields.items():
        model = getattr(getattr(field, "queryset", None), "model", None)
        if model in SLUG_OF:
            noun = NOUNS[SLUG_OF[model]]
            address = reverse("record-new", args=[noun.slug])
            query = urlencode({"next": request.path, "into": name})
            link = format_html('<a href="{}?{}">{}</a>', address, query, noun.new)
            field.help_text = format_html("{} {}", field.help_text, link) if field.help_text else link


def _drawings(record: Any) -> dict[str, Any]:
    """Return the drawings of a tray format by layout, or of a layout by two common formats."""
    if isinstance(record, TrayFormat):
        return {"drawings": layouts_used(record.rows, record.columns, Layout.objects.all())}
    if isinstance(record, Layout):
        drawn = [layouts_used(*shape, [record])[0] | {"name": "{} × {}".format(*shape)} for shape in EXAMPLES]
        return {"drawings": drawn}
    return {}


def _form_page(request: HttpRequest, form: RecordForm, context: dict[str, Any]) -> HttpResponse:
    return render(request, "record/form.html", context, status=422 if form.errors else 200)
