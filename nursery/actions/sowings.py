"""Sow, and count what came up."""

from dataclasses import dataclass
from datetime import date

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from nursery.actions.codes import issue_codes
from nursery.actions.records import Values, save_record
from nursery.actions.stamp import Stamp
from nursery.calc.codes import FLAT
from nursery.models import Flat, Layout, Sowing, Stage, StageMove, TrayFormat


@dataclass(frozen=True, slots=True)
class SownFlats:
    """Flats that were sown to be grafted in place: how many, of which format."""

    count: int
    tray_format: TrayFormat


@transaction.atomic
def save_sowing(sowing: Sowing, values: Values, *, flats: SownFlats | None, stamp: Stamp) -> None:
    """Store a sowing and the flats it was sown in; each flat gets its own code and stands as sown."""
    values = dict(values)
    if flats:
        values["is_in_flats"] = True
    if values.get("stand_count") is not None and not values.get("stand_counted_on"):
        values["stand_counted_on"] = sowing.stand_counted_on or timezone.localdate(stamp.at)
    counted_on = values.get("stand_counted_on", sowing.stand_counted_on)
    _refuse_odd_count(values.get("sown_on") or sowing.sown_on, counted_on)
    save_record(sowing, values)
    if flats:
        _sow_flats(sowing, flats, stamp)


@transaction.atomic
def count_stand(sowing: Sowing, *, stand: int | None, usable: int | None, counted_on: date) -> None:
    """Store how many plants came up and how many of them can be grafted."""
    _refuse_odd_count(sowing.sown_on, counted_on)
    values: dict[str, object] = {"stand_count": stand, "usable_count": usable}
    values["stand_counted_on"] = counted_on if stand is not None else None
    save_record(sowing, values)


def _refuse_odd_count(sown_on: date, counted_on: date | None) -> None:
    if counted_on is None:
        return
    if counted_on < sown_on:
        text = _("The plants were counted before they were sown. Correct one of the two days.")
    elif counted_on > timezone.localdate():
        text = _("The day of the count lies in the future. Give the day on which the plants were counted.")
    else:
        return
    raise ValidationError({"stand_counted_on": ValidationError(text, code="order")})


def _sow_flats(sowing: Sowing, flats: SownFlats, stamp: Stamp) -> None:
    layout = Layout.objects.filter(pattern=Layout.Pattern.EVERY).first()
    if layout is None:
        text = _("There is no layout that uses every cell. Make one under Layouts first.")
        raise ValidationError({"flats_count": ValidationError(text, code="layout")})
    made = Flat.objects.bulk_create(
        Flat(
            code=code,
            tray_format=flats.tray_format,
            layout=layout,
            sowing=sowing,
            created_at=stamp.at,
        )
        for code in issue_codes(FLAT, flats.count)
    )
    StageMove.objects.bulk_create(StageMove(flat=flat, stage=Stage.SOWN, **stamp.fields()) for flat in made)
