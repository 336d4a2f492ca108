"""Flats to be marked: an invented book for the benchmarks that need cells."""

import uuid
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from nursery.actions.codes import issue_codes
from nursery.calc.codes import FLAT
from nursery.models import Cell, Check, Crop, Cultivar, Flat, Layout, Pairing, Run, TrayFormat

_TOGETHER = 5000


def make_flats(count: int, rows: int = 6, columns: int = 12) -> list[Flat]:
    """Return new flats, each with one finished run in all of its cells, grafted 14 days ago."""
    now = timezone.now()
    tray = TrayFormat.objects.get_or_create(name=str(rows * columns), rows=rows, columns=columns)[0]
    layout = Layout.objects.get_or_create(name="Every cell", pattern="every")[0]
    crop = Crop.objects.get_or_create(name="Bench crop")[0]
    scion, stock = (Cultivar.objects.get_or_create(crop=crop, name=name)[0] for name in ("Scion", "Stock"))
    pairing = Pairing.objects.get_or_create(scion=scion, rootstock=stock)[0]
    flats = Flat.objects.bulk_create(
        Flat(code=code, tray_format=tray, layout=layout, created_at=now) for code in issue_codes(FLAT, count)
    )
    grafted_on = (now - timedelta(days=14)).date()
    runs = Run.objects.bulk_create(
        Run(flat=flat, number=1, pairing=pairing, method="splice", grafted_on=grafted_on, finished_at=now)
        for flat in flats
    )
    cells = (
        Cell(flat=run.flat, place_no=place, run=run, order_in_run=place)
        for run in runs
        for place in range(1, rows * columns + 1)
    )
    Cell.objects.bulk_create(cells, batch_size=_TOGETHER)
    return flats


def check_data(flat: Flat, at: datetime | None = None) -> dict[str, Any]:
    """Return a new check as a device sends it."""
    said = (at or timezone.now()).isoformat()
    return {
        "uuid": str(uuid.uuid4()), "flat": flat.code, "opened_at": said, "kind": "whole",
        "seen_places": None, "cause": "",
    }  # fmt: skip


def batch_data(
    check: dict[str, Any], places: Sequence[int], device: str, *, is_first: bool
) -> dict[str, Any]:
    """Return a batch of marks, with its check if it is the first one."""
    now = timezone.now().isoformat()
    marks = [
        {
            "uuid": str(uuid.uuid4()), "check": check["uuid"], "cell": str(place), "kind": "seen",
            "state": "dead" if place % 3 else "wilting", "cause": "", "reason": "", "replaces": [], "at": now,
        }
        for place in places
    ]  # fmt: skip
    return {
        "v": 1, "device": device, "sent_at": now, "worker": None, "checks": [check] if is_first else [],
        "marks": marks, "closings": [],
    }  # fmt: skip


def opened_check(flat: Flat) -> tuple[int, int]:
    """Return the keys of a stored check of a flat and of its first cell: the floor inserts a mark of them."""
    now = timezone.now()
    check = Check.objects.create(flat=flat, day=now.date(), opened_at=now, raw_opened_at=now, received_at=now)
    first = flat.cells.order_by("place_no").values_list("pk", flat=True)[0]
    return check.pk, first
