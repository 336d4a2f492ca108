"""The page behind a sowing's label."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.sowings import count_stand
from nursery.forms.records import StandForm
from nursery.forms.refused import add_refusal
from nursery.models import Flat, Sowing
from nursery.views.bench.offer import offers_of
from nursery.views.flat_rows import flat_rows
from nursery.views.page import render_page, wants_partial
from nursery.views.record_words import germination, percent_of


@require_safe
def sowing_detail(request: HttpRequest, code: str) -> HttpResponse:
    """What was sown, what came up, and the flats it stands in."""
    sowing = access.sowing_for_reading(request.user, code)
    return render_page(request, "sowing/detail.html", _context(sowing, _form_of(sowing)), partial="stand")


@require_POST
def sowing_stand(request: HttpRequest, code: str) -> HttpResponse:
    """Store how many plants came up and how many can be grafted."""
    sowing = access.sowing_for_reading(request.user, code)
    access.require_grower(request.user)
    form = StandForm(request.POST)
    if form.is_valid():
        typed = form.cleaned_data
        counted_on = typed["stand_counted_on"] or timezone.localdate()
        try:
            count_stand(
                sowing, stand=typed["stand_count"], usable=typed["usable_count"], counted_on=counted_on
            )
        except ValidationError as error:
            add_refusal(form, error)
    if form.errors:
        sowing = access.sowing_for_reading(request.user, code)
        return render_page(request, "sowing/detail.html", _context(sowing, form), partial="stand", status=422)
    if not wants_partial(request):
        messages.success(request, _("The stand is stored."))
        return redirect("code", sowing.code)
    return render_page(request, "sowing/detail.html", _context(sowing, _form_of(sowing)), partial="stand")


def _form_of(sowing: Sowing) -> StandForm:
    names = ("stand_count", "usable_count", "stand_counted_on")
    initial = {name: getattr(sowing, name) for name in names}
    return StandForm(initial=initial | {"stand_counted_on": sowing.stand_counted_on or timezone.localdate()})


def _context(sowing: Sowing, form: StandForm) -> dict[str, Any]:
    flats = Flat.objects.with_stage().filter(sowing=sowing)
    return {
        "sowing": sowing,
        "form": form,
        "stand": percent_of(sowing.stand_count, sowing.seeds_count),
        "usable": percent_of(sowing.usable_count, sowing.seeds_count),
        "germination": germination(sowing.lot),
        "flats": flat_rows(flats),
        "offers": offers_of(sowing),
    }
