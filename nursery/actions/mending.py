"""Mend a check: give it to the flat that was really looked at, or void it.

Voiding. A check is no event, but its voiding is one: a ``Voiding`` row whose target is the check. To make the
check stand again that voiding is voided, by a row whose target is the first one's UUID; to void it once more
the last row is voided in turn, and so on. A check is void while the number of rows in that chain is odd;
``Check.is_void`` is derived from it here. Nothing is deleted. Other events, once voided, stay so.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.bench import changed_meanwhile, place_names
from nursery.actions.counting import lock_flats, recount_flats
from nursery.actions.given import GIVEN
from nursery.actions.ledger import read_ledger
from nursery.actions.settling import say_again
from nursery.actions.stamp import Stamp
from nursery.actions.states import CellState, flat_states
from nursery.calc.codes import spoken
from nursery.models import Cell, Change, Check, Flat, Leaving, Mark, Run, StageMove, Voiding


@dataclass(frozen=True, slots=True)
class Giving:
    """What giving a check to another flat means: the plant there for each mark, the run for each number."""

    cells: Mapping[int, Cell]
    runs: Mapping[int, Run]


@transaction.atomic
def give_check(check: Check, *, to_flat: Flat, reason: str, stamp: Stamp) -> int:
    """Give a check to the flat that was really looked at; return how many cells were said again there.

    Its marks then speak of the plants in the same places of that flat. They could not name the marks that
    were there before, so where the two differ it is said again what was seen last.

    ValidationError as ``plan_giving`` says, or if the check was given away meanwhile.
    """
    lock_flats([check.flat_id, to_flat.pk])
    held = Check.objects.select_related("flat").get(pk=check.pk)
    if held.flat_id != check.flat_id:
        raise changed_meanwhile()
    giving = plan_giving(held, to_flat)
    before = list(read_ledger([held.flat_id, to_flat.pk]).flats.values())
    Check.objects.filter(pk=held.pk).update(flat=to_flat)
    _point_at(held, giving)
    Change.objects.create(
        flat=held.flat,
        check_ref=held,
        field=GIVEN,
        old=held.flat.code,
        new=to_flat.code,
        reason=reason.strip(),
        **stamp.fields(),
    )
    said = say_again(before, stamp=stamp, reason=_("Said again: a check was given to this flat"))
    recount_flats([held.flat_id, to_flat.pk])
    return said


@dataclass(frozen=True, slots=True)
class Outcome:
    """What both flats would look like, by cell, with the check given; and the cells that it marks there."""

    here: list[CellState]
    there: list[CellState]
    marked: frozenset[int]


def preview_giving(check: Check, to_flat: Flat, *, stamp: Stamp) -> Outcome:
    """Return what ``give_check`` would make of both flats: it is done, looked at, and taken back at once."""
    day = check.day
    with transaction.atomic():
        give_check(check, to_flat=to_flat, reason="", stamp=stamp)
        outcome = Outcome(
            list(flat_states(check.flat, day=day).values()),
            list(flat_states(to_flat, day=day).values()),
            frozenset(check.marks.values_list("cell_id", flat=True)),
        )
        transaction.set_rollback(True)
    return outcome


def plan_giving(check: Check, to_flat: Flat) -> Giving:
    """Return what a check would say of another flat.

    ValidationError if it is the same flat, one without cells, of another shape, or grafted later; if the
    check belongs to a leaving or to the discarding of its flat, or is void; and if it marks places in which
    that flat has no such plant, or numbers that its runs cannot take.
    """
    _require_givable(check, to_flat)
    return Giving(_cells_there(check, to_flat), _runs_there(check, to_flat))


@transaction.atomic
def void_check(check: Check, *, reason: str, stamp: Stamp) -> int:
    """Void a check: it counts for nothing from now on. Returns how many later marks were said again.

    ValidationError if it is void already, no reason is given, or it belongs to a leaving or a discarding.
    """
    if not reason.strip():
        raise ValidationError({"reason": _("Say in a few words what was wrong.")}, code="reason")
    return _turn(check, is_void=True, reason=reason.strip(), stamp=stamp)


@transaction.atomic
def unvoid_check(check: Check, *, reason: str, stamp: Stamp) -> int:
    """Let a check that was voided count again; ValidationError if it is not void."""
    return _turn(check, is_void=False, reason=reason.strip(), stamp=stamp)


def _turn(check: Check, *, is_void: bool, reason: str, stamp: Stamp) -> int:
    lock_flats([check.flat_id])
    _require_alone(check)
    before = list(read_ledger([check.flat_id]).flats.values())
    if not Check.objects.filter(pk=check.pk, is_void=not is_void, flat=check.flat_id).update(is_void=is_void):
        raise changed_meanwhile()
    last = _chain(check)[-1]
    noun = "check" if is_void else "voiding of a check"
    Voiding.objects.create(target_uuid=last, target_noun=noun, reason=reason, **stamp.fields())
    said = say_again(before, stamp=stamp, reason=_("Said again: an earlier check was voided or put back"))
    recount_flats([check.flat_id])
    return said


def _chain(check: Check) -> list[UUID]:
    """Return the UUID of the check, of its voiding, of that one's voiding, and so on."""
    chain = [check.uuid]
    while voiding := Voiding.objects.filter(target_uuid=chain[-1]).first():
        chain.append(voiding.uuid)
    return chain


def _require_alone(check: Check) -> None:
    if Leaving.objects.filter(check_ref=check).exists():
        raise ValidationError(
            _("This check says which plants left. Undo the leaving instead."), code="leaving"
        )
    if StageMove.objects.filter(uuid=check.uuid).exists():
        raise ValidationError(
            _("This is the last look at a flat that was discarded. Undo the discarding instead."),
            code="discarded",
        )


def _require_givable(check: Check, to_flat: Flat) -> None:
    _require_alone(check)
    here, there = check.flat, to_flat
    words = {"code": spoken(there.code)}
    if check.is_void:
        raise ValidationError(_("This check is void. Put it back first, then give it."), code="void")
    if here.pk == there.pk:
        raise ValidationError({"code": _("The check is one of %(code)s already.") % words})
    if there.origin != Flat.Origin.MARKS:
        raise ValidationError({"code": _("%(code)s is kept by counts alone, without cells.") % words})
    first = there.runs.order_by("grafted_on").values_list("grafted_on", flat=True).first()
    if first is None and not there.cells.exists() and not there.is_pooled:
        raise ValidationError({"code": _("Nothing is grafted on %(code)s yet.") % words})
    if first and first > check.day:
        words["day"] = date_format(first, "j F Y")
        raise ValidationError({"code": _("%(code)s was grafted on %(day)s, after this check.") % words})
    if _shape(here) != _shape(there) and (check.seen_places or check.marks.exists()):
        raise ValidationError(
            {"code": _("%(code)s is of another format, so its cells lie elsewhere.") % words}
        )


def _shape(flat: Flat) -> tuple[int, int] | None:
    return (flat.tray_format.rows, flat.tray_format.columns) if flat.tray_format else None


def _cells_there(check: Check, to_flat: Flat) -> dict[int, Cell]:
    """Return for each marked cell the same place and graft in the other flat, by the key of the first."""
    marked = Cell.objects.filter(marks__check_ref=check).distinct().order_by("place_no", "graft_no")
    stood = Cell.objects.filter(flat=to_flat).select_related("run", "came_by")
    there = {
        (cell.place_no, cell.graft_no): cell
        for cell in stood
        if (cell.came_by.day if cell.came_by else cell.run.grafted_on) <= check.day
    }
    found = {cell.pk: there.get((cell.place_no, cell.graft_no)) for cell in marked}
    missing = [cell.place_no for cell in marked if found[cell.pk] is None]
    if missing:
        names = ", ".join(place_names(to_flat, missing))
        text = ngettext(
            "%(code)s has no such plant in %(places)s, which this check marks: it was another flat.",
            "%(code)s has no such plants in %(places)s, which this check marks: it was another flat.",
            len(missing),
        )
        raise ValidationError({"code": text % {"code": spoken(to_flat.code), "places": names}})
    return {pk: cell for pk, cell in found.items() if cell is not None}


def _runs_there(check: Check, to_flat: Flat) -> dict[int, Run]:
    """Return for each run that a check by numbers counts the one of the same number on the other flat."""
    counted = list(check.numbers.select_related("run").order_by("run__number"))
    if not counted:
        return {}
    by_number = {run.number: run for run in to_flat.runs.all()}
    fits = check.flat.runs.count() == len(by_number)
    fits &= all(one.run.flat_id == check.flat_id and one.run.number in by_number for one in counted)
    pairs = {one.run_id: by_number[one.run.number] for one in counted} if fits else {}
    numbers = {one.run_id: one.dead_count for one in counted}
    if not fits or any(pairs[pk].cells.count() < dead for pk, dead in numbers.items()):
        text = _("The numbers do not fit who grafted what on %s: void this check and count that flat.")
        raise ValidationError({"code": text % spoken(to_flat.code)}, code="numbers")
    return {pk: pairs[pk] for pk in numbers}


def _point_at(check: Check, giving: Giving) -> None:
    marks: Sequence[Mark] = list(check.marks.all())
    for mark in marks:
        mark.cell = giving.cells[mark.cell_id]
    if marks:
        Mark.objects.bulk_update(marks, ["cell"], batch_size=200)
    for number in check.numbers.all():
        check.numbers.filter(pk=number.pk).update(run=giving.runs[number.run_id])
