"""A flat is discarded, as a loss or not, and that is taken back."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from nursery import access
from nursery.actions.leaving import discard_flat
from nursery.actions.undo_leaving import undo_discard
from nursery.calc.codes import spoken
from nursery.forms.leaving import DiscardForm
from nursery.forms.refused import add_refusal
from nursery.views.flat_now import flat_now
from nursery.views.leaving import head
from nursery.views.page import posted, read_and_post, stamp_of


@read_and_post
def discard(request: HttpRequest, code: str) -> HttpResponse:
    """Discard a flat; the page says what that does to its take."""
    flat = access.flat_for_work(request.user, code)
    form = DiscardForm(posted(request))
    if form.is_valid():
        said = form.cleaned_data
        try:
            discard_flat(
                flat, is_loss=said["is_loss"], reason=said["reason"], stamp=stamp_of(request, said["day"])
            )
        except ValidationError as error:
            add_refusal(form, error)
        else:
            return redirect(f"{flat.get_absolute_url()}?discarded")
    now = flat_now(flat)
    context = {
        **head(now),
        "form": form,
        "choices": list(zip(form["is_loss"], _meanings(now.alive), strict=True)),
    }
    return render(request, "leaving/discard.html", context, status=422 if form.is_bound else 200)


@require_POST
def discard_undo(request: HttpRequest, code: str) -> HttpResponse:
    flat = access.flat_for_work(request.user, code)
    try:
        undo_discard(flat, stamp=stamp_of(request))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("Taken back: %s stands where it stood.") % spoken(flat.code))
    return redirect(flat)


def _meanings(alive: int) -> list[str]:
    """Say what either choice does to the take."""
    loss = ngettext(
        "The %(alive)d plant left counts as dead.", "The %(alive)d plants left count as dead.", alive
    )
    no_loss = ngettext(
        "The %(alive)d plant left leaves alive, as culled.",
        "The %(alive)d plants left leave alive, as culled.",
        alive,
    )
    if not alive:
        nothing = _("No plant lives here: the take stays as it is.")
        return [nothing, nothing]
    return [loss % {"alive": alive}, no_loss % {"alive": alive}]
