"""Move in two touches: choose what (on any page), then touch where."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from nursery import access
from nursery.actions.moves import codes_said, excess_of, move_load
from nursery.actions.undo_moves import undo_move
from nursery.actions.yard import Excess
from nursery.forms.moves import STAND_FREE, PutForm
from nursery.middleware import page_of
from nursery.models import Flat, Place, PlaceMove, StageMove
from nursery.views.chosen import Chosen, chosen_of, said_of
from nursery.views.page import read_and_post, stamp_of
from nursery.views.targets import targets_of


@read_and_post
def move(request: HttpRequest) -> HttpResponse:
    """The places as cards; touching one moves there what the address names."""
    chosen = chosen_of(request)
    if request.method != "POST":
        return _page(request, chosen)
    form = PutForm(request.POST, may_stand_free=chosen.is_place)
    if not form.is_valid():
        return _page(request, chosen, refused=form.problems, status=422)
    place = form.place
    load = chosen.load_into(place)
    excess = [] if form.is_confirmed else excess_of(load, place)
    if excess:
        return _page(request, chosen, excess=excess, asked=form.cleaned_data["to"], status=422)
    try:
        act = move_load(load, to_place=place, stage=form.stage_said, stamp=stamp_of(request))
    except ValidationError as error:
        return _page(request, chosen, refused=error.messages, status=422)
    tell_moved(request, act, place, left_out=left_out_said(chosen))
    return redirect(chosen.back)


@require_POST
def move_undo(request: HttpRequest, act: UUID) -> HttpResponse:
    """Take a move back, and show the page from which it was asked."""
    access.require_move(request.user, act)
    try:
        undo_move(act, stamp=stamp_of(request))
    except ValidationError as error:
        messages.warning(request, " ".join(error.messages))
    else:
        messages.success(request, _("Taken back: everything stands where it stood."))
    return redirect(page_of(request))


def tell_moved(request: HttpRequest, act: UUID, place: Place | None, *, left_out: str = "") -> None:
    """Say what was moved where, with the button that takes it back."""
    said = moved_said(act, place)
    undo = reverse("move-undo", args=[act])
    messages.success(request, " ".join(filter(None, [said, left_out])), extra_tags=undo)


def moved_said(act: UUID, place: Place | None) -> str:
    """Say what one act moved: "40 flats moved to Chamber 1."."""
    places = list(Place.objects.filter(pk__in=PlaceMove.objects.filter(act=act).values("place")))
    direct = Flat.objects.filter(moves__act=act, moves__place=place) if place else Flat.objects.none()
    codes = list(direct.values_list("code", flat=True)[:2])
    count = direct.count()
    carried = StageMove.objects.filter(act=act).count() - count
    what = said_of(count, places, codes)
    if not what:  # a place that stood there already, whose flats came to another stage
        return (
            ngettext("%d flat came to another stage.", "%d flats came to another stage.", carried) % carried
        )
    if place is None:
        return _("%(what)s stands by itself now.") % {"what": what}
    return _("%(what)s moved to %(place)s.") % {"what": what, "place": place}


def left_out_said(chosen: Chosen) -> str:
    """Say which of the chosen flats stay where they are, and why."""
    parts = []
    if chosen.sorted.left:
        parts.append(_("Discarded or dispatched, left out: %s.") % codes_said(chosen.sorted.left))
    if chosen.sorted.in_hand:
        parts.append(_("Still being grafted, left out: %s.") % codes_said(chosen.sorted.in_hand))
    return " ".join(parts)


def _page(
    request: HttpRequest,
    chosen: Chosen,
    *,
    refused: list[str] | None = None,
    excess: list[Excess] | None = None,
    asked: str = "",
    status: int = 200,
) -> HttpResponse:
    context = {
        "chosen": chosen,
        "left_out": left_out_said(chosen),
        "targets": None if chosen.is_empty else targets_of(chosen),
        "stages": PutForm.STAGES,
        "stage": request.POST.get("stage", ""),
        "stand_free": STAND_FREE if chosen.is_place and chosen.load.places[0].stands_in_id else "",
        "refused": refused or [],
        "excess": excess or [],
        "asked": asked,
    }
    return render(request, "move/move.html", context, status=status)
