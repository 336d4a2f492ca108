"""What is done with a book from outside a browser, each in a short process of its own: see forker.py."""

import io
from datetime import timedelta
from pathlib import Path

from django.contrib.sessions.models import Session
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from nursery.access import flat_for_work
from nursery.actions.leaving import discard_flat
from nursery.actions.recount import differences
from nursery.actions.stamp import Stamp
from nursery.models import (
    Account,
    Cell,
    Check,
    Closing,
    DayCount,
    Device,
    DeviceToken,
    Farm,
    Flat,
    Mark,
    Run,
    Worker,
)
from nursery.views.sheet_of_flat import LETTERS, sheet_of
from tests import oracle
from tests.factories import make_flat, make_pairing, make_run

PEOPLE = {"bob": "Bob", "dora": "Dora"}


def warm_up():
    """Load what a request loads, so that a server forked from here answers at once."""
    for path in ("/login", "/sw.js"):
        Client().get(path, headers={"host": "127.0.0.1"})


def make_farm(*, flats):
    """Bob and Dora are crew; so many flats of 72, grafted a week ago. Return their codes in walking order."""
    Farm.objects.update_or_create(pk=1, defaults={"name": "Test farm", "time_zone": "UTC"})
    for username, name in PEOPLE.items():
        account = Account(username=username, role="crew")
        account.set_unusable_password()
        account.save()
        Worker.objects.create(name=name, account=account)
    pairing = make_pairing()
    made = [make_flat(created_at=timezone.now() - timedelta(days=7)) for _n in range(flats)]
    for flat in made:
        make_run(flat, pairing=pairing, grafted_on=timezone.localdate() - timedelta(days=7))
    return [flat.code for flat in made]


def log_in(*, username):
    """Return the key of a new session."""
    client = Client()
    client.force_login(Account.objects.get(username=username))
    return client.cookies["sessionid"].value


def end_sessions():
    return Session.objects.all().delete()[0]


def withdraw_tokens():
    return DeviceToken.objects.update(withdrawn_at=timezone.now())


def delete_cell(*, code, place):
    return Cell.objects.filter(flat__code=code, place_no=place).delete()[0]


def put_cell_back(*, code, place):
    run = Run.objects.get(flat__code=code)
    Cell.objects.create(flat=run.flat, place_no=place, graft_no=1, run=run, order_in_run=place)


def discard(*, code):
    account = Account.objects.get(username="bob")
    stamp = Stamp.now(account, account.worker)
    return discard_flat(Flat.objects.get(code=code), is_loss=False, stamp=stamp)


def import_file(*, path):
    """Run the command on a tablet's file; return what it said."""
    said, wrong = io.StringIO(), io.StringIO()
    try:
        call_command("import_marks", Path(path), stdout=said, stderr=wrong)
    except CommandError as error:
        return f"{said.getvalue()}{wrong.getvalue()}{error}"
    return said.getvalue().strip()


def marks():
    """Every mark of the book, in the order of arrival."""
    rows = Mark.objects.order_by("pk").select_related("cell__flat", "device", "by_worker", "sent_by")
    return [
        {
            "uuid": str(mark.uuid),
            "flat": mark.cell.flat.code,
            "cell": public_id(mark.cell),
            "check": str(mark.check_ref.uuid),
            "state": mark.state,
            "kind": mark.kind,
            "replaces": list(mark.replaces),
            "device": str(mark.device.uuid) if mark.device else None,
            "by": str(mark.by_worker or ""),
            "sent_by": mark.sent_by.username if mark.sent_by else "",
            "at": mark.at.isoformat(),
            "raw_at": mark.raw_at.isoformat(),
            "is_clock_odd": mark.is_clock_odd,
        }
        for mark in rows.select_related("check_ref")
    ]


def public_id(cell):
    return f"{cell.place_no}.{cell.graft_no}" if cell.graft_no > 1 else str(cell.place_no)


def checks():
    rows = Check.objects.order_by("pk").select_related("flat", "by_worker")
    return [
        {
            "uuid": str(check.uuid),
            "flat": check.flat.code,
            "day": check.day.isoformat(),
            "is_closed": check.is_closed,
            "by": str(check.by_worker or ""),
        }
        for check in rows
    ]


def closings():
    return [
        {"uuid": str(one.uuid), "check": str(one.check_ref.uuid), "known": one.known_marks}
        for one in Closing.objects.order_by("pk").select_related("check_ref")
    ]


def devices():
    return [{"uuid": str(one.uuid), "skew_ms": one.skew_ms} for one in Device.objects.all()]


def day_counts():
    rows = DayCount.objects.order_by("flat__code", "day").select_related("flat")
    return [[row.flat.code, row.day.isoformat(), row.alive, row.dead, row.is_closed] for row in rows]


def recount():
    return list(differences())


def disputed(*, code):
    return _sheet(code)["disputed"]


def _sheet(code):
    account = Account.objects.get(username="bob")
    return sheet_of(flat_for_work(account, code), today=timezone.localdate(), user=account)


def states():
    """Each flat's cells as a tablet would be told them."""
    said = {letter: state for state, letter in LETTERS.items()}
    found = {}
    for flat in Flat.objects.order_by("code"):
        told = _sheet(flat.code)
        found[flat.code] = {str(n): said[letter] for n, letter in enumerate(told["map"], 1) if letter in said}
    return found


def proof():
    """How the book differs from the reference in cells and counts of days; and what recount says."""
    wrong = [f"recount: {one}" for one in differences()]
    told = states()
    for flat in Flat.objects.order_by("code"):
        history = _history(flat)
        for cell, (state, _differs, _open) in oracle.cell_states(history).items():
            if told[flat.code][cell] != state:
                wrong.append(f"{flat.code} {cell}: {told[flat.code][cell]}, the reference says {state}")
        wrong += _wrong_counts(flat, history)
    return wrong


def _wrong_counts(flat, history):
    columns = ["grafted", "seen", "alive", "wilting", "dead", "gone", "is_closed", "has_disagreement"]
    stored = {
        (row.run_id, row.day): [getattr(row, column) for column in columns]
        for row in DayCount.objects.filter(flat=flat)
    }
    wanted = {key: [row[column] for column in columns] for key, row in oracle.day_counts(history).items()}
    keys = sorted(stored.keys() | wanted.keys(), key=str)
    return [
        f"{flat.code} {key}: {stored.get(key)}, the reference counts {wanted.get(key)}"
        for key in keys
        if stored.get(key) != wanted.get(key)
    ]


def _history(flat):
    """What the book holds of a flat, as plain values for the reference."""
    runs = {
        run.pk: {
            "pairing": run.pairing_id,
            "grafted_on": run.grafted_on,
            "record_on": run.grafted_on + timedelta(days=14),
            "cells": [public_id(cell) for cell in run.cells.all()],
        }
        for run in flat.runs.all()
    }
    all_checks = {
        check.pk: {
            "day": check.day,
            "kind": check.kind,
            "places": check.seen_places or [],
            "void": check.is_void,
        }
        for check in Check.objects.filter(flat=flat)
    }
    all_marks = {
        str(mark.uuid): {
            "check": mark.check_ref_id,
            "cell": public_id(mark.cell),
            "kind": mark.kind,
            "state": mark.state,
            "replaces": mark.replaces,
        }
        for mark in Mark.objects.filter(cell__flat=flat).select_related("cell")
    }
    all_closings = {
        str(one.uuid): {
            "check": one.check_ref_id,
            "kind": one.kind,
            "replaces": one.replaces,
            "known": one.known_marks if one.tells_known else None,
        }
        for one in Closing.objects.filter(check_ref__flat=flat)
    }
    return {
        "seasons": {}, "runs": runs, "checks": all_checks, "marks": all_marks, "closings": all_closings,
        "numbers": {},
    }  # fmt: skip
