"""Say afterwards which cells they were that left by number."""

from collections.abc import Collection

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.grading import Graded, record_grading
from nursery.actions.leaving import Goal, let_leave
from nursery.actions.stamp import Stamp
from nursery.actions.undo_leaving import undo_leaving
from nursery.models import GradeCount, Grading, Leaving


@transaction.atomic
def say_which(leaving: Leaving, *, places: Collection[int], stamp: Stamp) -> Leaving:
    """Take back a leaving by number and write down, for the same day, the cells that left.

    Their grades stay with them. Returns the leaving that stands now. ValidationError if it was told cell by
    cell, its plants stand in a pooled flat, other than its number of places is chosen, or a place holds no
    living plant.
    """
    if leaving.check_ref_id or leaving.to_flat_id:
        raise ValidationError(_("Which cells these were is not open: it was said, or is not kept."))
    number = sum(leaving.counts.values_list("plants_count", flat=True))
    if len(set(places)) != number:
        text = ngettext(
            "%(number)d plant left by number, and %(chosen)d is chosen: choose as many.",
            "%(number)d plants left by number, and %(chosen)d are chosen: choose as many.",
            number,
        )
        raise ValidationError({"places": text % {"number": number, "chosen": len(set(places))}})
    graded = _graded(leaving)
    undo_leaving(leaving, stamp=stamp, reason=str(_("Said which cells they were.")))
    then = Stamp(leaving.at, leaving.at, stamp.received_at, stamp.account, stamp.worker)
    goal = Goal(leaving.reason, leaving.destination, act=leaving.act)
    new = let_leave(leaving.flat, places=places, stamp=then, goal=goal)
    if graded:
        record_grading(leaving.flat, counts=graded, stamp=then, leaving=new)
    return new


def _graded(leaving: Leaving) -> list[Graded]:
    """Return the grades of those that left, to be kept with their cells."""
    counts = GradeCount.objects.filter(grading__in=Grading.objects.standing().filter(leaving=leaving))
    return [
        Graded(count.run_id, count.grade, count.plants_count, count.heads_per_plant, count.is_even)
        for count in counts.order_by("pk")
    ]
