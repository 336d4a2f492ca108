"""What else can be done with a flat, beside the one thing that comes next: the list behind "More"."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.urls import reverse
from django.utils.translation import gettext as _

from nursery.actions.states import CellState
from nursery.models import LEFT_STAGES, Account, Flat, Method, Run, Stage


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
    yield from _plant_acts(flat, runs, cells)
    if flat.stage not in LEFT_STAGES and (flat.is_pooled or any(cell.is_present for cell in cells)):
        yield Act(_("Count by numbers"), reverse("flat-numbers", args=[flat.code]))
        yield Act(_("Grade"), reverse("flat-grade", args=[flat.code]))
    if any(run.method == Method.TONGUE for run in runs):
        yield Act(_("Sever"), reverse("flat-sever", args=[flat.code]))
    yield Act(_("Label"), reverse("code-label", args=[flat.code]))
    yield from _mending_acts(user, flat, runs)


def can_move(flat: Flat, runs: list[Run]) -> bool:
    """True unless the flat has left the farm or somebody is grafting it."""
    return flat.stage not in LEFT_STAGES and not any(run.started_at and not run.finished_at for run in runs)


def _plant_acts(flat: Flat, runs: list[Run], cells: list[CellState]) -> Iterator[Act]:
    """What is done with the plants of a flat that is not on the bench."""
    if any(run.started_at and not run.finished_at for run in runs):
        return
    states = {cell.state for cell in cells if cell.is_present}
    lives = flat.is_pooled or bool(states - {"dead", "gone"})
    if lives:
        yield Act(_("Let plants leave"), reverse("leave", args=[flat.code]))
        yield Act(_("Move plants to another flat"), reverse("move-together", args=[flat.code]))
    if lives and not flat.is_pooled:
        yield Act(_("Put flats together"), reverse("put-together-with", args=[flat.code]))
    if cells and (states & {"dead", "gone"} or flat.blank_places):
        yield Act(_("Graft again, fill blanks"), reverse("regraft", args=[flat.code]))
    if flat.stage != Stage.DISCARDED:
        yield Act(_("Discard this flat"), reverse("discard", args=[flat.code]))


def _mending_acts(user: Account, flat: Flat, runs: list[Run]) -> Iterator[Act]:
    """What is done where something of a flat was written down wrongly, or its label is in doubt."""
    is_on_bench = any(run.started_at and not run.finished_at for run in runs)
    if user.is_grower and runs and not is_on_bench:
        yield Act(_("Put right who grafted what"), f"{reverse('put-right')}?flat={flat.code}")
    yield Act(_("What was changed"), f"{reverse('change-list')}?flat={flat.code}")
    yield Act(_("Two flats bear this label"), reverse("flat-two-labels", args=[flat.code]))
