"""What the sheets of flats are made of, beside their ledger.

A sheet is what a browser must know of a flat to check it on its own (``views/sheet_of_flat.py``). Each read
here is one query, whatever the number of flats.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Aggregate, Count, Max, Model, OuterRef, Q, QuerySet, Subquery, Sum

from nursery.actions.prepared import by_id
from nursery.models import Cell, Change, Check, Closing, Flat, Leaving, Mark, NumberCount, Run, Voiding


@dataclass(frozen=True, slots=True)
class MarkTold:
    """A mark with all that its author said; ``cause`` is its own, not that of the whole check."""

    cell_id: int
    place_no: int
    graft_no: int
    check_id: int
    uuid: str
    kind: str
    state: str
    cause: str
    replaces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ClosingTold:
    """A check was closed; ``stands`` unless a reopening took that back."""

    uuid: str
    seen: str
    seen_places: list[int] | None
    tells_known: bool
    stands: bool


def marks_told(flat_ids: Iterable[int]) -> dict[int, list[MarkTold]]:
    """Return the marks that count in these flats, by flat, in the order they were made."""
    marks: dict[int, list[MarkTold]] = defaultdict(list)
    for flat_id, _at, _pk, uuid, replaces, *told in sorted(_MARKS.rows(flat_ids), key=lambda row: row[:3]):
        cell_id, place_no, graft_no, check_id, kind, state, cause = told
        names = cell_id, place_no, graft_no, check_id
        marks[flat_id].append(MarkTold(*names, str(uuid), kind, state, cause, tuple(replaces)))
    return marks


def checks_told(flat_ids: Iterable[int]) -> dict[int, list[Check]]:
    """Return the checks that stand, with who made them, by flat, in the order they were begun."""
    checks: dict[int, list[Check]] = defaultdict(list)
    found = Check.objects.standing().filter(flat__in=flat_ids).select_related("by_worker", "sent_by")
    for check in found.order_by("opened_at", "pk"):
        checks[check.flat_id].append(check)
    return checks


def closings_told(checks: Iterable[Check]) -> dict[int, list[ClosingTold]]:
    """Return the closings of these checks by check, in the order they came."""
    rows: dict[int, list[Closing]] = defaultdict(list)
    for closing in Closing.objects.filter(check_ref__in=checks).defer("known_marks").order_by("pk"):
        rows[closing.check_ref_id].append(closing)
    return {check_id: _told(closings) for check_id, closings in rows.items()}


def _told(closings: Iterable[Closing]) -> list[ClosingTold]:
    by_kind: dict[str, list[Closing]] = defaultdict(list)
    for closing in closings:
        by_kind[closing.kind].append(closing)
    taken_back = {uuid for reopening in by_kind[Closing.Kind.REOPEN] for uuid in reopening.replaces}
    return [
        ClosingTold(
            uuid=str(closing.uuid),
            seen=closing.seen,
            seen_places=closing.seen_places,
            tells_known=closing.tells_known,
            stands=str(closing.uuid) not in taken_back,
        )
        for closing in by_kind[Closing.Kind.CLOSE]
    ]


def runs_named(flat_ids: Iterable[int]) -> dict[int, list[Run]]:
    """Return the runs of these flats with their names, by flat, in their order."""
    runs: dict[int, list[Run]] = defaultdict(list)
    for run in Run.objects.named().filter(flat__in=flat_ids).order_by("flat", "number"):
        runs[run.flat_id].append(run)
    return runs


def change_counters(flat_ids: Iterable[int]) -> dict[int, tuple[Any, ...]]:
    """Return, by flat, numbers of which at least one differs once anything was marked, moved or mended.

    Events are appended, so a count and the last key tell of a new one. Voidings and corrections are few: the
    last of all flats stands for them.
    """
    return {flat_id: tuple(numbers) for flat_id, *numbers in _COUNTERS.rows(flat_ids)}


def _of_flat(rows: QuerySet[Any], number: Aggregate, way: str = "flat") -> Subquery:
    """Return ``number`` of the rows that lead to the flat by ``way``."""
    own = rows.filter(**{way: OuterRef("pk")}).order_by().values(way)
    return Subquery(own.annotate(told=number).values("told"))


def _last(model: type[Model]) -> Subquery:
    return Subquery(model._default_manager.order_by("-pk").values("pk")[:1])


_MARKS = by_id(
    lambda keys: Mark.objects.filter(check_ref__flat_id__in=keys, check_ref__is_void=False)
    .order_by()
    .values_list(
        "check_ref__flat_id", "at", "id", "uuid", "replaces", "cell_id", "cell__place_no", "cell__graft_no",
        "check_ref_id", "kind", "state", "cause",
    )
)  # fmt: skip
_COUNTERS = by_id(
    lambda keys: (
        Flat.objects.filter(pk__in=keys)
        .order_by()
        .values_list(
            "pk",
            _of_flat(Mark.objects.all(), Count("pk"), "check_ref__flat"),
            _of_flat(Mark.objects.all(), Max("pk"), "check_ref__flat"),
            _of_flat(Closing.objects.all(), Max("pk"), "check_ref__flat"),
            _of_flat(NumberCount.objects.all(), Max("pk"), "check_ref__flat"),
            _of_flat(Leaving.objects.all(), Max("pk")),
            _of_flat(Leaving.objects.all(), Max("pk"), "to_flat"),
            _of_flat(Cell.objects.all(), Count("pk")),
            _of_flat(Cell.objects.all(), Max("pk")),
            _of_flat(Cell.objects.all(), Sum("run_id")),
            _of_flat(Cell.objects.all(), Count("pk", filter=Q(is_present=True))),
            _of_flat(Cell.objects.all(), Count("moved_to")),
            _last(Voiding),
            _last(Change),
        )
    )
)
