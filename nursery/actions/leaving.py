"""Plants that leave a flat alive, flats that are discarded, and tongue approach grafts that are severed.

Whichever cells are known to have left are told in marks like everything else; what left by number stands in
counts. One ``Leaving`` joins them: the reason, where to, and what is taken back when it is undone.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.batch import Batch, CheckIn, ClosingIn, MarkIn, Sender
from nursery.actions.bench import place_names, stage_of
from nursery.actions.counting import lock_flats, recount_flats
from nursery.actions.ledger import CellFact
from nursery.actions.marks import REFUSED, receive_batch
from nursery.actions.stamp import Stamp
from nursery.actions.states import CellState, flat_states
from nursery.actions.stock import RunStock, alive_in, flat_stock
from nursery.calc.codes import spoken
from nursery.calc.days import local_date
from nursery.models import (
    LEAVING_REASONS,
    LEFT_STAGES,
    Cause,
    Check,
    Closing,
    Farm,
    Flat,
    Leaving,
    LeavingCount,
    Method,
    NumberCount,
    Run,
    Severing,
    Stage,
    StageMove,
    State,
)

# A flat from which the last plant went is done: where it went says how.
_EMPTIED = {
    Cause.SOLD: Stage.DISPATCHED,
    Cause.PLANTED: Stage.DISPATCHED,
    Cause.SAMPLE: Stage.DISPATCHED,
    Cause.MOVED: Stage.DISCARDED,
    Cause.CULLED: Stage.DISCARDED,
}


@dataclass(frozen=True, slots=True)
class Goal:
    """Why plants leave and where they go. ``act`` joins what one touch does to several flats."""

    reason: str
    destination: str = ""
    to_flat: Flat | None = None
    act: UUID | None = None

    def __post_init__(self) -> None:
        if self.reason not in LEAVING_REASONS:
            raise ValueError(f"reason must be one of {LEAVING_REASONS}, got {self.reason!r}")


@transaction.atomic
def let_leave(
    flat: Flat, *, places: Collection[int], stamp: Stamp, reason: str = "", goal: Goal | None = None
) -> Leaving:
    """Write down that the plants in ``places`` left alive; say why by ``reason`` or by a whole ``goal``.

    ValidationError if a place holds no living plant, or the day is before the grafting or in the future.
    """
    goal = goal or Goal(reason)
    lock_flats([flat.pk])
    day = leaving_day(flat, stamp)
    living = {cell.place_no: cell for cell in living_cells(flat, stamp)}
    missing = sorted(set(places) - set(living))
    if missing or not places:
        names = ", ".join(place_names(flat, missing))
        raise ValidationError({"places": _("No living plant stands in %s: choose others.") % (names or "–")})
    cells = [living[place] for place in sorted(set(places))]
    leaving = leave_cells(flat, cells, goal=goal, day=day, stamp=stamp)
    close_if_empty(flat, goal=goal, stamp=stamp)
    return leaving


@transaction.atomic
def let_leave_by_number(
    flat: Flat, *, numbers: Mapping[int, int], stamp: Stamp, reason: str = "", goal: Goal | None = None
) -> Leaving:
    """Write down how many plants of each run (by its key) left alive; which ones is not known.

    Runs with 0 are left out. ValidationError if a run has fewer living plants, or nothing leaves.
    """
    goal = goal or Goal(reason)
    lock_flats({flat.pk, *([goal.to_flat.pk] if goal.to_flat else [])})
    day = leaving_day(flat, stamp)
    wanted = {run_id: plants for run_id, plants in numbers.items() if plants}
    if not wanted:
        raise ValidationError({"numbers": _("Say how many plants left, at least 1.")}, code="none")
    _require_alive(flat, wanted)
    leaving = _new_leaving(flat, goal, day, stamp)
    LeavingCount.objects.bulk_create(
        LeavingCount(leaving=leaving, run_id=run_id, plants_count=plants)
        for run_id, plants in sorted(wanted.items())
    )
    recount_flats({flat.pk, *([goal.to_flat.pk] if goal.to_flat else [])})
    close_if_empty(flat, goal=goal, stamp=stamp)
    return leaving


@transaction.atomic
def let_all_leave(flats: Sequence[Flat], *, goal: Goal, stamp: Stamp) -> tuple[UUID, int]:
    """Let every living plant of ``flats`` leave; return the act, for its undo, and how many left.

    Flats in which nothing lives are passed over; ValidationError if that is all of them.
    """
    act = goal.act or uuid4()
    goal = Goal(goal.reason, goal.destination, goal.to_flat, act)
    lock_flats(flat.pk for flat in flats)
    count = 0
    for flat in flats:
        count += _all_leave(flat, goal=goal, stamp=stamp)
    if not count:
        raise ValidationError(_("No plant lives in what was chosen: there is nothing to send off."))
    return act, count


@transaction.atomic
def discard_flat(flat: Flat, *, is_loss: bool, stamp: Stamp, reason: str = "") -> int:
    """Discard a flat; return how many plants still lived.

    As a loss it is a last look in which the rest are dead. Otherwise (plants nobody needs) the rest left
    alive, culled. ValidationError if it was discarded before.
    """
    lock_flats([flat.pk])
    if Flat.objects.in_stage(Stage.DISCARDED).filter(pk=flat.pk).exists():
        raise ValidationError(_("%s was discarded already.") % spoken(flat.code), code="discarded")
    act = uuid4()
    if is_loss:
        count = _all_die(flat, uuid=act, stamp=stamp)
    else:
        count = _all_leave(flat, goal=Goal(Cause.CULLED, act=act), stamp=stamp)
        StageMove.objects.filter(act=act, flat=flat).delete()  # what stands below says more
    # The last look and the move share their UUID: one voiding takes both back.
    StageMove.objects.create(
        uuid=act, flat=flat, stage=Stage.DISCARDED, is_loss=is_loss, reason=reason, act=act, **stamp.fields()
    )
    return count


@transaction.atomic
def sever(run: Run, *, severed_on: date, stamp: Stamp) -> Severing:
    """Write down the second cut of a tongue approach; its record day counts from here."""
    if run.method != Method.TONGUE:
        raise ValidationError(_("Only a tongue approach is severed."), code="method")
    if severed_on < run.grafted_on:
        raise ValidationError({"severed_on": _("This lies before the grafting: choose a later day.")})
    lock_flats([run.flat_id])
    severing = Severing.objects.create(run=run, severed_on=severed_on, **stamp.fields())
    recount_flats([run.flat_id])
    return severing


def leave_cells(flat: Flat, cells: Sequence[CellState], *, goal: Goal, day: date, stamp: Stamp) -> Leaving:
    """Mark ``cells`` gone in a check of their own, and say in a leaving where they went.

    ValidationError where more are named than live: some of them left by number before, or died by number.
    """
    _require_that_many(flat, {cell.cell_id for cell in cells})
    check = _look(flat, cells, State.GONE, cause=goal.reason, uuid=uuid4(), stamp=stamp)
    leaving = _new_leaving(flat, goal, day, stamp, check_ref=check)
    recount_flats([flat.pk])  # only now the check is known as one that looked at nothing else
    return leaving


def close_if_empty(flat: Flat, *, goal: Goal, stamp: Stamp) -> None:
    """Say that a flat is done when nothing lives in it any more."""
    if stage_of(flat) in LEFT_STAGES or alive_in(flat_stock(flat)):
        return
    StageMove.objects.create(
        flat=flat, stage=_EMPTIED[Cause(goal.reason)], reason=goal.destination, act=goal.act, **stamp.fields()
    )


def _new_leaving(flat: Flat, goal: Goal, day: date, stamp: Stamp, check_ref: Check | None = None) -> Leaving:
    leaving = Leaving(
        flat=flat,
        day=day,
        reason=goal.reason,
        destination=goal.destination.strip(),
        to_flat=goal.to_flat,
        check_ref=check_ref,
        act=goal.act,
        **stamp.fields(),
    )
    leaving.full_clean()
    leaving.save(force_insert=True)
    return leaving


def leaving_day(flat: Flat, stamp: Stamp) -> date:
    """Return the day of the stamp; ValidationError if nothing stood in the flat yet, or it is to come."""
    zone = Farm.objects.current().time_zone
    day = local_date(stamp.at, zone)
    if day > local_date(stamp.received_at, zone):
        raise ValidationError({"day": _("This day is still to come: write down what has left.")})
    first = flat.runs.order_by("grafted_on").values_list("grafted_on", flat=True).first()
    if first and day < first:
        raise ValidationError({"day": _("This lies before the grafting: choose a later day.")})
    return day


def _require_alive(flat: Flat, wanted: Mapping[int, int]) -> None:
    stock = flat_stock(flat)
    names = {run.pk: str(run.pairing) for run in Run.objects.named().filter(pk__in=wanted)}
    for run_id, plants in wanted.items():
        alive = stock[run_id].alive if run_id in stock else 0
        if plants < 0:
            raise ValueError(f"plants must be at least 0, got {plants}")
        if plants > alive:
            text = ngettext(
                "Only %(alive)d plant of %(name)s lives here, not %(plants)d: count again.",
                "Only %(alive)d plants of %(name)s live here, not %(plants)d: count again.",
                alive,
            )
            said = {"alive": alive, "plants": plants, "name": names.get(run_id, "–")}
            raise ValidationError({"numbers": text % said}, code="too_many")


def _require_that_many(flat: Flat, chosen: set[int]) -> None:
    for run in flat_stock(flat).values():
        number = len(chosen.intersection(cell.id for cell in run.living_cells))
        if number > run.alive:
            text = ngettext(
                "Only %(alive)d plant of these lives, as others left or died by number: choose fewer.",
                "Only %(alive)d plants of these live, as others left or died by number: choose fewer.",
                run.alive,
            )
            raise ValidationError({"places": text % {"alive": run.alive}}, code="too_many")


def _all_leave(flat: Flat, *, goal: Goal, stamp: Stamp) -> int:
    """Let all that live leave: cell by cell where that is known, else by number. Returns how many."""
    stock = flat_stock(flat)
    count = alive_in(stock)
    if not count:
        return 0
    if all(run.is_told_by_cells for run in stock.values()):
        living = living_cells(flat, stamp)
        leave_cells(flat, living, goal=goal, day=leaving_day(flat, stamp), stamp=stamp)
        close_if_empty(flat, goal=goal, stamp=stamp)
    else:
        numbers = {run_id: run.alive for run_id, run in stock.items()}
        let_leave_by_number(flat, numbers=numbers, goal=goal, stamp=stamp)
    return count


def _all_die(flat: Flat, *, uuid: UUID, stamp: Stamp) -> int:
    """Take a last look in which everything that lives is dead. Returns how many."""
    stock = flat_stock(flat)
    kind = "numbers" if flat.is_pooled else "whole"
    cells = [] if flat.is_pooled else _known_living(flat, stock, stamp)
    check = _look(flat, cells, State.DEAD, cause=Cause.DISCARDED, uuid=uuid, kind=kind, stamp=stamp)
    if flat.is_pooled:
        NumberCount.objects.bulk_create(
            NumberCount(check_ref=check, run_id=run_id, dead_count=run.alive + run.dead)
            for run_id, run in stock.items()
        )
        recount_flats([flat.pk])
    return alive_in(stock)


def living_cells(flat: Flat, stamp: Stamp) -> list[CellState]:
    """Return the cells that no mark says dead or gone, in the order of their places."""
    day = local_date(stamp.at, Farm.objects.current().time_zone)
    cells = flat_states(flat, day=day).values()
    return [cell for cell in cells if cell.is_present and cell.state not in {State.DEAD, State.GONE}]


def _known_living(flat: Flat, stock: dict[int, RunStock], stamp: Stamp) -> list[CellState]:
    """Return as many living cells of each run as plants live: those that left by number are not among them.

    Which ones these are is not known; the last of each run are left out.
    """
    known = {cell.id for run in stock.values() for cell in _first_of(run)}
    return [cell for cell in living_cells(flat, stamp) if cell.cell_id in known]


def _first_of(run: RunStock) -> list[CellFact]:
    return run.living_cells[: max(0, len(run.living_cells) - run.left_by_number)]


def _look(
    flat: Flat,
    cells: Sequence[CellState],
    state: str,
    *,
    cause: str,
    uuid: UUID,
    stamp: Stamp,
    kind: str = "part",
) -> Check:
    """Mark ``cells`` in a check of its own and close it.

    Nobody looked at the other cells, so this closing does not say that they were seen alive. Whoever says
    that the rest is dead knows who saw it alive before.
    """
    worker = stamp.worker.key if stamp.worker else None
    check = CheckIn(uuid, flat.code, stamp.raw_at, kind=kind, worker=worker)
    closings = _closings_since(flat, stamp) if state == State.DEAD else ()
    marks = [
        MarkIn(
            uuid=uuid4(),
            check=check.uuid,
            place_no=cell.place_no,
            graft_no=cell.graft_no,
            state=state,
            at=stamp.raw_at,
            cause=cause,
            replaces=(*cell.open_uuids, *closings),
            worker=worker,
        )
        for cell in cells
    ]
    known = (*(uuid for cell in cells for uuid in cell.open_uuids), *(str(mark.uuid) for mark in marks))
    closing = ClosingIn(uuid4(), check.uuid, stamp.raw_at, known=known, worker=worker, is_look=False)
    skew = stamp.received_at - stamp.at  # the batch's own clock: receive_batch corrects raw times by it
    batch = Batch(stamp.raw_at + skew, None, [check], marks, [closing])
    receipt = receive_batch(batch, Sender(stamp.account, stamp.worker, stamp.received_at))
    if any(result["status"] == REFUSED for result in receipt.results.values()):
        raise RuntimeError(f"own marks refused: {receipt.results}")
    return Check.objects.get(uuid=check.uuid)


def _closings_since(flat: Flat, stamp: Stamp) -> tuple[str, ...]:
    """Return the closings of this day and of later ones that tell what they knew."""
    day = local_date(stamp.at, Farm.objects.current().time_zone)
    told = Closing.objects.filter(tells_known=True, check_ref__flat=flat, check_ref__day__gte=day)
    return tuple(str(uuid) for uuid in told.values_list("uuid", flat=True))
