"""A sowing's label, opened while flats are on the bench, offers the sowing for them."""

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from nursery import access
from nursery.actions.runs import use_sowing
from nursery.actions.work import SIDES, side_of
from nursery.calc.codes import spoken
from nursery.models import Run, Sowing
from nursery.views.page import stamp_of


class OfferForm(forms.Form):
    run = forms.UUIDField()
    beside = forms.BooleanField(required=False)


def offers_of(sowing: Sowing) -> list[dict[str, object]]:
    """Return the flats in hand that this sowing could stand under or on, for ``bench/_offer.html``."""
    cultivar_id = sowing.lot.cultivar_id
    runs = (
        Run.objects.open()
        .named()
        .grafting(cultivar_id)
        .select_related("flat")
        .prefetch_related("run_sowings")
    )
    return [_offer(run, sowing) for run in runs.order_by("-started_at")]


@require_POST
def sowing_offer(request: HttpRequest, code: str) -> HttpResponse:
    """Set the sowing on its side of the run in hand that was tapped."""
    sowing = access.sowing_for_reading(request.user, code)
    form = OfferForm(request.POST)
    run = access.run_in_hand(request.user, form.cleaned_data["run"]) if form.is_valid() else None
    if run is None:
        messages.error(request, _("Tap the flat that this sowing is for."))
        return redirect("code", code)
    try:
        use_sowing(run, sowing=sowing, stamp=stamp_of(request), beside=form.cleaned_data["beside"])
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("code", code)
    said = {"sowing": spoken(sowing.code), "flat": spoken(run.flat.code)}
    messages.success(request, _("Sowing %(sowing)s is noted for %(flat)s.") % said)
    return redirect("flat-bench", run.flat.code)


def _offer(run: Run, sowing: Sowing) -> dict[str, object]:
    side = SIDES[side_of(run.pairing, sowing)]
    there = {row.sowing_id for row in run.run_sowings.all() if row.side == side}
    return {
        "run": run,
        "side": side.label,
        "is_there": sowing.pk in there,
        "has_other": bool(there - {sowing.pk}),
    }
