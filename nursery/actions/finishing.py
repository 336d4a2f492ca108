"""Say which places are empty, and finish a flat: its cells come into being."""

from collections.abc import Sequence

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import ProtectedError
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.bench import (
    changed_meanwhile,
    hold_flat,
    place_names,
    run_in_hand,
    stage_of,
    used_places,
)
from nursery.actions.stamp import Stamp
from nursery.calc.codes import spoken
from nursery.calc.places import Allotted, allot
from nursery.models import Cell, Change, Flat, Run, Stage


@transaction.atomic
def set_blanks(flat: Flat, *, blanks: Sequence[int], stamp: Stamp) -> None:
    """Say which places of a flat on the bench have no plant (an empty list: none is without).

    ValidationError if a place is not used, every place would be empty, or the flat is not on the bench.
    """
    held = hold_flat(flat)
    run_in_hand(held)
    _write_blanks(held, blanks)


@transaction.atomic
def finish_flat(flat: Flat, *, stamp: Stamp, blanks: Sequence[int] | None = None) -> int:
    """Finish a flat: close the run in hand and store a cell for every plant. Returns the number of plants.

    ``blanks`` are the places without a plant, [] if every place is filled; None takes what was said before.
    Places go to the runs in the order of the layout from the label corner. Nothing is taken for full without
    asking: ValidationError if the blanks were never said, a place is not used, no plant or a run without one
    would be left, or someone else finished the flat.
    """
    held = hold_flat(flat)
    run = run_in_hand(held)
    if blanks is None and held.blank_places is None:
        raise ValidationError(
            _("Say first which places are empty, or that all are filled."), code="not_asked"
        )
    places = _write_blanks(held, held.blank_places if blanks is None else blanks)
    runs = list(held.runs.named().order_by("number"))
    plants = allot(places, [run.first_place for run in runs])
    _require_plants(held, runs, plants)
    # The other side of the race finished or handed over the flat between our look and this line.
    if not Run.objects.open().filter(pk=run.pk).update(finished_at=max(stamp.at, run.started_at or stamp.at)):
        raise changed_meanwhile()
    Cell.objects.bulk_create(
        Cell(
            flat=held,
            place_no=plant.place_no,
            run=runs[plant.run_number - 1],
            order_in_run=plant.order_in_run,
        )
        for plant in plants
    )
    return len(plants)


@transaction.atomic
def undo_finish(flat: Flat, *, stamp: Stamp) -> None:
    """Take a flat back on the bench that was finished too soon; its cells are taken out again.

    ValidationError once it left the bench or was checked.
    """
    held = hold_flat(flat)
    last = held.runs.order_by("-number").first()
    if last is None or last.started_at is None or last.finished_at is None or last.is_regraft:
        raise changed_meanwhile()
    if stage_of(held) != Stage.BENCH:
        raise ValidationError(_("%(code)s has left the bench.") % {"code": spoken(held.code)}, code="left")
    if held.checks.exists() or held.day_counts.exists():
        raise ValidationError(_("%(code)s has been checked.") % {"code": spoken(held.code)}, code="checked")
    try:
        count, _by_model = Cell.objects.filter(flat=held).delete()
    except ProtectedError as error:
        raise ValidationError(_("%(code)s has been checked.") % {"code": spoken(held.code)}) from error
    Run.objects.filter(pk=last.pk).update(finished_at=None)
    Change.objects.create(flat=held, field="finish", old=count, new=None, **stamp.fields())


def _write_blanks(flat: Flat, blanks: Sequence[int] | None) -> list[int]:
    """Store the blanks and return the places that are left."""
    empty, used = set(blanks or []), used_places(flat)
    _require_used(flat, empty - set(used))
    places = [place for place in used if place not in empty]
    if not places:
        raise ValidationError(
            {"blanks": _("Every place would be empty. If nothing was grafted, take the flat off the bench.")}
        )
    if not Flat.objects.filter(pk=flat.pk).update(blank_places=sorted(empty)):
        raise changed_meanwhile()
    return places


def _require_used(flat: Flat, strange: set[int]) -> None:
    if not strange:
        return
    count = flat.tray_format.places_count if flat.tray_format else 0
    outside = [place for place in strange if not 1 <= place <= count]
    if outside:
        raise ValueError(f"blanks must lie between 1 and {count}, got {sorted(outside)}")
    names = ", ".join(place_names(flat, sorted(strange)))
    raise ValidationError(
        {
            "blanks": ngettext(
                "%(names)s is not used in this flat's layout: it needs no mention.",
                "%(names)s are not used in this flat's layout: they need no mention.",
                len(strange),
            )
            % {"names": names}
        }
    )


def _require_plants(flat: Flat, runs: Sequence[Run], plants: Sequence[Allotted]) -> None:
    """Refuse a run without a plant: whoever grafted nothing has no run."""
    with_plants = {plant.run_number for plant in plants}
    for position, run in enumerate(runs, 1):
        if position in with_plants:
            continue
        text = _(
            "No plant is left from %(place)s on for %(who)s: "
            "take that hand-over back, or mend the empty places."
        )
        said = {"place": place_names(flat, [run.first_place])[0], "who": run.worker or run.pairing}
        raise ValidationError(text % said, code="run_without_plants")
