"""Plants are graded: all that live, as at the record, or those that leave."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.counting import lock_flats
from nursery.actions.leaving import leaving_day
from nursery.actions.stamp import Stamp
from nursery.actions.stock import flat_stock
from nursery.models import Cell, Flat, GradeCount, Grading, Leaving, Mark, Run, State, Voiding


@dataclass(frozen=True, slots=True)
class Graded:
    """So many plants of a run (by its key) in one grade; ``is_even`` tells of two heads, else None."""

    run_id: int
    grade: str
    plants: int
    heads: int = 1
    is_even: bool | None = None


@transaction.atomic
def record_grading(
    flat: Flat, *, counts: Sequence[Graded], stamp: Stamp, leaving: Leaving | None = None
) -> Grading:
    """Write down how many plants are of which grade; of those of ``leaving``, else of all that live.

    A grading of all that live takes the place of an earlier one; what left is graded once, until that is
    taken back. ValidationError if it was, if nothing is graded, or more of a run than live (or left).
    """
    lock_flats([flat.pk])
    given = [count for count in counts if count.plants]
    if any(count.plants < 0 for count in given):
        raise ValueError("plants must be at least 0")
    if not given:
        raise ValidationError(_("Say how many plants are of which grade, at least 1."), code="none")
    if leaving and Grading.objects.standing().filter(leaving=leaving).exists():
        text = _("These plants were graded as they left: take that back first, then grade them again.")
        raise ValidationError(text, code="graded")
    day = leaving.day if leaving else leaving_day(flat, stamp)
    _require_there(given, left_by(leaving) if leaving else _alive(flat), has_left=leaving is not None)
    grading = Grading.objects.create(flat=flat, day=day, leaving=leaving, **stamp.fields())
    GradeCount.objects.bulk_create(
        GradeCount(
            grading=grading,
            run_id=count.run_id,
            grade=count.grade,
            plants_count=count.plants,
            heads_per_plant=count.heads,
            is_even=count.is_even,
        )
        for count in given
    )
    return grading


@transaction.atomic
def undo_grading(grading: Grading, *, stamp: Stamp) -> None:
    """Take back a grading; ValidationError if it was taken back before."""
    lock_flats([grading.flat_id])
    if Voiding.objects.filter(target_uuid=grading.uuid).exists():
        raise ValidationError(_("This was taken back already."), code="voided")
    Voiding.objects.create(target_uuid=grading.uuid, target_noun="grading", **stamp.fields())


def _alive(flat: Flat) -> dict[int, int]:
    return {run_id: run.alive for run_id, run in flat_stock(flat).items()}


def left_by(leaving: Leaving) -> dict[int, int]:
    """Return how many plants of each run (by its key) left."""
    if leaving.check_ref_id is None:
        return dict(leaving.counts.values_list("run_id", "plants_count"))
    marks = Mark.objects.filter(check_ref=leaving.check_ref_id, state=State.GONE)
    cells = set(
        marks.values_list("cell_id", flat=True)
    )  # on its own: joined, PostgreSQL may go through all cells
    return dict(Counter(Cell.objects.filter(pk__in=cells).values_list("run_id", flat=True)))


def _require_there(counts: Sequence[Graded], there: dict[int, int], *, has_left: bool) -> None:
    graded: Counter[int] = Counter()
    for count in counts:
        graded[count.run_id] += count.plants
    for run_id, plants in graded.items():
        if plants > there.get(run_id, 0):
            name = str(Run.objects.named().get(pk=run_id).pairing)
            number = there.get(run_id, 0)
            said = {"there": number, "plants": plants, "name": name}
            if has_left:
                text = ngettext(
                    "Only %(there)d plant of %(name)s left, not %(plants)d: count again.",
                    "Only %(there)d plants of %(name)s left, not %(plants)d: count again.",
                    number,
                )
            else:
                text = ngettext(
                    "Only %(there)d plant of %(name)s lives here, not %(plants)d: count again.",
                    "Only %(there)d plants of %(name)s live here, not %(plants)d: count again.",
                    number,
                )
            raise ValidationError(text % said, code="too_many")
