"""Small builders of rows for tests. Each makes what it needs and returns the row."""

import itertools
import random
from collections import Counter
from datetime import UTC, date, datetime

from nursery.actions.codes import issue_code
from nursery.models import (
    Cell,
    Crop,
    Cultivar,
    Flat,
    Layout,
    Pairing,
    Place,
    Run,
    Season,
    SeedLot,
    Session,
    Sowing,
    TrayFormat,
    Worker,
)

GRAFTED_ON = date(2026, 3, 2)
GRAFTED_AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
_number = itertools.count(1)
_rng = random.Random(20260302)


def make_crop(name="Tomato"):
    return Crop.objects.get_or_create(name=name)[0]


def make_cultivar(name=None, crop=None, use="either"):
    return Cultivar.objects.create(
        crop=crop or make_crop(), name=name or f"Cultivar {next(_number)}", use=use
    )


def make_pairing(scion=None, rootstock=None, **fields):
    return Pairing.objects.create(
        scion=scion or make_cultivar(), rootstock=rootstock or make_cultivar(), **fields
    )


def make_worker(name=None, **fields):
    return Worker.objects.create(name=name or f"Worker {next(_number)}", **fields)


def make_place(name=None, kind="bench", **fields):
    return Place.objects.create(
        code=issue_code("P", _rng), name=name or f"Place {next(_number)}", kind=kind, **fields
    )


def make_lot(cultivar=None, **fields):
    return SeedLot.objects.create(
        cultivar=cultivar or make_cultivar(), lot_number=f"L{next(_number)}", **fields
    )


def make_sowing(lot=None, **fields):
    fields = {"sown_on": date(2026, 2, 9), "seeds_count": 200, **fields}
    return Sowing.objects.create(code=issue_code("S", _rng), lot=lot or make_lot(), **fields)


def make_season(name="Spring 2026", starts_on=date(2026, 1, 1), ends_on=date(2026, 6, 30)):
    return Season.objects.create(name=name, starts_on=starts_on, ends_on=ends_on)


def make_format(rows=6, columns=12):
    name = str(rows * columns)
    return TrayFormat.objects.get_or_create(name=name, defaults={"rows": rows, "columns": columns})[0]


def make_layout(name="Every cell", pattern="every", skips_first=False):
    return Layout.objects.get_or_create(name=name, defaults={"pattern": pattern, "skips_first": skips_first})[
        0
    ]


def make_flat(rows=6, columns=12, **fields):
    fields = {"layout": make_layout(), "created_at": GRAFTED_AT, **fields}
    return Flat.objects.create(code=issue_code("F", _rng), tray_format=make_format(rows, columns), **fields)


def make_session(**fields):
    return Session.objects.create(**{"started_at": GRAFTED_AT, **fields})


def make_run(flat=None, *, places=range(1, 73), grafted_on=GRAFTED_ON, **fields):
    """A finished run whose cells stand in ``places``, grafted in that order."""
    flat = flat or make_flat()
    fields = {"pairing": None, "method": "splice", "finished_at": GRAFTED_AT, **fields}
    fields["pairing"] = fields["pairing"] or make_pairing()
    run = Run.objects.create(flat=flat, number=flat.runs.count() + 1, grafted_on=grafted_on, **fields)
    stood = Counter(Cell.objects.filter(flat=flat).values_list("place_no", flat=True))
    if stood:
        Cell.objects.filter(flat=flat, place_no__in=list(places)).update(is_present=False)
    Cell.objects.bulk_create(
        Cell(flat=flat, place_no=p, graft_no=stood[p] + 1, run=run, order_in_run=i)
        for i, p in enumerate(places, 1)
    )
    return run
