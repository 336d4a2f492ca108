"""Everything that changed a number after it was written, from all the tables where that is kept.

Corrections, voidings, reopenings and askings, correcting marks, and marks that came in after a closing: one
list, newest first. What one act wrote down of several graftings or cells is one entry. The database joins,
sorts and pages the list; the rows of a page are read afterwards.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from django.db.models import CharField, Exists, Max, Min, Model, OuterRef, Q, QuerySet, Value
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from nursery.actions.given import GIVEN
from nursery.models import (
    Account,
    Change,
    Check,
    Closing,
    Flat,
    Grading,
    Leaving,
    Mark,
    Severing,
    StageMove,
    Voiding,
    Worker,
)

CORRECTED, GAVE, VOIDED, REOPENED, ASKED, SETTLED, LATE = (
    "corrected", "given", "voided", "reopened", "asked", "settled", "late",
)  # fmt: skip
KINDS = {
    CORRECTED: _("Graftings put right"),
    GAVE: _("Checks given to another flat"),
    SETTLED: _("Marks corrected and settled"),
    LATE: _("Marks after the closing"),
    VOIDED: _("Voided and undone"),
    REOPENED: _("Opened again"),
    ASKED: _("Asked to open again"),
}


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which part of the list is wanted, all where nothing is said. Days are the farm's, both included."""

    flat: Flat | None = None
    worker: Worker | None = None
    account: Account | None = None
    kind: str = ""
    first: date | None = None
    last: date | None = None


def changed(wanted: Wanted) -> QuerySet[Any]:
    """Return ``(kind, key of the first row, moment)`` of each entry, the newest first."""
    sources = {
        CORRECTED: _corrected,
        GAVE: _given,
        VOIDED: _voided,
        REOPENED: _reopened,
        ASKED: _asked,
        SETTLED: _settled,
        LATE: _late,
    }
    kinds = [wanted.kind] if wanted.kind in sources else list(sources)
    first, *others = [sources[kind](wanted) for kind in kinds]
    # A list of one kind is a union too, with nothing: the database cannot count it otherwise.
    nothing = _entry(_grouped(Change.objects.filter(pk__lt=0), "field"), CORRECTED)
    rows = first.union(*others, nothing, all=True)
    newest: QuerySet[Any] = rows.order_by("-moment", "kind", "-first")
    return newest


def _entry(rows: Any, kind: str) -> QuerySet[Any]:
    named = rows.order_by().annotate(kind=Value(kind, output_field=CharField()))
    entries: QuerySet[Any] = named.values_list("kind", "first", "moment")
    return entries


def _of(wanted: Wanted, rows: QuerySet[Any]) -> QuerySet[Any]:
    """Keep what a person did, in the days that are asked for."""
    if wanted.worker:
        rows = rows.filter(by_worker=wanted.worker)
    if wanted.account:
        rows = rows.filter(sent_by=wanted.account, by_worker=None)
    if wanted.first:
        rows = rows.filter(at__gte=_begin(wanted.first))
    if wanted.last:
        rows = rows.filter(at__lt=_begin(date.fromordinal(wanted.last.toordinal() + 1)))
    return rows


def _begin(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time.min))


def _grouped(rows: QuerySet[Any], *columns: str) -> Any:
    return rows.order_by().values("at", "sent_by", *columns).annotate(first=Min("pk"), moment=Max("at"))


def _corrected(wanted: Wanted) -> QuerySet[Any]:
    rows = _of(wanted, Change.objects.exclude(field=GIVEN, check_ref__isnull=False))
    if wanted.flat:
        rows = rows.filter(Q(flat=wanted.flat) | Q(run__flat=wanted.flat))
    return _entry(_grouped(rows, "field"), CORRECTED)


def _given(wanted: Wanted) -> QuerySet[Any]:
    rows = _of(wanted, Change.objects.filter(field=GIVEN, check_ref__isnull=False))
    if wanted.flat:
        code = wanted.flat.code
        rows = rows.filter(Q(old=code) | Q(new=code) | Q(check_ref__flat=wanted.flat))
    return _entry(_grouped(rows, "field"), GAVE)


def _voided(wanted: Wanted) -> QuerySet[Any]:
    """Return the voidings that changed a number: a move of a flat changes none."""
    target = OuterRef("target_uuid")
    of_flat = {"flat": wanted.flat} if wanted.flat else {}
    checks = Check.objects.filter(**of_flat)
    standing_again = Voiding.objects.filter(uuid=target)
    if wanted.flat:  # a chain of any length: each names the flat's check, or a voiding that does
        standing_again = standing_again.filter(uuid__in=_chained(checks))
    bears: Any = Exists(checks.filter(uuid=target)) | Exists(standing_again)
    for model in (Leaving, Grading):
        bears |= Exists(model._default_manager.filter(uuid=target, **of_flat))
    of_run = {"run__flat": wanted.flat} if wanted.flat else {}
    bears |= Exists(Severing.objects.filter(uuid=target, **of_run))
    bears |= Exists(StageMove.objects.filter(uuid=target, is_loss=True, **of_flat))
    rows = _of(wanted, Voiding.objects.filter(bears))
    return _entry(_grouped(rows, "target_noun"), VOIDED)


def _chained(checks: QuerySet[Check]) -> list[Any]:
    """Return the UUIDs of the voidings that follow from checks of one flat."""
    uuids = list(Voiding.objects.filter(target_uuid__in=checks.values("uuid")).values_list("uuid", flat=True))
    found: list[Any] = []
    while uuids:
        found += uuids
        uuids = list(Voiding.objects.filter(target_uuid__in=uuids).values_list("uuid", flat=True))
    return found


def _closings(wanted: Wanted, kind: str) -> Any:
    rows = _of(wanted, Closing.objects.filter(kind=kind))
    rows = rows.filter(check_ref__flat=wanted.flat) if wanted.flat else rows
    return rows.order_by().values("pk").annotate(first=Min("pk"), moment=Max("at"))


def _reopened(wanted: Wanted) -> QuerySet[Any]:
    return _entry(_closings(wanted, Closing.Kind.REOPEN), REOPENED)


def _asked(wanted: Wanted) -> QuerySet[Any]:
    return _entry(_closings(wanted, Closing.Kind.ASK), ASKED)


def _settled(wanted: Wanted) -> QuerySet[Any]:
    rows = _of(wanted, Mark.objects.filter(kind=Mark.Kind.CORRECTION))
    rows = rows.filter(check_ref__flat=wanted.flat) if wanted.flat else rows
    return _entry(_grouped(rows, "check_ref", "reason"), SETTLED)


def _late(wanted: Wanted) -> QuerySet[Any]:
    """Return the checks to which taps came in after their closing, each once, when the last one came."""
    rows = _of(wanted, late_marks())
    rows = rows.filter(check_ref__flat=wanted.flat) if wanted.flat else rows
    grouped = rows.order_by().values("check_ref").annotate(first=Min("pk"), moment=Max("received_at"))
    return _entry(grouped, LATE)


def late_marks() -> QuerySet[Mark]:
    """Return the taps that the program heard of after a closing that no reopening had taken back by then."""
    reopened = Closing.objects.filter(
        check_ref=OuterRef("check_ref"),
        kind=Closing.Kind.REOPEN,
        received_at__gt=OuterRef("received_at"),
        received_at__lte=OuterRef(OuterRef("received_at")),
    )
    closed = Closing.objects.filter(
        ~Exists(reopened),
        check_ref=OuterRef("check_ref"),
        kind=Closing.Kind.CLOSE,
        received_at__lt=OuterRef("received_at"),
    )
    rows: QuerySet[Mark] = Mark.objects.filter(Exists(closed)).exclude(kind=Mark.Kind.CORRECTION)
    return rows


def targets_of(voidings: Iterable[Voiding]) -> dict[Any, Model]:
    """Return what these voidings took back, by UUID: for a voiding of a check's voiding, the check."""
    uuids = {voiding.target_uuid for voiding in voidings}
    found: dict[Any, Model] = {}  # the last look at a discarded flat has the UUID of its move: that first
    named: dict[Any, Any] = {
        StageMove: "flat", Check: "flat", Leaving: "flat", Grading: "flat", Severing: "run__flat"
    }  # fmt: skip
    for model, path in named.items():
        for row in model.objects.filter(uuid__in=uuids).select_related(path):
            found.setdefault(row.uuid, row)
    links = {uuid: uuid for uuid in uuids - set(found)}
    while links:  # each turn goes one link down every chain, from a voiding to what it voids
        below = dict(Voiding.objects.filter(uuid__in=links.values()).values_list("uuid", "target_uuid"))
        links = {uuid: below[link] for uuid, link in links.items() if link in below}
        for check in Check.objects.filter(uuid__in=links.values()).select_related("flat"):
            found |= {uuid: check for uuid, link in links.items() if link == check.uuid}
        links = {uuid: link for uuid, link in links.items() if uuid not in found}
    return found
