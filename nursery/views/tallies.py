"""Bring in past seasons: choose a table, look at what it would do, store it."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.tallies import import_tallies
from nursery.actions.tally_file import COLUMNS, MAY_BE_EMPTY
from nursery.actions.tally_plan import Status, TallyOptions, TallyPlan, plan_tallies
from nursery.forms.tallies import PackedTalliesForm, TallyFileForm
from nursery.models import Method

ROWS_SHOWN = 12
FAULTS_SHOWN = 50
NAMES_SHOWN = 12


@require_safe
def tally_import(request: HttpRequest) -> HttpResponse:
    access.require_grower(request.user)
    return _choose(request, TallyFileForm())


@require_POST
def tally_preview(request: HttpRequest) -> HttpResponse:
    access.require_grower(request.user)
    form = TallyFileForm(request.POST, request.FILES)
    if not form.is_valid():
        return _choose(request, form, status=422)
    sent = form.cleaned_data
    plan = plan_tallies(sent["file"], _options(sent["season"], replaces=sent["replaces"]))
    if plan.faults:
        return _choose(request, form, plan=plan, status=422)
    return render(request, "tally/preview.html", {"packed": form.pack(), **_shown(plan)})


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
    messages.success(request, _stored(plan))
    return redirect("takes")


def _options(season: str, *, replaces: bool) -> TallyOptions:
    return TallyOptions(today=timezone.localdate(), season=season, replaces=replaces)


def _choose(request: HttpRequest, form: TallyFileForm, *, status: int = 200, **more: Any) -> HttpResponse:
    plan: TallyPlan | None = more.get("plan")
    refusals = more.get("refusals", ())
    context = {
        "form": form,
        "columns": COLUMNS,
        "may_be_empty": MAY_BE_EMPTY,
        "methods": Method.choices,
        "faults": plan.faults[:FAULTS_SHOWN] if plan else [],
        "faults_count": len(plan.faults) if plan else 0,
        "refusals": refusals[:FAULTS_SHOWN],
    }
    return render(request, "tally/import.html", context, status=status)


def _shown(plan: TallyPlan) -> dict[str, Any]:
    return {
        "plan": plan,
        "counts": [(plan.count(status), _status_word(status)) for status in Status if plan.count(status)],
        "entries": [(entry, _status_word(entry.status)) for entry in plan.entries[:ROWS_SHOWN]],
        "is_change": plan.count(Status.UNCHANGED) < len(plan.entries),
        "new_names": [
            (noun, names[:NAMES_SHOWN], max(0, len(names) - NAMES_SHOWN))
            for noun, names in plan.new_names()
            if names
        ],
    }


def _status_word(status: Status) -> str:
    words = {
        Status.NEW: _("new"),
        Status.UNCHANGED: _("in the book already"),
        Status.REPLACED: _("replacing other counts"),
    }
    return words[status]


def _stored(plan: TallyPlan) -> str:
    changed = len(plan.entries) - plan.count(Status.UNCHANGED)
    return ngettext("%d row is in the book now.", "%d rows are in the book now.", changed) % changed
