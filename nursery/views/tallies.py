"""Bring in past seasons: choose a table, look at what it would do, store it.

A small table is looked at and stored while its sender waits; a large one is long work, whose page leads on.
"""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.jobs import ask_for, given_file
from nursery.actions.tallies import import_tallies, is_long_work, options_as_data, stored_in_words
from nursery.actions.tally_file import COLUMNS, MAY_BE_EMPTY
from nursery.actions.tally_plan import Status, TallyOptions, plan_tallies
from nursery.actions.tally_preview import FAULTS_SHOWN, preview_of
from nursery.forms.tallies import PackedTalliesForm, TallyFileForm
from nursery.models import Job, Method


@require_safe
def tally_import(request: HttpRequest) -> HttpResponse:
    access.require_grower(request.user)
    return _choose(request, TallyFileForm())


@require_POST
def tally_preview(request: HttpRequest) -> HttpResponse:
    """Look at a table that was chosen; a large one in a process of its own."""
    access.require_grower(request.user)
    form = TallyFileForm(request.POST, request.FILES)
    if not form.is_valid():
        return _choose(request, form, status=422)
    sent = form.cleaned_data
    options = _options(sent["season"], replaces=sent["replaces"])
    if is_long_work(sent["file"]):
        job = ask_for("tally_look", options_as_data(options), request.user, content=sent["file"])
        return redirect("job-detail", job.key)
    preview = preview_of(plan_tallies(sent["file"], options))
    if preview["faults"]:
        return _choose(request, form, preview=preview, status=422)
    return _preview(request, preview, packed=form.pack())


@require_POST
def tally_store(request: HttpRequest) -> HttpResponse:
    access.require_grower(request.user)
    form = PackedTalliesForm(request.POST)
    if form.is_valid():
        sent = form.cleaned_data["packed"]
        try:
            options = _options(sent["season"], replaces=sent["replaces"])
            plan = import_tallies(sent["content"], options, request.user)
        except ValidationError as error:
            form.add_error(None, error)
    if form.errors:
        fresh = TallyFileForm()
        refusals = [str(text) for texts in form.errors.values() for text in texts]
        return _choose(request, fresh, refusals=refusals, status=422)
    messages.success(request, stored_in_words(plan))
    return redirect("takes")


@require_safe
def tally_look(request: HttpRequest, key: UUID) -> HttpResponse:
    """What a large table would do, as long work found it."""
    preview = _looked_at(request, key).result
    if preview["faults"]:
        return _choose(request, TallyFileForm(), preview=preview)
    return _preview(request, preview, store_url=reverse("tally-look-store", args=[key]))


@require_POST
def tally_look_store(request: HttpRequest, key: UUID) -> HttpResponse:
    """Store a large table that was looked at, as long work of its own."""
    looked = _looked_at(request, key)
    file = given_file(looked)
    if not file.is_file():
        text = _("The table is no longer kept: choose the file again.")
        return _choose(request, TallyFileForm(), refusals=[text], status=422)
    job = ask_for("tally_import", looked.params, request.user, content=file.read_bytes())
    return redirect("job-detail", job.key)


def _looked_at(request: HttpRequest, key: UUID) -> Job:
    job = access.job_for_reading(request.user, key)
    if job.kind != "tally_look" or job.state != Job.State.DONE:
        raise Http404
    return job


def _options(season: str, *, replaces: bool) -> TallyOptions:
    return TallyOptions(today=timezone.localdate(), season=season, replaces=replaces)


def _choose(request: HttpRequest, form: TallyFileForm, *, status: int = 200, **more: Any) -> HttpResponse:
    preview = more.get("preview") or {}
    refusals = more.get("refusals", ())
    context = {
        "form": form,
        "columns": COLUMNS,
        "may_be_empty": MAY_BE_EMPTY,
        "methods": Method.choices,
        "faults": preview.get("faults", []),
        "faults_count": preview.get("faults_count", 0),
        "refusals": refusals[:FAULTS_SHOWN],
    }
    return render(request, "tally/import.html", context, status=status)


def _preview(request: HttpRequest, preview: dict[str, Any], **way_on: str) -> HttpResponse:
    """Show what a table would do; ``way_on`` is the packed table, or the address that stores it."""
    counts = preview["counts"]
    context = {
        "preview": preview,
        "counts": [(count, _status_word(status)) for status, count in counts.items()],
        "entries": [(entry, _status_word(entry["status"])) for entry in preview["entries"]],
        "is_change": counts.get(Status.UNCHANGED, 0) < preview["rows_count"],
        "store_url": reverse("tally-store"),
        **way_on,
    }
    return render(request, "tally/preview.html", context)


def _status_word(status: str) -> str:
    words = {
        Status.NEW: _("new"),
        Status.UNCHANGED: _("in the book already"),
        Status.REPLACED: _("replacing other counts"),
    }
    return words[Status(status)]
