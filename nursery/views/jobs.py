"""Long work: how far it is, what became of it, and what it made."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRefresh

from nursery import access
from nursery.actions.jobs import KEPT, ask_again, ask_for, cancel_job, made_file, see_to_jobs, title_of
from nursery.models import Job
from nursery.views.page import render_page, wants_partial

ROWS_PER_PAGE = 50


@require_safe
@never_cache
def job_list(request: HttpRequest) -> HttpResponse:
    """All long work, the last first."""
    access.require_grower(request.user)
    see_to_jobs()
    page = Paginator(Job.objects.select_related("asked_by"), ROWS_PER_PAGE).get_page(request.GET.get("page"))
    lines = [{"job": job, "title": title_of(job)} for job in page.object_list]
    return render(request, "job/list.html", {"page": page, "lines": lines, "days": KEPT.days})


@require_safe
@never_cache
def job_detail(request: HttpRequest, key: UUID) -> HttpResponse:
    """How far it is. The page asks for this again by itself until the work has ended."""
    job = access.job_for_reading(request.user, key)
    see_to_jobs()
    if job.ended_at and wants_partial(request):
        return HttpResponseClientRefresh()
    if job.kind == "tally_look" and job.state == Job.State.DONE:
        return redirect("tally-look", job.key)
    return render_page(request, "job/detail.html", _context(job), partial="state")


def _context(job: Job) -> dict[str, Any]:
    is_under_way = job.ended_at is None
    return {
        "job": job,
        "title": title_of(job),
        "is_under_way": is_under_way,
        "before_count": Job.objects.under_way().filter(pk__lt=job.pk).count() if is_under_way else 0,
        "may_start_again": job.state in {Job.State.FAILED, Job.State.CANCELLED},
        "way_on": _way_on(job),
        "days": KEPT.days,
    }


def _way_on(job: Job) -> dict[str, object] | None:
    """Return where ended work leads: its file, or the page on which it shows."""
    if job.state != Job.State.DONE:
        return None
    file = made_file(job)
    if file:
        return {
            "url": reverse("job-file", args=[job.key]),
            "label": _("Download"),
            "bytes": file.stat().st_size,
        }
    if job.kind == "tally_import":
        return {"url": reverse("takes"), "label": _("To the takes")}
    return None


@require_POST
def job_cancel(request: HttpRequest, key: UUID) -> HttpResponse:
    """Ask the work to stop at its next safe point."""
    job = access.job_for_reading(request.user, key)
    cancel_job(job)
    return redirect("job-detail", job.key)


@require_POST
def job_again(request: HttpRequest, key: UUID) -> HttpResponse:
    """Ask anew for work that ended without a result."""
    job = access.job_for_reading(request.user, key)
    try:
        job = ask_again(job, request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("job-detail", job.key)


@require_safe
@never_cache
def job_file(request: HttpRequest, key: UUID) -> FileResponse:
    """Hand out what the work made."""
    path = made_file(access.job_for_reading(request.user, key))
    try:
        if path is None:
            raise Http404
        return FileResponse(path.open("rb"), as_attachment=True, filename=path.name)
    except FileNotFoundError as error:  # dropped a moment ago
        raise Http404 from error


@require_safe
def book_export(request: HttpRequest) -> HttpResponse:
    """Choose how to take everything along."""
    access.require_grower(request.user)
    return render(request, "export/choose.html", {"days": KEPT.days})


@require_POST
def book_export_ask(request: HttpRequest) -> HttpResponse:
    """Ask for everything in one file."""
    access.require_grower(request.user)
    kind = request.POST.get("kind", "")
    if kind not in {"export_csv", "export_xlsx"}:
        return render(request, "export/choose.html", {"days": KEPT.days, "is_wrong": True}, status=422)
    return redirect("job-detail", ask_for(kind, {}, request.user).key)
