"""Whole flats leave by one touch, and what one touch did to several flats is taken back."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.leaving import let_all_leave
from nursery.actions.undo_leaving import undo_act
from nursery.actions.yard import Yard
from nursery.forms.leaving import GoalForm
from nursery.forms.refused import add_refusal
from nursery.models import Flat
from nursery.views.flat_rows import flat_rows
from nursery.views.leaving import last_goals
from nursery.views.leaving_story import leaving_lines
from nursery.views.page import posted, read_and_post, stamp_of


@read_and_post
def leave_flats(request: HttpRequest) -> HttpResponse:
    """Let all that lives in the chosen flats leave."""
    flats = chosen_flats(request)
    if not flats:
        return redirect("flat-list")
    form = GoalForm(posted(request))
    if form.is_valid():
        try:
            act, _count = let_all_leave(
                flats, goal=form.goal(), stamp=stamp_of(request, form.cleaned_data["day"])
            )
        except ValidationError as error:
            add_refusal(form, error)
        else:
            return redirect("leave-act", act)
    rows = flat_rows(flats)
    context = {
        "form": form,
        "rows": rows,
        "alive": sum(row.alive for row in rows),
        "goals": last_goals(),
    }
    return render(request, "leaving/flats.html", context, status=422 if form.is_bound else 200)


@require_safe
def leave_act(request: HttpRequest, act: UUID) -> HttpResponse:
    """What one touch did: which plants left which flats, where to; with its undo."""
    lines = leaving_lines(access.act_for_work(request.user, act), request.user)
    standing = [line for line in lines if not line.is_void]
    context = {
        "act": act,
        "lines": lines,
        "number": sum(line.number for line in lines),
        "first": lines[0],
        "is_void": not standing,
        "is_moving": all(line.leaving.to_flat for line in lines),
    }
    return render(request, "leaving/act.html", context)


@require_POST
def leave_act_undo(request: HttpRequest, act: UUID) -> HttpResponse:
    access.act_for_work(request.user, act)
    try:
        undo_act(act, stamp=stamp_of(request))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("Taken back: all stand where they stood."))
    return redirect("leave-act", act)


def chosen_flats(request: HttpRequest) -> list[Flat]:
    """Return the flats that were chosen in a list (?flat=F…&flat=F…) or that stand in a place (?place=P…)."""
    said = request.POST if request.method == "POST" else request.GET
    if "place" in said:
        place = access.place_for_reading(request.user, said["place"])
        here = Flat.objects.kept().standing_in([place, *Yard.read().inside(place)])
        return list(here.select_related("tray_format", "layout"))
    return access.flats_for_work(request.user, said.getlist("flat"))
