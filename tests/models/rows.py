"""One builder for each table, so that every rule of every table can be tried on a real row."""

from datetime import UTC, date, datetime, timedelta
from itertools import count

from nursery import models as m
from tests import factories as make

AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
DAY = date(2026, 3, 2)
SIGNED = {"at": AT, "raw_at": AT, "received_at": AT}
_number = count(1)


def _made(model, **standard):
    """Return a builder: standard values, called where they are functions, and what the test gives."""

    def build(**fields):
        values = {name: value() if callable(value) else value for name, value in standard.items()}
        return model.objects.create(**{**values, **fields})

    return build


def _named():
    return f"Name {next(_number)}"


def _code():
    return f"F{next(_number):06d}"


def _later():
    """A moment that no other row has."""
    return AT + timedelta(hours=next(_number))


def _run(**fields):
    return make.make_run(places=[], **fields)


def _check(**fields):
    standard = {"flat": fields.pop("flat", None) or make.make_flat(), "day": DAY, "opened_at": AT}
    return m.Check.objects.create(**standard, raw_opened_at=AT, received_at=AT, **fields)


def _cell(**fields):
    run = fields.pop("run", None) or _run()
    return m.Cell.objects.create(**{"flat": run.flat, "run": run, "place_no": 1, "order_in_run": 1, **fields})


def _day_count(**fields):
    run = fields.pop("run", None) or _run()
    counts = {"grafted": 10, "seen": 10, "alive": 7, "wilting": 2, "dead": 1, "gone": 2, "gone_early": 1}
    standard = {"flat": run.flat, "day": DAY, "pairing": run.pairing, **counts}
    return m.DayCount.objects.create(run=run, **{**standard, **fields})


def _tally(**fields):
    run = fields.pop("run", None) or _run()
    standard = {"flat": run.flat, "checked_on": DAY, "grafted": 10, "alive": 7, "wilting": 2}
    return m.TallyRow.objects.create(run=run, imported_at=AT, **{**standard, **fields})


def _season(**fields):
    starts_on = date(2000 + next(_number), 1, 1)
    return m.Season.objects.create(
        **{"name": _named(), "starts_on": starts_on, "ends_on": starts_on, **fields}
    )


def _planting(**fields):
    standard = {"flat": make.make_flat(), "planted_on": DAY, "bed": "1", "plants_count": 10}
    return m.Planting.objects.create(**{**standard, **fields})


_grading = _made(m.Grading, flat=make.make_flat, day=DAY, **SIGNED)
_leaving = _made(m.Leaving, flat=make.make_flat, day=DAY, reason="sold", **SIGNED)

ROWS = {
    m.Account: _made(m.Account, username=_named, role="crew"),
    m.BladeEvent: _made(m.BladeEvent, session=make.make_session, kind="changed", **SIGNED),
    m.Cell: _cell,
    m.Change: _made(m.Change, field="method", **SIGNED),
    m.Check: _check,
    m.Closing: _made(m.Closing, check_ref=_check, kind="close", **SIGNED),
    m.Crop: _made(m.Crop, name=_named),
    m.Cultivar: make.make_cultivar,
    m.DayCount: _day_count,
    m.Device: _made(m.Device, first_seen_at=AT, last_seen_at=AT),
    m.Farm: lambda **fields: m.Farm.objects.create(**{"pk": 1, "name": "Farm", **fields}),
    m.Flat: _made(m.Flat, code=_code, tray_format=make.make_format, layout=make.make_layout, created_at=AT),
    m.GradeCount: _made(m.GradeCount, grading=_grading, run=_run, grade="first", plants_count=3),
    m.Grading: _grading,
    m.Harvest: _made(m.Harvest, planting=_planting, harvested_on=DAY, kilograms=3),
    m.HealingPlan: _made(m.HealingPlan, name=_named),
    m.Job: _made(m.Job, kind="import", asked_at=AT),
    m.LabelStock: _made(
        m.LabelStock, name=_named, paper="A4", label_width_mm=70, label_height_mm=37, columns=3, rows=8
    ),
    m.Leaving: _leaving,
    m.LeavingCount: _made(m.LeavingCount, leaving=_leaving, run=_run, plants_count=3),
    m.Layout: _made(m.Layout, name=_named, pattern="every"),
    m.Mark: _made(m.Mark, check_ref=_check, cell=_cell, kind="seen", state="dead", **SIGNED),
    m.NumberCount: _made(m.NumberCount, check_ref=_check, run=_run, dead_count=1),
    m.Pairing: make.make_pairing,
    m.Pause: _made(m.Pause, session=make.make_session, started_at=AT),
    m.Place: make.make_place,
    m.PlaceMove: _made(m.PlaceMove, place=make.make_place, **SIGNED),
    m.Planting: _planting,
    m.PrintedCode: _made(m.PrintedCode, code=_code, printed_at=AT),
    m.Reading: _made(m.Reading, place=make.make_place, at=_later),
    m.Run: _run,
    m.RunSowing: _made(m.RunSowing, run=_run, sowing=make.make_sowing, side="scion"),
    m.Season: _season,
    m.SeedLot: make.make_lot,
    m.Session: make.make_session,
    m.Severing: _made(m.Severing, run=_run, severed_on=DAY, **SIGNED),
    m.Sowing: make.make_sowing,
    m.StageMove: _made(m.StageMove, flat=make.make_flat, stage="bench", **SIGNED),
    m.StepDone: None,  # needs a step, which stands below
    m.TallyRow: _tally,
    m.Target: _made(m.Target, season=_season, pairing=make.make_pairing, plants_wanted=9, wanted_on=DAY),
    m.TrayFormat: _made(m.TrayFormat, name=_named, rows=2, columns=2),
    m.Voiding: _made(m.Voiding, target_uuid=m.Device._meta.get_field("uuid").default, **SIGNED),
    m.Worker: make.make_worker,
}
ROWS[m.DeviceToken] = _made(
    m.DeviceToken, device=ROWS[m.Device], account=ROWS[m.Account], digest=_named, issued_at=AT
)
ROWS[m.Step] = _made(m.Step, plan=ROWS[m.HealingPlan], number=1, after_hours=1, instruction="Open")
ROWS[m.StepDone] = _made(m.StepDone, flat=make.make_flat, step=ROWS[m.Step], outcome="done", **SIGNED)
