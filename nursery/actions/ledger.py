"""What the counts of some flats are made of, read in a bounded number of queries.

The ledger is plain data: whoever counts from it needs no database. Twelve queries at most, whatever the
number of flats, cells and marks.
"""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db.models import Q

from nursery.actions.closed_looks import add_looks
from nursery.actions.facts import CellFact, CheckFact, FlatFacts, Ledger, RunFact
from nursery.actions.prepared import by_id, by_text
from nursery.calc.days import record_day_on
from nursery.calc.fold import MarkFact
from nursery.models import (
    Cell,
    Check,
    Flat,
    Leaving,
    LeavingCount,
    Mark,
    NumberCount,
    Run,
    Season,
    Severing,
    TallyRow,
)

__all__ = ["CellFact", "CheckFact", "FlatFacts", "Ledger", "RunFact", "flat_ids_of_codes", "read_ledger"]


def read_ledger(flat_ids: Iterable[int]) -> Ledger:
    """Return the facts of the flats with these keys."""
    flats = {pk: FlatFacts(pk, code, origin) for pk, code, origin in _FLATS.rows(flat_ids)}
    _read_cells(flats)
    _read_checks(flats)
    _read_marks(flats)
    _read_counts(flats)
    ledger = Ledger(flats, _read_runs(flats))
    add_looks(ledger)
    return ledger


def _read_cells(flats: dict[int, FlatFacts]) -> None:
    for row in _CELLS.rows(flats):
        flat_id, pk, run_id, place_no, graft_no, is_present, came_on, moved_on = row
        flats[flat_id].cells.append(
            CellFact(pk, run_id, place_no, graft_no, is_present, came_on is None, came_on, moved_on)
        )


def _read_checks(flats: dict[int, FlatFacts]) -> None:
    for flat_id, pk, day, kind, places, is_closed, cause, leaving in _CHECKS.rows(flats):
        flats[flat_id].checks[pk] = CheckFact(
            pk, day, kind, frozenset(places or ()), is_closed, cause, is_leaving=leaving is not None
        )


def _read_marks(flats: dict[int, FlatFacts]) -> None:
    for flat_id, check, day, cell_id, uuid, kind, state, replaces, cause, for_all in _MARKS.rows(flats):
        facts = flats[flat_id]
        facts.marks[cell_id].append(MarkFact(str(uuid), kind, state, tuple(replaces), day, check))
        if cause or (for_all and state in ("dead", "wilting")):
            facts.causes[str(uuid)] = cause or for_all


def _read_counts(flats: dict[int, FlatFacts]) -> None:
    """Read what is not told cell by cell, where there is any."""
    if any(check.kind == Check.Kind.NUMBERS for facts in flats.values() for check in facts.checks.values()):
        _read_numbers(flats)
    if any(facts.origin == Flat.Origin.TALLY for facts in flats.values()):
        _read_tallies(flats)
    _read_leavings(flats)


def _read_numbers(flats: dict[int, FlatFacts]) -> None:
    numbers = NumberCount.objects.filter(check_ref__flat_id__in=flats, check_ref__is_void=False)
    for flat_id, check_id, run_id, dead, wilting in numbers.values_list(
        "check_ref__flat_id", "check_ref_id", "run_id", "dead_count", "wilting_count"
    ):
        flats[flat_id].numbers.append((check_id, run_id, dead, wilting))


def _read_leavings(flats: dict[int, FlatFacts]) -> None:
    """Read what left by number, and what of it came into these flats."""
    for _pk, flat_id, to_flat_id, day, run_id, plants in sorted(set(_LEAVINGS.rows(flats))):
        if flat_id in flats:
            flats[flat_id].left.append((run_id, day, plants))
        if to_flat_id in flats:
            flats[to_flat_id].pools.append((run_id, day, plants))


def _read_tallies(flats: dict[int, FlatFacts]) -> None:
    tallies = TallyRow.objects.standing().filter(flat_id__in=flats)
    for flat_id, run_id, day, grafted, alive, wilting in tallies.values_list(
        "flat_id", "run_id", "checked_on", "grafted", "alive", "wilting"
    ):
        flats[flat_id].tallies.append((run_id, day, grafted, alive, wilting))


def _read_runs(flats: dict[int, FlatFacts]) -> dict[int, RunFact]:
    """Return the runs of these flats, and of the plants moved into them."""
    wanted = {cell.run_id for facts in flats.values() for cell in facts.cells}
    wanted |= {run_id for facts in flats.values() for run_id, *_ in (*facts.pools, *facts.left)}
    rows = {row[0]: row for row in _RUNS_OF_FLATS.rows(flats)}
    rows |= {row[0]: row for row in _RUNS.rows(wanted - rows.keys())}
    severed = _severed_on([pk for pk, row in rows.items() if row[_METHOD] == "tongue"])
    seasons = list(Season.objects.order_by("starts_on").values_list("id", "starts_on", "ends_on"))
    return {pk: _run_fact(row, severed, seasons) for pk, row in rows.items()}


def _severed_on(run_ids: list[int]) -> dict[int, date]:
    if not run_ids:
        return {}
    events = Severing.objects.standing().filter(run_id__in=run_ids).order_by("-severed_on")
    return dict(events.values_list("run_id", "severed_on"))


def _run_fact(
    row: tuple[Any, ...], severed: dict[int, date], seasons: list[tuple[int, date, date]]
) -> RunFact:
    pk, flat_id, number, pairing_id, method, grafted_on, record_days, origin, season_id = row
    season_id = season_id or next(
        (key for key, starts_on, ends_on in seasons if starts_on <= grafted_on <= ends_on), None
    )
    counts_from = grafted_on
    if method == "tongue" and origin != Flat.Origin.TALLY:  # when a past season severed is not known
        counts_from = severed.get(pk)
    record_on = record_day_on(counts_from, record_days) if counts_from else None
    return RunFact(pk, flat_id, number, pairing_id, season_id, grafted_on, record_on)


def flat_ids_of_codes(codes: Iterable[str]) -> dict[str, int]:
    """Return the keys of the flats that bear these codes; unknown codes are missing."""
    return dict(_FLATS_OF_CODES.rows(codes))


# What is asked for with every batch of marks, by the keys of flats.
_FLATS = by_id(lambda keys: Flat.objects.filter(pk__in=keys).order_by().values_list("id", "code", "origin"))
_FLATS_OF_CODES = by_text(
    lambda codes: Flat.objects.kept().filter(code__in=codes).order_by().values_list("code", "id")
)
_CELLS = by_id(
    lambda keys: Cell.objects.filter(flat_id__in=keys)
    .order_by("place_no", "graft_no")
    .values_list(
        "flat_id", "id", "run_id", "place_no", "graft_no", "is_present", "came_by__day",
        "moved_to__came_by__day",
    )
)  # fmt: skip
_CHECKS = by_id(
    lambda keys: (
        Check.objects.standing()
        .filter(flat_id__in=keys)
        .order_by()
        .values_list("flat_id", "id", "day", "kind", "seen_places", "is_closed", "cause", "leaving")
    )
)
_MARKS = by_id(
    lambda keys: Mark.objects.filter(check_ref__flat_id__in=keys, check_ref__is_void=False)
    .order_by()
    .values_list(
        "check_ref__flat_id", "check_ref_id", "check_ref__day", "cell_id", "uuid", "kind", "state",
        "replaces", "cause", "check_ref__cause",
    )
)  # fmt: skip
_LEAVINGS = by_id(
    lambda keys: LeavingCount.objects.filter(
        Q(leaving__flat__in=keys) | Q(leaving__to_flat__in=keys),
        leaving__in=Leaving.objects.standing().by_number(),
    )
    .order_by()
    .values_list(
        "id", "leaving__flat_id", "leaving__to_flat_id", "leaving__day", "run_id", "plants_count"
    )
)  # fmt: skip
_RUN = (
    "id", "flat_id", "number", "pairing_id", "method", "grafted_on", "pairing__record_days", "flat__origin",
    "flat__season_id",
)  # fmt: skip
_METHOD = _RUN.index("method")
_RUNS_OF_FLATS = by_id(lambda keys: Run.objects.filter(flat_id__in=keys).order_by().values_list(*_RUN))
_RUNS = by_id(lambda keys: Run.objects.filter(pk__in=keys).order_by().values_list(*_RUN))
