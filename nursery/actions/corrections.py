"""Put right what the book says of graftings: the wrong lot, person, method or day, on one run or on many.

Every value that changes is written down, old and new, with who and why; counts and records are derived again
in the same transaction. Taking a correction back is the same correction the other way. While a flat is on
the bench its runs are put right there (``runs.py``).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any, cast

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from nursery.actions.bench import changed_meanwhile
from nursery.actions.counting import lock_flats, recount_flats
from nursery.actions.run_values import readable, value_of
from nursery.actions.stamp import Stamp
from nursery.actions.work import SIDES, Work, store_sowings
from nursery.calc.codes import spoken
from nursery.calc.days import local_date
from nursery.models import Change, Check, Farm, Flat, LeavingCount, Run, Session

IN_WORK = tuple(Work.__dataclass_fields__)
FIELDS = (*IN_WORK, "grafted_on", "session")
_Values = dict[str, Any]


@transaction.atomic
def correct_runs(
    runs: Iterable[Run], *, changes: Mapping[str, Any], reason: str, stamp: Stamp
) -> list[Change]:
    """Give each run the values of ``changes`` (fields of ``FIELDS``); return what was written down.

    Sowings are a tuple for each side. With another pairing, the sowings of a cultivar that is no longer on
    its side are taken off, unless ``changes`` names others.

    ValidationError if nothing changes, no reason is given, a sowing is of another cultivar, a pair is none,
    the day is still to come, or a flat is still on the bench or known by imported counts alone.
    """
    unknown = set(changes) - set(FIELDS)
    if unknown:
        raise ValueError(f"changes must be of {FIELDS}, got {sorted(unknown)}")
    if not reason.strip():
        raise ValidationError({"reason": _("Say in a few words what was wrong.")}, code="reason")
    keys = [run.pk for run in runs]
    flats = _flats_of(keys)
    lock_flats(flats)
    held = _held(keys)
    _require_correctable(held, changes, stamp)
    wrong = [(run, new) for run in held if (new := _what_changes(run, changes))]
    if not wrong:
        raise ValidationError(_("That is what the book says already: nothing changes."), code="same")
    written = _write_down(wrong, reason.strip(), stamp)
    for run, new in wrong:
        _store(run, new)
    recount_flats(flats)
    return written


@transaction.atomic
def put_back(change: Change, *, stamp: Stamp) -> list[Change]:
    """Take back a correction of runs, with all that was corrected in the same act; return what that wrote.

    ValidationError if one of the values was changed again since.
    """
    together = act_of(change)
    lock_flats(_flats_of([row.run_id for row in together if row.run_id]))
    held = {run.pk: run for run in _held([row.run_id for row in together if row.run_id])}
    old: dict[int, _Values] = {}
    for row in together:
        run = held[cast(int, row.run_id)]
        if _differs(_current(run)[row.field], value_of(row.field, row.new)):
            text = _("%s was changed again since: put the later change back first.")
            raise ValidationError(text % spoken(run.flat.code), code="changed")
        old.setdefault(run.pk, {})[row.field] = value_of(row.field, row.old)
    reason = _("Put back: %s") % change.reason if change.reason else _("Put back")
    groups: list[tuple[_Values, list[Run]]] = []
    for key, values in old.items():
        same = next((group for wanted, group in groups if wanted == values), None)
        if same is None:
            groups.append((values, same := []))
        same.append(held[key])
    written: list[Change] = []
    for values, group in groups:
        written += correct_runs(group, changes=values, reason=reason[:200], stamp=stamp)
    return written


def act_of(change: Change) -> list[Change]:
    """Return the changes of runs that were made in the same act, ``change`` among them."""
    rows = Change.objects.filter(
        at=change.at, sent_by=change.sent_by_id, run__isnull=False, field__in=FIELDS
    ).order_by("pk")
    found = list(rows)
    if change not in found:
        raise ValidationError(_("This change cannot be put back from here."), code="no_run")
    return found


def earlier_checks(runs: Iterable[Run], grafted_on: date) -> list[Check]:
    """Return the checks of these runs' flats that lie before a day of grafting, which would be odd."""
    flats = {run.flat_id for run in runs}
    checks = Check.objects.standing().filter(flat__in=flats, day__lt=grafted_on)
    return list(checks.select_related("flat").order_by("day", "flat"))


def _held(keys: Sequence[int]) -> list[Run]:
    runs = Run.objects.named().filter(pk__in=keys).order_by("flat_id", "number")
    runs = runs.select_related(
        "flat", "pairing__scion__crop", "pairing__rootstock", "worker", "second_worker", "session",
        "scion_cut_by", "rootstock_cut_by",
    )  # fmt: skip
    return list(runs.prefetch_related("run_sowings__sowing__lot__cultivar"))


def _flats_of(run_keys: Sequence[int]) -> set[int]:
    """Return the keys of the flats whose counts name these runs: theirs, and those their plants moved to."""
    own = Flat.objects.filter(Q(runs__in=run_keys) | Q(cells__run__in=run_keys)).values_list("pk", flat=True)
    pools = LeavingCount.objects.filter(run__in=run_keys, leaving__to_flat__isnull=False)
    return {*own, *pools.values_list("leaving__to_flat_id", flat=True)}


def _require_correctable(runs: Sequence[Run], changes: Mapping[str, Any], stamp: Stamp) -> None:
    for run in runs:
        if run.flat.origin == Flat.Origin.TALLY:
            text = _("%s is an imported tally: put its file right and import it again.")
            raise ValidationError(text % spoken(run.flat.code), code="tally")
    flats = {run.flat_id for run in runs}
    open_run = Run.objects.open().filter(flat__in=flats).select_related("flat").first()
    if open_run:
        text = _("%s is still on the bench: put it right there.")
        raise ValidationError(text % spoken(open_run.flat.code), code="on_bench")
    day = changes.get("grafted_on")
    if day and day > local_date(stamp.received_at, Farm.objects.current().time_zone):
        raise ValidationError({"grafted_on": _("This day is still to come: choose an earlier one.")})
    if {"pairing", "method", "grafted_on"} & {name for name, value in changes.items() if value in (None, "")}:
        raise ValueError("pairing, method and day are always known")


def _current(run: Run) -> _Values:
    values = {name: getattr(run, name) for name in FIELDS if name not in SIDES}
    for name, side in SIDES.items():
        rows = sorted(run.run_sowings.all(), key=lambda row: row.pk)
        values[name] = tuple(row.sowing for row in rows if row.side == side)
    return values


def _what_changes(run: Run, changes: Mapping[str, Any]) -> _Values:
    """Return the values of a run that will differ; ValidationError if they do not fit together."""
    old = _current(run)
    work = Work(**{name: old[name] for name in IN_WORK})
    if "pairing" in changes:
        work = work.on_pairing(changes["pairing"])
    work = replace(work, **{name: value for name, value in changes.items() if name in IN_WORK})
    try:
        work.check()
    except ValidationError as error:
        raise _naming(run, error) from error
    new = {name: getattr(work, name) for name in IN_WORK}
    new |= {name: value for name, value in changes.items() if name not in IN_WORK}
    return {name: value for name, value in new.items() if _differs(old[name], value)}


def _naming(run: Run, error: ValidationError) -> ValidationError:
    """Say in each message of which flat it speaks."""
    code = spoken(run.flat.code)
    return ValidationError(
        {name: [f"{code}: {text}" for text in texts] for name, texts in error.message_dict.items()}
    )


def _differs(old: Any, new: Any) -> bool:
    if isinstance(old, tuple):
        return {sowing.pk for sowing in old} != {sowing.pk for sowing in new}
    return bool(old != new)


def _write_down(wrong: Sequence[tuple[Run, _Values]], reason: str, stamp: Stamp) -> list[Change]:
    return Change.objects.bulk_create(
        Change(
            flat=run.flat,
            run=run,
            field=name,
            old=readable(_current(run)[name]),
            new=readable(value),
            reason=reason,
            **stamp.fields(),
        )
        for run, new in wrong
        for name, value in new.items()
    )


def _store(run: Run, new: _Values) -> None:
    """Write the columns that change and nothing else; whoever was first to write is told of."""
    columns = {name: value for name, value in new.items() if name not in SIDES}
    for name, value in columns.items():
        setattr(run, name, value)
    if columns:
        plain = {name for name in columns if not run._meta.get_field(name).is_relation}
        run.clean_fields(exclude={field.name for field in run._meta.fields} - plain)
        if not Run.objects.filter(pk=run.pk).update(**columns):
            raise changed_meanwhile()
    if set(new) & set(SIDES):
        values = _current(run) | new
        store_sowings(run, Work(**{name: values[name] for name in IN_WORK}))


def sessions_near(runs: Iterable[Run]) -> list[Session]:
    """Return the sessions that runs may belong to: those begun within two weeks of their grafting."""
    days = sorted({run.grafted_on for run in runs})
    if not days:
        return []
    near = Session.objects.select_related("place").order_by("-started_at")
    first, last = days[0].toordinal() - 14, days[-1].toordinal() + 14
    span = (date.fromordinal(first), date.fromordinal(last))
    return list(near.filter(started_at__date__range=span)[:60])
