"""Move plants of one flat to a flat of the book or to a new tray, which then comes into the book."""

from dataclasses import dataclass, field

from django.db import transaction

from nursery.actions.bench import Tray
from nursery.actions.moving import begin_flat, move_by_number, move_cells
from nursery.actions.stamp import Stamp
from nursery.models import Flat, Leaving


@dataclass(frozen=True, slots=True)
class Moving:
    """Where plants go: from ``places`` to ``to_places`` one by one, or so many of each run by its key.

    By number a new tray becomes a pooled flat.
    """

    target: Flat | Tray
    places: list[int] = field(default_factory=list)
    to_places: list[int] = field(default_factory=list)
    numbers: dict[int, int] = field(default_factory=dict)

    @property
    def is_by_number(self) -> bool:
        return not self.places

    @property
    def number(self) -> int:
        return len(self.places) or sum(self.numbers.values())


@transaction.atomic
def move_out(source: Flat, *, moving: Moving, stamp: Stamp) -> Leaving:
    """Do the moving; ValidationError as by ``move_cells`` and ``move_by_number``: then no flat begins."""
    target = moving.target
    if isinstance(target, Tray):
        target = begin_flat(target, like=source, is_pooled=moving.is_by_number, stamp=stamp)
    if moving.is_by_number:
        return move_by_number(source, numbers=moving.numbers, target=target, stamp=stamp)
    return move_cells(source, places=moving.places, target=target, to_places=moving.to_places, stamp=stamp)
