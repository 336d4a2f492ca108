"""The reference fold: what the marks of a flat amount to, written from the design's words alone.

It shares no code with the program and imports nothing of it, so that the two can only agree by both being
right. It is slow and plain on purpose: every question is asked of the whole history anew, no order of
arrival is looked at, and no clock.

A history is a dict of plain values::

    {"seasons":  {name: (first day, last day)},
     "runs":     {number: {"pairing", "grafted_on", "record_on", "cells": ["1", "2", "2.2"]}},
     "checks":   {check: {"day", "kind": "whole" | "part" | "numbers", "places": [1, 2], "void": False}},
     "marks":    {uuid: {"check", "cell", "kind": "seen" | "undo" | "correction", "state", "replaces"}},
     "closings": {uuid: {"check", "kind": "close" | "reopen", "replaces", "known": [mark, ...]}},
     "numbers":  {(check, run): {"dead": 3, "wilting": 1}},
     "left":     [{"run", "day", "plants"}]}   plants that left by number; may be missing

A check with ``"is_leaving": True`` only says which cells left: it is no look at the others. A closing whose
``"known"`` is missing or None does not tell which marks its author could see.

A cell is named "17", or "17.2" for the second graft in place 17.
"""

from datetime import timedelta

WORST_FIRST = ["dead", "gone", "wilting", "firm", "unmarked"]
EARLY_DAYS = 7


def place_of(cell):
    """The place in which a cell stands: 17 for "17" and for "17.2"."""
    return int(cell.split(".")[0])


# --- what replaces what -------------------------------------------------------------------------------


def reached_from(start, replaces):
    """Every event that ``start`` replaces, straight or through others."""
    reached, waiting = set(), [start]
    while waiting:
        for older in replaces[waiting.pop()]:
            if older not in reached:
                reached.add(older)
                waiting.append(older)
    return reached


def unreplaced(events):
    """The uuids nobody replaced. Unknown names are ignored; inside a circle nobody has replaced anybody."""
    replaces = {uuid: [r for r in event["replaces"] if r in events] for uuid, event in events.items()}
    reach = {uuid: reached_from(uuid, replaces) for uuid in events}
    replaced = {
        older for newer in events for older in replaces[newer] if newer not in reach[older] and newer != older
    }
    return set(events) - replaced


# --- one cell -----------------------------------------------------------------------------------------


def standing_marks(history, cell, day):
    """The marks of one cell in the standing checks of ``day`` or earlier (None: of every day)."""
    checks = history["checks"]
    return {
        uuid: mark
        for uuid, mark in history["marks"].items()
        if mark["cell"] == cell
        and not checks[mark["check"]]["void"]
        and (day is None or checks[mark["check"]]["day"] <= day)
    }


def fold(marks):
    """(state, do the open marks disagree, the open marks' uuids) of one cell's marks."""
    open_uuids = unreplaced(marks)
    said = {marks[uuid]["state"] for uuid in open_uuids}
    state = next((state for state in WORST_FIRST if state in said), "unmarked")
    return state, len(said) > 1, open_uuids


def cell_states(history, day=None):
    """{cell: (state, disagreement, open uuids)} at the end of ``day`` (None: of all days)."""
    cells = [cell for run in history["runs"].values() for cell in run["cells"]]
    return {cell: cell_state(history, cell, day) for cell in cells}


def cell_state(history, cell, day):
    """(state, do people disagree, open uuids) of one cell at the end of ``day``.

    They disagree where open marks do, or where an open mark says dead and a closing says seen alive.
    """
    state, disagreement, open_uuids = fold(standing_marks(history, cell, day))
    return state, disagreement or bool(seen_alive_against(history, cell, day)), open_uuids


def first_gone_on(history, marks, open_uuids):
    """The earliest day on which an open mark says that the plant left."""
    return min(history["checks"][marks[u]["check"]]["day"] for u in open_uuids if marks[u]["state"] == "gone")


# --- seen alive, by closing a check -------------------------------------------------------------------


def standing_closings(history, check):
    """The closings of a check that no reopening has taken back."""
    own = {uuid: event for uuid, event in history["closings"].items() if event["check"] == check}
    taken_back = {uuid for event in own.values() if event["kind"] == "reopen" for uuid in event["replaces"]}
    return {uuid: e for uuid, e in own.items() if e["kind"] == "close" and uuid not in taken_back}


def stands_that_day(history, cell, day):
    """Is this the graft that surely stood in its place that day: grafted by then, none grafted over it?"""
    grafted_on = {cell: run["grafted_on"] for run in history["runs"].values() for cell in run["cells"]}
    over = [c for c in grafted_on if place_of(c) == place_of(cell) and graft_of(c) > graft_of(cell)]
    return grafted_on[cell] <= day and all(day < grafted_on[other] for other in over)


def graft_of(cell):
    return int(cell.partition(".")[2] or 1)


def says_seen_alive(history, check, cell, day):
    """Does the closed check say that it saw this cell alive, as the marks up to ``day`` let it be read?

    One of its closings tells what it knew; it looked at the place; it bears no mark of the cell; and what its
    closings knew of the cell does not make it dead or gone already.
    """
    entry, closings = history["checks"][check], standing_closings(history, check)
    known = [set(closing["known"]) for closing in closings.values() if closing.get("known") is not None]
    if not known or entry["void"] or not is_look_at_cells(history, check):
        return False
    if entry["kind"] == "part" and place_of(cell) not in entry["places"]:
        return False
    if not stands_that_day(history, cell, entry["day"]):
        return False
    marks = standing_marks(history, cell, day)
    if check in [mark["check"] for mark in marks.values()]:
        return False
    seen = {uuid: mark for uuid, mark in marks.items() if uuid in set().union(*known)}
    return fold(seen)[0] not in ("dead", "gone")


def names(marks, uuid):
    """All that a mark names, itself or by the marks that it replaces."""
    replaces = {uuid: [r for r in mark["replaces"] if r in marks] for uuid, mark in marks.items()}
    chain = {uuid} | reached_from(uuid, replaces)
    return {name for link in chain for name in marks[link]["replaces"]}


def seen_alive_against(history, cell, day):
    """The pairs (open mark that says dead, closed check that saw the cell alive); neither knew the other."""
    marks = standing_marks(history, cell, day)
    pairs = set()
    for check, entry in history["checks"].items():
        if (day is None or entry["day"] <= day) and says_seen_alive(history, check, cell, day):
            closings = set(standing_closings(history, check))
            for uuid in unreplaced(marks):
                mark = marks[uuid]
                is_earlier = history["checks"][mark["check"]]["day"] <= entry["day"]
                if mark["state"] == "dead" and is_earlier and not names(marks, uuid) & closings:
                    pairs.add((uuid, check))
    return pairs


# --- one check and one day ----------------------------------------------------------------------------


def is_closed(history, check):
    """Is the check closed: was it closed once more than reopenings have taken back by name?"""
    return bool(standing_closings(history, check))


def checks_of(history, day):
    """The standing checks of one day."""
    return [c for c, check in history["checks"].items() if check["day"] == day and not check["void"]]


def closed_checks_of(history, day):
    return [check for check in checks_of(history, day) if is_closed(history, check)]


def is_looked_at(history, cell, day):
    """Did somebody look at the cell that day?

    A closed whole check looks at every cell, a closed part check at its places; a tap is a look in any
    check, unless an undo has taken it back by the end of that day.
    """
    checks = history["checks"]
    for check in closed_checks_of(history, day):
        kind, places = checks[check]["kind"], checks[check]["places"]
        if kind == "whole" or (kind == "part" and place_of(cell) in places):
            return True
    marks = standing_marks(history, cell, day)
    undone = {uuid for mark in marks.values() if mark["kind"] == "undo" for uuid in mark["replaces"]}
    return any(
        mark["kind"] == "seen" and checks[mark["check"]]["day"] == day and uuid not in undone
        for uuid, mark in marks.items()
    )


def count_by_cells(history, run, day):
    """The counts of one run on one day as its cells show them."""
    counts = dict.fromkeys(["seen", "alive", "wilting", "dead", "gone", "gone_early"], 0)
    counts |= {"grafted": len(run["cells"]), "source": "cells", "has_disagreement": False}
    for cell in run["cells"]:
        marks = standing_marks(history, cell, day)
        state, disagreement, open_uuids = cell_state(history, cell, day)
        counts["has_disagreement"] = counts["has_disagreement"] or disagreement
        if state == "dead":
            counts["dead"] += 1
        elif state == "gone":
            counts["gone"] += 1
            early_until = run["grafted_on"] + timedelta(days=EARLY_DAYS)
            counts["gone_early"] += first_gone_on(history, marks, open_uuids) < early_until
        elif is_looked_at(history, cell, day):
            counts["alive"] += 1
            counts["wilting"] += state == "wilting"
    counts["seen"] = counts["alive"] + counts["dead"] + counts["gone"]
    return counts


def is_look_at_cells(history, check):
    """Does the check look at cells? One by numbers does not, nor one that only says which cells left."""
    entry = history["checks"][check]
    return entry["kind"] != "numbers" and not entry.get("is_leaving")


def numbers_of(history, run_number, day):
    """The (dead, wilting) that stand for a run's day by numbers, or None.

    They stand only where no check by cells was closed that day. Of several the worse counts.
    """
    closed = closed_checks_of(history, day)
    if any(is_look_at_cells(history, check) for check in closed):
        return None
    given = [history["numbers"][(c, run_number)] for c in closed if (c, run_number) in history["numbers"]]
    return max(((n["dead"], n["wilting"]) for n in given), default=None)


def seen_whole_by_cells(history, first, last):
    """Was the whole flat seen by cells on a day after ``first``, up to ``last``?"""
    days = {check["day"] for check in history["checks"].values() if first < check["day"] <= last}
    closed = [check for day in days for check in closed_checks_of(history, day)]
    return any(
        history["checks"][check]["kind"] == "whole" and is_look_at_cells(history, check) for check in closed
    )


def dead_known_by_numbers(history, run_number, day):
    """How many were last counted dead by numbers before ``day``: they stay known until the whole is seen."""
    before = sorted({check["day"] for check in history["checks"].values() if check["day"] < day})
    for earlier in reversed(before):
        numbers = numbers_of(history, run_number, earlier)
        if numbers is not None:
            return 0 if seen_whole_by_cells(history, earlier, day) else numbers[0]
    return 0


def let_leave(history, run_number, day, counts):
    """Take away, one by one, the plants that left by number.

    One goes that nobody saw; else one seen alive; else one called dead, and then people disagree.
    """
    grafted_on = history["runs"][run_number]["grafted_on"]
    for leaving in sorted(history.get("left", []), key=lambda leaving: leaving["day"]):
        if leaving["run"] != run_number or leaving["day"] > day:
            continue
        for _plant in range(leaving["plants"]):
            unseen = counts["grafted"] - counts["alive"] - counts["dead"] - counts["gone"]
            if unseen == 0 and counts["alive"] == 0 and counts["dead"] == 0:
                break
            if unseen == 0 and counts["alive"] == 0:
                counts["dead"] -= 1
                counts["has_disagreement"] = True
            elif unseen == 0:
                counts["alive"] -= 1
            counts["gone"] += 1
            counts["gone_early"] += leaving["day"] < grafted_on + timedelta(days=EARLY_DAYS)
    counts["wilting"] = min(counts["wilting"], counts["alive"])
    counts["seen"] = counts["alive"] + counts["dead"] + counts["gone"]


def count_day(history, run_number, day):
    """The counts of one run on one day."""
    counts = count_by_cells(history, history["runs"][run_number], day)
    numbers = numbers_of(history, run_number, day)
    if numbers is None:
        known = dead_known_by_numbers(history, run_number, day)
        more = min(max(0, known - counts["dead"]), counts["grafted"] - counts["seen"])
        counts["dead"] += more
        counts["seen"] += more
    let_leave(history, run_number, day, counts)
    if numbers is not None:
        dead, wilting = numbers
        standing = counts["grafted"] - counts["gone"]
        counts["dead"] = min(max(dead, counts["dead"]), standing)
        counts["alive"] = standing - counts["dead"]
        counts["wilting"] = min(wilting, counts["alive"])
        counts["seen"] = counts["grafted"]
        counts["source"] = "numbers"
    return counts


# --- every day ----------------------------------------------------------------------------------------


def season_of(history, run):
    """The season in which a run was grafted, or None."""
    seasons = history["seasons"].items()
    return next((name for name, (first, last) in seasons if first <= run["grafted_on"] <= last), None)


def day_counts(history):
    """{(run, day): counts and flags}, a row for each run grafted by a day with a standing check."""
    left_on = {leaving["day"] for leaving in history.get("left", [])}
    days = sorted({check["day"] for check in history["checks"].values() if not check["void"]} | left_on)
    rows = {}
    for number, run in history["runs"].items():
        has_record = False
        for day in days:
            if run["grafted_on"] > day:
                continue
            row = count_day(history, number, day)
            row |= {"pairing": run["pairing"], "season": season_of(history, run)}
            row["is_closed"] = bool(closed_checks_of(history, day)) or day in left_on
            is_final = day >= run["record_on"] or row["alive"] == 0
            is_complete = row["seen"] == row["grafted"]
            row["is_record"] = row["is_closed"] and is_complete and is_final and not has_record
            has_record = has_record or row["is_record"]
            rows[number, day] = row
    return rows
