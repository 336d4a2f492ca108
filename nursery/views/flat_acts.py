"""What else can be done with a flat, beside the one thing that comes next: the list behind "More"."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.urls import reverse
from django.utils.translation import gettext as _

from nursery.actions.states import CellState
from nursery.models import LEFT_STAGES, Account, Flat, Run


@dataclass(frozen=True, slots=True)
class Act:
    """One line of the list: what a person would say, and the page where it is done."""

    label: str
    url: str


def acts_of(user: Account, flat: Flat, *, runs: Iterable[Run], cells: Iterable[CellState]) -> list[Act]:
    """Return what ``user`` may do with the flat as it stands, the most frequent first."""
    return list(_acts(user, flat, list(runs), list(cells)))


def _acts(user: Account, flat: Flat, runs: list[Run], cells: list[CellState]) -> Iterator[Act]:
    if can_move(flat, runs):
        yield Act(_("Move"), f"{reverse('move')}?flat={flat.code}")
    yield Act(_("Label"), reverse("code-label", args=[flat.code]))


def can_move(flat: Flat, runs: list[Run]) -> bool:
    """True unless the flat has left the farm or somebody is grafting it."""
    return flat.stage not in LEFT_STAGES and not any(run.started_at and not run.finished_at for run in runs)
