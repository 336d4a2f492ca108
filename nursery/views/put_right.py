"""Put graftings right, one or many at once: choose them and what was wrong, then say what is true."""

from collections.abc import Sequence
from uuid import UUID

from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from nursery import access
from nursery.actions.corrections import correct_runs
from nursery.forms.mending import WHAT, CorrectionForm
from nursery.forms.refused import add_refusal
from nursery.models import Flat, Run
from nursery.views.page import posted, read_and_post, searched_for, stamp_of

RUNS_PER_PAGE = 60
MOST_AT_ONCE = 300
OFTEN = ("worker", "rootstock_sowings", "scion_sowings", "pairing", "method", "grafted_on")


@require_safe
def put_right(request: HttpRequest) -> HttpResponse:
    """Choose graftings: those of some flats, of a session, or found by a search; and what was wrong."""
    access.require_grower(request.user)
    runs, back = _offered(request)
    page = Paginator(runs, RUNS_PER_PAGE).get_page(request.GET.get("page"))
    codes = request.GET.getlist("flat")
    context = {
        "page": page,
        "search": searched_for(request),
        "is_searched": not (codes or request.GET.get("session")),
        "is_chosen": len(codes) > 1 or page.paginator.count == 1,
        "kept": _kept(request),
        "back": back,
        "often": [(name, WHAT[name]) for name in OFTEN],
        "rarely": [(name, label) for name, label in WHAT.items() if name not in OFTEN],
        "missed": request.GET.get("missed", ""),
    }
    return render(request, "mending/choose.html", context)


def _offered(request: HttpRequest) -> tuple[QuerySet[Run], str]:
    """Return the finished runs that the address asks for, and the page it came from."""
    codes, session, search = request.GET.getlist("flat"), request.GET.get("session"), searched_for(request)
    runs = Run.objects.filter(flat__origin=Flat.Origin.MARKS).exclude(flat__in=_on_the_bench())
    back = reverse("flat-list")
    if codes:
        flats = access.flats_for_work(request.user, codes)
        runs = runs.filter(flat__in=flats)
        back = flats[0].get_absolute_url() if len(flats) == 1 else back
    elif session:
        found = access.session_for_work(request.user, _uuid(session))
        runs, back = runs.filter(session=found), reverse("bench-session", args=[found.key])
    elif search:
        runs = runs.filter(flat__in=Flat.objects.with_stage().matching(search).values("pk"))
    return runs.named().select_related("flat").order_by("-grafted_on", "-flat_id", "number"), back


@read_and_post
def put_right_runs(request: HttpRequest) -> HttpResponse:
    """Say what is true of the graftings that were chosen; only what was wrong is asked for."""
    access.require_grower(request.user)
    chosen = request.POST if request.method == "POST" else request.GET
    keys, what = chosen.getlist("run"), [name for name in chosen.getlist("what") if name in WHAT]
    if not keys or not what:
        return redirect(_back_to_choose(request, "runs" if not keys else "what"))
    if len(keys) > MOST_AT_ONCE:
        raise Http404
    runs = access.runs_to_correct(request.user, keys)
    form = CorrectionForm(posted(request), runs=runs, what=what)
    if request.method == "POST" and form.is_valid():
        try:
            written = correct_runs(
                runs, changes=form.changes(), reason=form.cleaned_data["reason"], stamp=stamp_of(request)
            )
        except ValidationError as error:
            add_refusal(form, error)
        else:
            return redirect("change-detail", written[0].uuid)
    context = {
        "form": form,
        "runs": runs,
        "what": what,
        "back": _back_to_choose(request),
        "flats_count": len({run.flat_id for run in runs}),
        "title": _title(runs),
    }
    return render(request, "mending/put_right.html", context, status=422 if form.errors else 200)


def _on_the_bench() -> object:
    return Run.objects.open().values("flat")


def _uuid(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError as error:
        raise Http404 from error


def _title(runs: Sequence[Run]) -> str:
    """Name the flats, the first three of them."""
    codes = list(dict.fromkeys(run.flat.code for run in runs))
    return _("%d flats") % len(codes) if len(codes) > 3 else ""


def _back_to_choose(request: HttpRequest, missed: str = "") -> str:
    """Return the page on which the runs were chosen, as it was."""
    kept = _kept(request) + ([("missed", missed)] if missed else [])
    return reverse("put-right") + (f"?{urlencode(kept)}" if kept else "")


def _kept(request: HttpRequest) -> list[tuple[str, str]]:
    """Return what of the address says which runs were offered."""
    names = ("flat", "session", "q", "page")
    return [(name, value) for name in names for value in request.GET.getlist(name) if value]
