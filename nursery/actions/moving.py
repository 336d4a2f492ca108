"""Move plants together: cell by cell into free places, or by number into a pooled flat.

The plant stays its graft: it is traced to the run that made it, and its take is counted in the flat where it
was grafted. In its new flat it is stock, whose later losses are that flat's.
"""

from collections.abc import Mapping, Sequence
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.bench import Tray, new_flat, place_names, stage_of
from nursery.actions.counting import lock_flats, recount_flats
from nursery.actions.leaving import (
    Goal,
    close_if_empty,
    leave_cells,
    leaving_day,
    let_leave_by_number,
    living_cells,
)
from nursery.actions.ledger import read_ledger
from nursery.actions.regraft import free_among, free_places, put_cells
from nursery.actions.stamp import Stamp
from nursery.actions.states import CellState, cell_states
from nursery.actions.stock import NOT_LIVING, alive_in, flat_stock
from nursery.calc.codes import spoken
from nursery.calc.days import local_date
from nursery.calc.together import plan_together
from nursery.models import LEFT_STAGES, Cause, Cell, Farm, Flat, Leaving, Run, StageMove, standing_moves


@transaction.atomic
def begin_flat(tray: Tray, *, like: Flat, is_pooled: bool = False, stamp: Stamp) -> Flat:
    """Take an empty tray into the book, to move plants into; it stands where the flat ``like`` stands."""
    flat = new_flat(tray, stamp, is_pooled=is_pooled)
    last = standing_moves(like).first()
    if last:
        stage = last.stage if last.stage not in LEFT_STAGES else "growing_on"
        StageMove.objects.create(flat=flat, stage=stage, place=last.place, **stamp.fields())
    return flat


@transaction.atomic
def move_cells(
    source: Flat,
    *,
    places: Sequence[int],
    target: Flat,
    to_places: Sequence[int] | None = None,
    stamp: Stamp,
    act: UUID | None = None,
) -> Leaving:
    """Move the plants in ``places`` of ``source`` to ``to_places`` of ``target``, one by one in that order.

    Without ``to_places`` they take the first free places, in the order of both flats. A place is free where
    nothing was grafted, or what was is dead or gone. ValidationError if a place of the source holds no living
    plant, one of the target is not free, they are too few, or either flat cannot be used.
    """
    lock_flats([source.pk, target.pk])
    require_usable(source, target)
    plants = _plants_in(source, places, stamp)
    goals = goals_in(target, to_places, len(plants), stamp)
    goal = Goal(Cause.MOVED, to_flat=target, act=act)
    leaving = leave_cells(source, plants, goal=goal, day=leaving_day(source, stamp), stamp=stamp)
    old = Cell.objects.in_bulk([plant.cell_id for plant in plants])
    rows = [
        (place, old[plant.cell_id].run_id, old[plant.cell_id].order_in_run)
        for place, plant in zip(goals, plants, strict=True)
    ]
    origins = [(old[plant.cell_id], leaving) for plant in plants]
    put_cells(target, rows, origins=origins)
    recount_flats([source.pk, target.pk])
    close_if_empty(source, goal=goal, stamp=stamp)
    return leaving


@transaction.atomic
def move_by_number(
    source: Flat, *, numbers: Mapping[int, int], target: Flat, stamp: Stamp, act: UUID | None = None
) -> Leaving:
    """Move so many plants of each run (by its key) into a pooled flat; which ones is not kept."""
    lock_flats([source.pk, target.pk])
    require_pooled(target)
    goal = Goal(Cause.MOVED, to_flat=target, act=act)
    return let_leave_by_number(source, numbers=numbers, goal=goal, stamp=stamp)


def propose_together(
    flats: Sequence[Flat], *, stamp: Stamp
) -> dict[tuple[Flat, Flat], list[tuple[int, int]]]:
    """Return the fewest moves that leave as few flats as possible: (from, to) -> [(place, place)].

    Nothing is written. Flats that are pooled, on the bench or done are left out.
    """
    usable = _usable(flats)
    ledger = read_ledger(usable)
    day = local_date(stamp.at, Farm.objects.current().time_zone)
    living: dict[int, list[int]] = {}
    free: dict[int, list[int]] = {}
    for pk, flat in usable.items():
        cells = cell_states(ledger.flats[pk], ledger.runs, day=day).values()
        living[pk] = [cell.place_no for cell in cells if cell.is_present and cell.state not in NOT_LIVING]
        free[pk] = list(free_among(flat, cells))
    plan: dict[tuple[Flat, Flat], list[tuple[int, int]]] = {}
    for plant, gap in plan_together(living, free):
        plan.setdefault((usable[plant.flat], usable[gap.flat]), []).append((plant.place, gap.place))
    return plan


@transaction.atomic
def put_together(flats: Sequence[Flat], *, stamp: Stamp) -> UUID:
    """Do what ``propose_together`` proposes; return the act, for its undo.

    ValidationError if nothing can be gained.
    """
    lock_flats(flat.pk for flat in flats)
    plan = propose_together(flats, stamp=stamp)
    if not plan:
        raise ValidationError(_("These flats cannot be put together: none would become empty."), code="none")
    act = uuid4()
    for (source, target), moves in plan.items():
        places, to_places = [place for place, _to in moves], [to for _place, to in moves]
        move_cells(source, places=places, target=target, to_places=to_places, stamp=stamp, act=act)
    return act


def require_usable(source: Flat, target: Flat) -> None:
    """Refuse a target that cannot take plants of ``source`` cell by cell."""
    said = spoken(target.code)
    if source.pk == target.pk:
        raise ValidationError({"target": _("These plants stand in %s already: choose another flat.") % said})
    if target.is_pooled:
        raise ValidationError({"target": _("%s is pooled: move plants there by number.") % said})
    if target.origin != Flat.Origin.MARKS:
        raise ValidationError({"target": _("%s is an imported tally: choose a flat kept here.") % said})
    _require_standing(target)


def require_pooled(target: Flat) -> None:
    """Refuse a target that cannot take plants by number."""
    if not target.is_pooled:
        text = _("%s is known cell by cell: move plants there one by one, or begin a pooled flat.")
        raise ValidationError({"target": text % spoken(target.code)}, code="not_pooled")
    _require_standing(target)


def _require_standing(target: Flat) -> None:
    if target.runs.open().exists():
        raise ValidationError({"target": _("%s is on the bench: finish it first.") % spoken(target.code)})
    if stage_of(target) in LEFT_STAGES and alive_in(flat_stock(target)) == 0 and target.leavings.exists():
        return  # emptied before: its tray may be filled again
    if stage_of(target) in LEFT_STAGES:
        raise ValidationError({"target": _("%s has left or was discarded.") % spoken(target.code)})


def _usable(flats: Sequence[Flat]) -> dict[int, Flat]:
    """Return those of ``flats`` that are known cell by cell and stand somewhere, by key."""
    keys = [flat.pk for flat in flats if not flat.is_pooled]
    on_bench = set(Run.objects.open().filter(flat__in=keys).values_list("flat", flat=True))
    left: set[int] = set()
    for stage in LEFT_STAGES:
        left.update(Flat.objects.in_stage(stage).filter(pk__in=keys).values_list("pk", flat=True))
    return {flat.pk: flat for flat in flats if flat.pk in set(keys) - on_bench - left}


def _plants_in(source: Flat, places: Sequence[int], stamp: Stamp) -> list[CellState]:
    living = {cell.place_no: cell for cell in living_cells(source, stamp)}
    missing = [place for place in places if place not in living]
    if missing or not places or len(set(places)) < len(places):
        names = ", ".join(place_names(source, sorted(set(missing)))) or "–"
        raise ValidationError({"places": _("No living plant stands in %s: choose others.") % names})
    return [living[place] for place in places]


def goals_in(target: Flat, to_places: Sequence[int] | None, number: int, stamp: Stamp) -> list[int]:
    """Return the places that ``number`` plants take in ``target``; ValidationError where none is free."""
    free = list(free_places(target, stamp))
    if to_places is None:
        if number > len(free):
            text = ngettext(
                "%(flat)s has room for %(free)d plant, not for %(number)d: choose fewer.",
                "%(flat)s has room for %(free)d plants, not for %(number)d: choose fewer.",
                len(free),
            )
            said = {"flat": spoken(target.code), "free": len(free), "number": number}
            raise ValidationError({"places": text % said}, code="no_room")
        return free[:number]
    wrong = sorted(set(to_places) - set(free))
    if wrong or len(set(to_places)) != number:
        names = ", ".join(place_names(target, wrong)) or "–"
        said = {"flat": spoken(target.code), "names": names}
        raise ValidationError(
            {"to_places": _("In %(flat)s a plant lives in %(names)s: choose others.") % said}
        )
    return list(to_places)
