"""Store what an import of tallies would do, some flats at a time, and take out again what one has stored.

On SQLite nobody else can write while a transaction writes, and taps shall not wait. So a large import is
stored in short transactions, each of whole flats with their counts: the book is true after every one of
them. What an import brought is known by its moment, which stands on its tally rows, its flats and the rows
it replaced, and by the keys of the names it made (``Brought``), kept before the next part is stored.
"""

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.apps import apps
from django.db import IntegrityError, connection, models, transaction
from django.db.models import ProtectedError, Q

from nursery.actions.codes import issue_codes
from nursery.actions.counting import lock_flats, recount_flats
from nursery.actions.tally_plan import Entry, Status, TallyPlan
from nursery.calc.codes import FLAT
from nursery.models import Account, Flat, Run, TallyRow

_BATCH = 500  # rows of one table stored at a time: bounds the variables of a query
_AIM_SECONDS = 0.04  # how long one transaction should take
_FEWEST, _FIRST, _MOST = 5, 10, 250  # flats stored in one


@dataclass(slots=True)
class Brought:
    """What one import has stored so far."""

    moment: datetime
    names: dict[str, list[int]] = field(default_factory=dict)  # keys, by model

    def as_data(self) -> dict[str, Any]:
        return {"moment": self.moment.isoformat(), "names": self.names}

    @classmethod
    def from_data(cls, data: dict[str, Any]) -> "Brought":
        return cls(datetime.fromisoformat(data["moment"]), data["names"])


Keep = Callable[[Brought], None]
Step = Callable[[int], None]


def store_plan(plan: TallyPlan, account: Account | None, brought: Brought, *, keep: Keep, step: Step) -> None:
    """Store a plan without faults in short transactions.

    ``keep`` is called within a transaction that stored names, ``step`` between two transactions with the
    number of rows stored; what it raises ends the import there. IntegrityError if somebody else changed what
    the plan was made from. In both cases ``take_out`` is for the caller to call.
    """
    step(0)
    for part in _names(plan):
        with transaction.atomic():
            type(part[0])._default_manager.bulk_create(part)
            brought.names.setdefault(type(part[0]).__name__, []).extend(one.pk for one in part)
            keep(brought)
        step(0)
    work = _by_flat(plan)
    first, together = 0, _FIRST
    while first < len(work):
        part_of = work[first : first + together]
        seconds = store_flats(plan, part_of, account, brought.moment)
        step(sum(len(one.entries) for one in part_of))
        first += together
        together = min(_MOST, max(_FEWEST, round(together * min(2.0, _AIM_SECONDS / seconds))))
        let_others_write(seconds)


def let_others_write(seconds: float) -> None:
    """Wait after a transaction of so many seconds: on SQLite a writer who found it locked sleeps a while."""
    if connection.vendor == "sqlite":
        time.sleep(min(0.1, max(0.02, seconds / 2)))


@dataclass(slots=True)
class FlatWork:
    """What is to be stored of one flat."""

    flat: Flat
    runs: list[Run] = field(default_factory=list)  # new ones
    entries: list[Entry] = field(default_factory=list)


def _by_flat(plan: TallyPlan) -> list[FlatWork]:
    works: dict[int, FlatWork] = {}
    for entry in plan.entries:
        if entry.status is not Status.UNCHANGED:
            flat = entry.tally.flat
            works.setdefault(id(flat), FlatWork(flat)).entries.append(entry)
    for run in plan.new_runs:
        works[id(run.flat)].runs.append(run)
    return list(works.values())


def _names(plan: TallyPlan) -> Iterator[list[models.Model]]:
    """Yield what flats and runs refer to, what others refer to first."""
    names = plan.names
    tables: list[Sequence[models.Model]] = [
        plan.seasons.new_seasons, names.new_crops, names.new_cultivars, names.new_pairings, names.new_workers,
    ]  # fmt: skip
    for things in tables:
        for first in range(0, len(things), _BATCH):
            yield list(things[first : first + _BATCH])


@transaction.atomic
def store_flats(
    plan: TallyPlan, works: Sequence[FlatWork], account: Account | None, moment: datetime
) -> float:
    """Store some flats with their runs, rows and counts; return how many seconds it took, from its lock."""
    began = time.perf_counter()
    lock_flats(work.flat.pk for work in works if work.flat.pk)
    fresh = [work.flat for work in works if work.flat.pk is None]
    for flat, code in zip(fresh, issue_codes(FLAT, len(fresh)), strict=True):
        flat.code, flat.created_at = code, moment
    _create(Flat, fresh)
    _create(Run, [run for work in works for run in work.runs])
    entries = [entry for work in works for entry in work.entries]
    _replace(entries, moment)
    for entry in entries:
        entry.tally.imported_at, entry.tally.imported_by = moment, account
    _create(TallyRow, [entry.tally for entry in entries])
    recount_flats(work.flat.pk for work in works)
    return time.perf_counter() - began


def store_at_once(plan: TallyPlan, account: Account | None, moment: datetime) -> None:
    """Store a small plan in the transaction of the caller."""
    for part in _names(plan):
        type(part[0])._default_manager.bulk_create(part)
    works = _by_flat(plan)
    for first in range(0, len(works), _MOST):
        store_flats(plan, works[first : first + _MOST], account, moment)


def _create(model: type[models.Model], rows: list[Any]) -> None:
    if rows:
        model._default_manager.bulk_create(rows, batch_size=_BATCH)


def _replace(entries: Iterable[Entry], moment: datetime) -> None:
    replaced = [entry.before.pk for entry in entries if entry.before and entry.status is Status.REPLACED]
    for first in range(0, len(replaced), _BATCH):
        keys = replaced[first : first + _BATCH]
        changed = TallyRow.objects.standing().filter(pk__in=keys).update(replaced_at=moment)
        if changed != len(keys):
            raise IntegrityError("a tally row was replaced by somebody else")


def take_out(brought: Brought) -> None:
    """Take out what an import has stored, in short transactions; doing it again changes nothing."""
    moment = brought.moment
    touched = Q(tally_rows__imported_at=moment) | Q(tally_rows__replaced_at=moment) | Q(created_at=moment)
    flats = Flat.objects.filter(touched, origin=Flat.Origin.TALLY)
    ids = sorted(set(flats.order_by().values_list("pk", flat=True)))
    for first in range(0, len(ids), _FIRST):
        began = time.perf_counter()
        _take_out_of(ids[first : first + _FIRST], moment)
        let_others_write(time.perf_counter() - began)
    for name in ("Worker", "Pairing", "Cultivar", "Crop", "Season"):
        model = apps.get_model("nursery", name)
        keys = brought.names.get(name, [])
        for first in range(0, len(keys), _BATCH):
            _drop_unused(model, keys[first : first + _BATCH])


@transaction.atomic
def _take_out_of(flat_ids: list[int], moment: datetime) -> None:
    lock_flats(flat_ids)
    rows = TallyRow.objects.filter(flat__in=flat_ids)
    rows.filter(imported_at=moment).delete()
    rows.filter(replaced_at=moment).update(replaced_at=None)
    recount_flats(flat_ids)
    Run.objects.filter(flat__in=flat_ids, tally_rows=None).delete()  # a run of a tally flat has a row
    Flat.objects.filter(pk__in=flat_ids, created_at=moment, runs=None).delete()


def _drop_unused(model: type[models.Model], keys: Sequence[int]) -> None:
    """Delete names that nothing uses; one that somebody took into use meanwhile stays."""
    try:
        with transaction.atomic():
            model._default_manager.filter(pk__in=keys).delete()
    except (ProtectedError, IntegrityError):
        if len(keys) > 1:
            half = len(keys) // 2
            _drop_unused(model, keys[:half])
            _drop_unused(model, keys[half:])
