"""Count a flat by numbers: the page for flats in which nobody wants to tap fifty cells, or can."""

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from nursery import access
from nursery.actions.numbers import count_by_numbers, runs_standing, was_looked_at
from nursery.calc.codes import spoken
from nursery.forms.numbers import NumbersForm
from nursery.models import Flat
from nursery.views.page import posted, read_and_post, stamp_of
from nursery.views.standing import grafting_said, pairings_said


@read_and_post
def flat_numbers(request: HttpRequest, code: str) -> HttpResponse:
    """So many dead and wilting of each run; sent again it is stored once."""
    flat = access.flat_for_work(request.user, code)
    form = NumbersForm(posted(request), lines=runs_standing(flat, timezone.localdate()))
    if form.is_valid():
        try:
            check = count_by_numbers(
                flat, uuid=form.key_of_check(), numbers=form.numbers(), stamp=stamp_of(request)
            )
        except ValidationError as error:
            form.refuse(error)
        else:
            return redirect(f"{flat.get_absolute_url()}?closed={check.uuid}")
    status = 422 if form.errors else 200
    return render(request, "flat/numbers.html", _context(flat, form), status=status)


def _context(flat: Flat, form: NumbersForm) -> dict[str, object]:
    today = timezone.localdate()
    runs = [run for run, _standing, _dead in form.lines]
    return {
        "flat": flat,
        "form": form,
        "spoken": spoken(flat.code),
        "what": pairings_said(runs),
        "when": grafting_said(runs, today),
        "was_looked_at": was_looked_at(flat, today),
    }
