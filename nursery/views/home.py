"""The start page: a code, the open sessions, what is due, and what to do first in an empty book."""

from collections.abc import Collection
from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from nursery.models import Closing, Cultivar, Flat, Pairing, Session, Worker
from nursery.models.due import RECORD, due_runs
from nursery.models.half import half_seen
from nursery.views.sampling import SAMPLED, batches_due

DUE_SHOWN = 30


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    halves = half_seen(today)
    batches, passed_over = batches_due(today, request.session.get(SAMPLED, []))
    due = due_flats(today, apart_from={*passed_over, *(half.flat.pk for half in halves)})
    context = {
        "sessions": Session.objects.open().select_related("place"),
        "asked": Closing.objects.pending_asks() if request.user.is_grower else [],
        "halves": halves,
        "batches": batches,
        "due": due[:DUE_SHOWN],
        "has_more_due": len(due) > DUE_SHOWN,
    }
    if not Flat.objects.exists():
        context["steps"] = first_steps()
    return render(request, "home/home.html", context)


def due_flats(today: date, *, apart_from: Collection[int] = ()) -> list[dict[str, object]]:
    """Return the flats due, each once, longest waiting first; at most one more than is shown."""
    runs = due_runs(today).exclude(flat__in=apart_from).named().select_related("flat")
    flats: dict[int, dict[str, object]] = {}
    # A flat has few runs; four times as many runs as lines is enough to fill the page.
    for run in runs[: 4 * DUE_SHOWN]:
        line = flats.setdefault(
            run.flat_id,
            {"flat": run.flat, "pairings": [], "day": (today - run.grafted_on).days, "is_record": False},
        )
        if str(run.pairing) not in line["pairings"]:
            line["pairings"].append(str(run.pairing))
        line["is_record"] = line["is_record"] or run.due == RECORD
    return list(flats.values())[: DUE_SHOWN + 1]


def first_steps() -> dict[str, bool]:
    """Return what an empty book needs before the first graft, and whether it is there."""
    return {
        "has_cultivars": Cultivar.objects.exists(),
        "has_pairings": Pairing.objects.exists(),
        "has_workers": Worker.objects.active().exists(),
    }
