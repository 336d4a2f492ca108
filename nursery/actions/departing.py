"""Plants leave and are graded on the way: one thing to the person who loads the van, so one transaction."""

from dataclasses import dataclass, field

from django.db import transaction

from nursery.actions.grading import Graded, record_grading
from nursery.actions.leaving import Goal, let_leave, let_leave_by_number
from nursery.actions.stamp import Stamp
from nursery.models import Flat, Leaving


@dataclass(frozen=True, slots=True)
class Departure:
    """Which plants leave (their places, else so many of each run by its key), why, and their grades."""

    goal: Goal
    places: list[int] = field(default_factory=list)
    numbers: dict[int, int] = field(default_factory=dict)
    graded: list[Graded] = field(default_factory=list)


@transaction.atomic
def depart(flat: Flat, *, departure: Departure, stamp: Stamp) -> Leaving:
    """Let plants leave and keep their grades, if any was said.

    ValidationError as by ``let_leave``, ``let_leave_by_number`` and ``record_grading``: then none left.
    """
    if departure.places:
        leaving = let_leave(flat, places=departure.places, goal=departure.goal, stamp=stamp)
    else:
        leaving = let_leave_by_number(flat, numbers=departure.numbers, goal=departure.goal, stamp=stamp)
    if any(count.plants for count in departure.graded):
        record_grading(flat, counts=departure.graded, stamp=stamp, leaving=leaving)
    return leaving
