"""Put a run right while its flat is on the bench."""

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from nursery import access
from nursery.actions.runs import correct_run
from nursery.actions.work import Work
from nursery.forms.bench import WorkForm
from nursery.forms.refused import add_refusal
from nursery.models import Run
from nursery.views.page import read_and_post, render_page, stamp_of


@read_and_post
def flat_run(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """Who grafted what, of one run: as it stands, to be put right."""
    flat = access.flat_for_work(request.user, code)
    run = access.run_for_correction(request.user, flat, number)
    if request.method != "POST":
        initial = {"pairing": request.GET["pairing"]} if "pairing" in request.GET else {}
        return _page(request, run, WorkForm(work=Work.of(run), initial=initial))
    form = WorkForm(request.POST)
    if form.is_valid():
        try:
            correct_run(run, work=form.work(), stamp=stamp_of(request))
        except ValidationError as error:
            add_refusal(form, error)
    if form.errors:
        return _page(request, run, form, status=422)
    return redirect("flat-bench", flat.code)


def _page(request: HttpRequest, run: Run, form: WorkForm, status: int = 200) -> HttpResponse:
    context = {"flat": run.flat, "run": run, "form": form}
    return render_page(request, "bench/run.html", context, partial="sowings", status=status)
