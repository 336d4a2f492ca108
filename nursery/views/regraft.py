"""Graft again where plants died, left or never stood; and that is taken back."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from nursery import access
from nursery.actions.regraft import free_places, undo_regraft
from nursery.actions.regraft import regraft as do_regraft
from nursery.actions.work import Work
from nursery.forms.refused import add_refusal
from nursery.forms.regraft import RegraftForm
from nursery.models import Flat, Run, Session
from nursery.views.choosing import draw_choice
from nursery.views.flat_now import FlatNow, flat_now
from nursery.views.leaving import head
from nursery.views.page import posted, read_and_post, render_page, stamp_of


@read_and_post
def regraft(request: HttpRequest, code: str) -> HttpResponse:
    """Choose places, with those of dead plants chosen from the start, and graft in them again."""
    flat = access.flat_for_work(request.user, code)
    now = flat_now(flat)
    form = _form(request, now)
    if form.is_valid():
        try:
            run = _regraft(request, flat, form)
        except ValidationError as error:
            add_refusal(form, error)
        else:
            return redirect(f"{flat.get_absolute_url()}?regrafted={run.number}")
    return _page(request, now, form)


@require_POST
def regraft_undo(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """Take back grafts that were written down by mistake."""
    flat = access.flat_for_work(request.user, code)
    run = access.regraft_for_work(request.user, flat, number)
    try:
        undo_regraft(run, stamp=stamp_of(request))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("Taken back: these places are as they were."))
    return redirect(flat)


def _form(request: HttpRequest, now: FlatNow) -> RegraftForm:
    free = {} if now.flat.is_pooled else free_places(now.flat, stamp_of(request))
    last = _last_run(now)
    work = None if last is None else Work.of(last).by(request.worker or last.worker)
    initial: dict[str, object] = {
        "places": [place for place, state in free.items() if state == "dead"],
        "session": Session.objects.open().order_by("-started_at").first(),
    }
    if "pairing" in request.GET:  # just chosen in the page: its sowings are asked for
        initial["pairing"] = request.GET["pairing"]
    return RegraftForm(posted(request), flat=now.flat, work=work, initial=initial)


def _last_run(now: FlatNow) -> Run | None:
    """Return the run that a new graft takes after: the flat's last, or that of plants moved in."""
    runs = now.runs or now.guests
    return runs[-1] if runs else None


def _regraft(request: HttpRequest, flat: Flat, form: RegraftForm) -> Run:
    said = form.cleaned_data
    return do_regraft(
        flat,
        places=said["places"],
        session=said["session"],
        work=form.work(),
        stamp=stamp_of(request, said["day"]),
    )


def _page(request: HttpRequest, now: FlatNow, form: RegraftForm) -> HttpResponse:
    chosen = form.shown_places()
    context = {
        **head(now),
        "form": form,
        "is_pooled": now.flat.is_pooled,
        "is_on_bench": now.is_on_bench,
        "drawing": draw_choice(
            now, chosen=chosen, free=True, summary=_("The flat: tap the places to graft in")
        ),
    }
    status = 422 if form.is_bound else 200
    return render_page(request, "together/regraft.html", context, partial="sowings", status=status)
