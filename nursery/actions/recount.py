"""Prove the counts: fold every mark again in plain Python and compare with what is stored.

Nothing of the writer's code is used here (``counting``, ``ledger``, ``calc.fold``, ``calc.days``): an error
there would otherwise prove itself. Slow and simple on purpose; it reads, and writes nothing.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from nursery.actions.recount_marks import plain_state, seen_alive_by, told_closings, unreplaced
from nursery.actions.recount_tallies import plain_tally_flats, tally_differences
from nursery.models import (
    Check,
    Closing,
    DayCount,
    Flat,
    Leaving,
    LeavingCount,
    Mark,
    Pairing,
    Run,
    Season,
    Severing,
    Voiding,
)

COLUMNS = (
    "pairing", "season", "grafted", "seen", "alive", "wilting", "dead", "gone", "gone_early", "source",
    "has_disagreement", "is_closed", "is_record",
)  # fmt: skip
_Counts = dict[str, Any]


def differences() -> Iterator[str]:
    """Yield a sentence for each stored count, flag or row that the marks do not bear out."""
    yield from tally_differences()
    others = Flat.objects.exclude(pk__in=plain_tally_flats().values("pk"))
    for flat in others.order_by("pk").iterator(chunk_size=500):
        yield from _wrong_closed_flags(flat)
        yield from _wrong_counts(flat)
        yield from _doubled(flat)


def _doubled(flat: Flat) -> Iterator[str]:
    """Yield what says that a plant stands in two flats, or in none: each that came must have gone."""
    cells = flat.cells.filter(moved_from__isnull=False)
    for cell in cells.select_related("moved_from", "came_by"):
        act, old = cell.came_by, cell.moved_from
        assert act is not None and old is not None
        if (act.flat_id, act.to_flat_id, cell.run_id) != (old.flat_id, flat.pk, old.run_id):
            yield f"{flat.code} place {cell.place_no}: came by an act that moved another plant"
        if Voiding.objects.filter(target_uuid=act.uuid).exists():
            yield f"{flat.code} place {cell.place_no}: the act by which it came was taken back"
    places = list(flat.cells.filter(is_present=True).values_list("place_no", flat=True))
    if len(places) != len(set(places)):
        yield f"{flat.code}: two plants in one place"
    for run_id, out in _moved_out(flat).items():
        gone = max((row.gone for row in DayCount.objects.filter(flat=flat, run=run_id)), default=0)
        if gone < out:
            yield f"{flat.code} run key {run_id}: {out} moved to other flats, but only {gone} are gone here"


def _moved_out(flat: Flat) -> dict[int, int]:
    """Return how many plants of each run stand in other flats by now, having stood here."""
    out: dict[int, int] = {}
    for leaving in Leaving.objects.filter(flat=flat, to_flat__isnull=False, check_ref=None):
        if not Voiding.objects.filter(target_uuid=leaving.uuid).exists():
            for count in leaving.counts.all():
                out[count.run_id] = out.get(count.run_id, 0) + count.plants_count
    for cell in flat.cells.filter(moved_to__isnull=False).select_related("run", "came_by"):
        if cell.came_by is None or cell.run.flat_id != flat.pk:  # one that came home is counted where it left
            out[cell.run_id] = out.get(cell.run_id, 0) + 1
    return out


def _wrong_closed_flags(flat: Flat) -> Iterator[str]:
    for check in Check.objects.filter(flat=flat):
        closings = list(Closing.objects.filter(check_ref=check))
        named = {uuid for closing in closings if closing.kind == "reopen" for uuid in closing.replaces}
        is_closed = any(closing.kind == "close" and str(closing.uuid) not in named for closing in closings)
        if check.is_closed != is_closed:
            yield f"{flat.code} check {check.uuid}: is_closed is {check.is_closed}, should be {is_closed}"
        valid = [one for one in closings if one.kind == "close" and str(one.uuid) not in named]
        saw, should = _saw(check.kind, check.seen_places), _should_have_seen(check, valid)
        if saw != should:
            yield f"{flat.code} check {check.uuid}: it saw {saw}, its closings say {should}"


def _saw(kind: str, places: list[int] | None) -> tuple[str, frozenset[int]]:
    return kind, frozenset(places or []) if kind == "part" else frozenset()


def _should_have_seen(check: Check, closings: list[Closing]) -> tuple[str, frozenset[int]]:
    """Return what the closings that stand say of a check: the most that one of them, or all parts, saw."""
    said = [_saw(one.seen, one.seen_places) for one in closings if one.seen]
    if len(said) < len(closings) or not closings:  # somebody closed it as it was opened
        opened = check.opened_as or {"kind": check.kind, "seen_places": check.seen_places}
        said.append(_saw(opened["kind"], opened["seen_places"]))
    if check.kind == "numbers":
        return _saw("numbers", None)
    if any(kind == "whole" for kind, _places in said):
        return _saw("whole", None)
    return "part", frozenset().union(*(places for _kind, places in said))


def _wrong_counts(flat: Flat) -> Iterator[str]:
    should = _expected(flat)
    for row in DayCount.objects.filter(flat=flat).select_related("run"):
        name = f"{flat.code} run {row.run.number} of flat {row.run.flat_id}, {row.day}"
        expected = should.pop((row.run_id, row.day), None)
        if expected is None:
            yield f"{name}: counted, but nothing bears it out"
            continue
        stored = {c: getattr(row, f"{c}_id" if c in {"pairing", "season"} else c) for c in COLUMNS}
        for column in COLUMNS:
            if stored[column] != expected[column]:
                yield f"{name}: {column} is {stored[column]}, should be {expected[column]}"
    for (run_id, day), _ in sorted(should.items()):
        yield f"{flat.code} run key {run_id}, {day}: not counted"


def _expected(flat: Flat) -> dict[tuple[int, date], _Counts]:
    """Return what DayCount should hold for this flat, by run and day."""
    should: dict[tuple[int, date], _Counts] = {}
    for tally in flat.tally_rows.filter(replaced_at__isnull=True):
        counts = {"grafted": tally.grafted, "seen": tally.grafted, "alive": tally.alive}
        counts |= {"wilting": tally.wilting, "dead": tally.grafted - tally.alive}
        should[tally.run_id, tally.checked_on] = _blank() | counts | {"source": "tally", "is_closed": True}
    checks = list(Check.objects.filter(flat=flat, is_void=False).prefetch_related("numbers"))
    leaving_checks = set(Leaving.objects.filter(check_ref__in=checks).values_list("check_ref_id", flat=True))
    book = _Book(
        flat=flat,
        checks=[check for check in checks if check.is_closed],
        leaving_checks=leaving_checks,
        cells=list(flat.cells.select_related("run", "came_by", "moved_to__came_by")),
        said=list(Mark.objects.filter(check_ref__in=checks).select_related("check_ref")),
        went=_by_number(flat=flat),
        came=_by_number(to_flat=flat),
        told=told_closings(checks),
    )
    went_on = {leaving_day for _, leaving_day, _ in book.went}
    for day in {check.day for check in checks} | went_on:
        was_closed = day in went_on or any(check.day == day for check in book.checks)
        for run_id, counts in _day(book, day).items():
            should[run_id, day] = counts | {"is_closed": was_closed}
    _finish(flat, should)
    return should


def _blank() -> _Counts:
    names = ("grafted", "seen", "alive", "wilting", "dead", "gone", "gone_early")
    flags = {"has_disagreement": False, "is_record": False, "source": "cells"}
    return dict.fromkeys(names, 0) | flags


@dataclass
class _Book:
    """Everything written about one flat; ``checks`` are the closed ones, ``went`` and ``came`` by number.

    ``told`` are the closings of those checks of which one tells what it knew.
    """

    flat: Flat
    checks: list[Check]
    leaving_checks: set[int]
    cells: list[Any]
    said: list[Mark]
    went: list[tuple[int, date, int]]
    came: list[tuple[int, date, int]]
    told: dict[int, list[Closing]]


def _by_number(**which: Flat) -> list[tuple[int, date, int]]:
    """Return run, day and plants of what left one flat, or came to it, by number."""
    found = []
    for leaving in Leaving.objects.filter(check_ref=None, **which).order_by("day", "pk"):
        if not Voiding.objects.filter(target_uuid=leaving.uuid).exists():
            counts = LeavingCount.objects.filter(leaving=leaving)
            found += [(count.run_id, leaving.day, count.plants_count) for count in counts]
    return found


def _day(book: _Book, day: date) -> dict[int, _Counts]:
    counts: dict[int, _Counts] = {}
    for cell in book.cells:
        begins = cell.came_by.day if cell.came_by else cell.run.grafted_on
        is_home_again = cell.came_by is not None and cell.run.flat_id == book.flat.pk
        if begins <= day and not is_home_again:
            marks = [mark for mark in book.said if mark.cell_id == cell.pk and mark.check_ref.day <= day]
            _add_cell(counts.setdefault(cell.run_id, _blank()), cell, marks, book=book, day=day)
    for run_id, came_on, plants in book.came:
        if came_on <= day:
            counts.setdefault(run_id, _blank())["grafted"] += plants
    for run_id in counts:
        said = _said_by_numbers(book, run_id, day)
        if said and said[0] < day:
            missing = counts[run_id]["grafted"] - counts[run_id]["seen"]
            more = sorted([0, said[1] - counts[run_id]["dead"], missing])[1]
            counts[run_id]["dead"] += more
            counts[run_id]["seen"] += more
        _let_go(counts[run_id], book, run_id, day)
        if said and said[0] == day:
            _overrule(counts[run_id], said[1], said[2])
    return counts


def _said_by_numbers(book: _Book, run_id: int, day: date) -> tuple[date, int, int] | None:
    """Return day, dead and wilting of the last count by numbers that nobody's look at the cells replaced."""
    looks = [c for c in book.checks if c.kind != "numbers" and c.pk not in book.leaving_checks]
    found = []
    for check in book.checks:
        if check.day > day or any(look.day == check.day for look in looks):
            continue
        if any(look.kind == "whole" and check.day < look.day <= day for look in looks):
            continue
        for number in check.numbers.all():
            if number.run_id == run_id:
                found.append((check.day, number.dead_count, number.wilting_count))
    return max(found, default=None)


def _let_go(counts: _Counts, book: _Book, run_id: int, day: date) -> None:
    """Let plants go one by one: one that nobody saw, else one seen alive, else one that was called dead."""
    grafted_on = Run.objects.get(pk=run_id).grafted_on
    for went_run, went_on, plants in book.went:
        if went_run != run_id or went_on > day:
            continue
        for _ in range(plants):
            if counts["seen"] < counts["grafted"]:
                counts["seen"] += 1
            elif counts["alive"] > 0:
                counts["alive"] -= 1
                counts["wilting"] = min(counts["wilting"], counts["alive"])
            elif counts["dead"] > 0:
                counts["dead"] -= 1
                counts["has_disagreement"] = True
            else:
                break
            counts["gone"] += 1
            counts["gone_early"] += went_on < grafted_on + timedelta(days=7)


def _add_cell(counts: _Counts, cell: Any, marks: list[Mark], *, book: _Book, day: date) -> None:
    left = unreplaced(marks)
    states = {mark.state for mark in left}
    state = plain_state(left)
    went_on = min((mark.check_ref.day for mark in left if mark.state == "gone"), default=None)
    moved_on = cell.moved_to.came_by.day if hasattr(cell, "moved_to") else None
    if moved_on and moved_on <= day and state != "gone":
        states, state, went_on = {*states, "gone", "elsewhere"}, "gone", moved_on
    counts["grafted"] += 1
    is_against = len(states) > 1 or _is_seen_alive(cell, marks, book=book, day=day)
    counts["has_disagreement"] = counts["has_disagreement"] or is_against
    if state in {"dead", "gone"}:
        counts["seen"] += 1
        counts[state] += 1
        if state == "gone":
            assert went_on is not None
            counts["gone_early"] += went_on < cell.run.grafted_on + timedelta(days=7)
    elif _was_seen(cell, marks, day=day, closed=[check for check in book.checks if check.day == day]):
        counts["seen"] += 1
        counts["alive"] += 1
        counts["wilting"] += state == "wilting"


def _is_seen_alive(cell: Any, marks: list[Mark], *, book: _Book, day: date) -> bool:
    """Return whether a closed check up to that day saw alive what a mark calls dead, and neither knew."""
    looks = [c for c in book.checks if c.day <= day and c.pk not in book.leaving_checks]
    return any(
        check.pk in book.told and seen_alive_by(check, book.told[check.pk], cell, marks, beside=book.cells)
        for check in looks
    )


def _was_seen(cell: Any, marks: list[Mark], *, day: date, closed: list[Check]) -> bool:
    for check in closed:
        if check.kind == "whole" or (check.kind == "part" and cell.place_no in (check.seen_places or [])):
            return True
    for mark in marks:
        if mark.kind == "seen" and mark.check_ref.day == day:
            undoes = [other for other in marks if other.kind == "undo" and str(mark.uuid) in other.replaces]
            if not undoes:
                return True
    return False


def _overrule(counts: _Counts, dead: int, wilting: int) -> None:
    """Put numbers in place of what the cells say, but never fewer dead than the cells show."""
    there = counts["grafted"] - counts["gone"]
    counts["dead"] = max(counts["dead"], dead) if dead <= there else there
    counts["alive"] = there - counts["dead"]
    counts["wilting"] = wilting if wilting <= counts["alive"] else counts["alive"]
    counts["seen"], counts["source"] = counts["grafted"], "numbers"


def _finish(flat: Flat, should: dict[tuple[int, date], _Counts]) -> None:
    """Add pairing and season, and flag the records."""
    has_record: set[int] = set()
    runs = Run.objects.in_bulk({run_id for run_id, _ in should})
    for (run_id, day), counts in sorted(should.items(), key=lambda item: item[0][1]):
        run = runs[run_id]
        counts |= {"pairing": run.pairing_id, "season": _season_of(run)}
        should[run_id, day] = counts
        complete = counts["is_closed"] and counts["seen"] == counts["grafted"]
        final = counts["alive"] == 0 or _is_due(run, day)
        if run.flat_id == flat.pk and run_id not in has_record and complete and final:
            counts["is_record"] = True
            has_record.add(run_id)


def _season_of(run: Run) -> int | None:
    if run.flat.season_id:
        return run.flat.season_id
    season = Season.objects.filter(starts_on__lte=run.grafted_on, ends_on__gte=run.grafted_on).first()
    return season.pk if season else None


def _is_due(run: Run, day: date) -> bool:
    begins = run.grafted_on
    if run.method == "tongue" and run.flat.origin == "marks":
        voided = Voiding.objects.values("target_uuid")
        cut = Severing.objects.filter(run=run).exclude(uuid__in=voided).order_by("severed_on").first()
        if cut is None:
            return False
        begins = cut.severed_on
    return (day - begins).days >= Pairing.objects.get(pk=run.pairing_id).record_days
