"""What could be sold of the plants that were graded: first and second, of all graded.

A run's gradings count where its plants left: all of them, if there is any; else the last that stands of those
made of all that lived. A grading that was taken back, or whose leaving was, counts nowhere.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery, Sum

from nursery.models.change import Voiding
from nursery.models.leaving import GradeCount

_Grade = GradeCount.Grade


@dataclass(slots=True)
class SaleableSums:
    """Plants by grade. ``heads`` are those of the saleable plants; two-headed ones may be even or not."""

    first: int = 0
    second: int = 0
    cull: int = 0
    heads: int = 0
    two_heads_even: int = 0
    two_heads_uneven: int = 0

    @property
    def saleable(self) -> int:
        return self.first + self.second

    @property
    def graded(self) -> int:
        return self.saleable + self.cull

    @property
    def share(self) -> float | None:
        """Saleable of graded, 0..1; None if nothing was graded."""
        return self.saleable / self.graded if self.graded else None

    def add(self, grade: str, plants: int, *, heads_per_plant: int, is_even: bool | None) -> None:
        """Add plants of one grade."""
        if grade == _Grade.CULL:
            self.cull += plants
            return
        if grade == _Grade.FIRST:
            self.first += plants
        else:
            self.second += plants
        self.heads += plants * heads_per_plant
        if heads_per_plant == 2 and is_even is not None:
            if is_even:
                self.two_heads_even += plants
            else:
                self.two_heads_uneven += plants


def standing_grades(grades: QuerySet[GradeCount]) -> QuerySet[GradeCount]:
    """Keep of ``grades`` those that make the figure of their run."""
    standing = _not_taken_back(GradeCount.objects.filter(run=OuterRef("run"))).order_by()
    at_leaving = standing.filter(grading__leaving__isnull=False)
    last = standing.filter(grading__leaving__isnull=True).order_by(
        "-grading__day", "-grading__at", "-grading_id"
    )
    counted = Q(grading__leaving__isnull=False) | (
        ~Exists(at_leaving) & Q(grading_id=Subquery(last.values("grading_id")[:1]))
    )
    return _not_taken_back(grades).filter(counted)


def saleable_by_run(run_ids: Iterable[int]) -> dict[int, SaleableSums]:
    """Return what was graded of each of these runs, if anything. One query."""
    sums: dict[int, SaleableSums] = defaultdict(SaleableSums)
    grades = standing_grades(GradeCount.objects.filter(run__in=list(run_ids)))
    for row in (
        grades.order_by()
        .values("run", "grade", "heads_per_plant", "is_even")
        .annotate(plants=Sum("plants_count"))
    ):
        sums[row["run"]].add(
            row["grade"], row["plants"], heads_per_plant=row["heads_per_plant"], is_even=row["is_even"]
        )
    return dict(sums)


def saleable_of(run_ids: Iterable[int]) -> SaleableSums:
    """Return what was graded of these runs together."""
    return added_up(saleable_by_run(run_ids).values())


def added_up(sums: Iterable[SaleableSums]) -> SaleableSums:
    """Return the sum of all."""
    total = SaleableSums()
    for one in sums:
        for name in ("first", "second", "cull", "heads", "two_heads_even", "two_heads_uneven"):
            setattr(total, name, getattr(total, name) + getattr(one, name))
    return total


def _not_taken_back(grades: QuerySet[GradeCount]) -> QuerySet[GradeCount]:
    grading = Voiding.objects.filter(target_uuid=OuterRef("grading__uuid"))
    leaving = Voiding.objects.filter(target_uuid=OuterRef("grading__leaving__uuid"))
    return grades.filter(~Exists(grading), ~Exists(leaving))
