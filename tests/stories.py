"""Hypothesis strategies: what may happen to a small flat, told as a history for the reference fold.

Some people with a tablet each look at one flat. Each sees what had reached the server when the tablet last
asked. Most marks name what their author could see, as an honest tablet does; some name anything: marks that
come later, marks of other cells, closings, unknown marks, themselves. In ``crews`` all tablets are honest. A
history holds what ``tests.oracle`` reads, and beside it for each check its device and its local time, which
the fold has no use for.
"""

import random
from datetime import date, time
from hashlib import md5
from uuid import UUID

from hypothesis import strategies as st

from tests import oracle

# Day 7 and the record day of both runs, the days before them, the day of either grafting and the day before.
DAYS = [date(2026, 3, day) for day in (16, 9, 8, 1, 2, 10, 15, 17, 19, 20, 30)]
RUNS = {
    1: {
        "pairing": "A",
        "grafted_on": date(2026, 3, 2),
        "record_on": date(2026, 3, 16),
        "cells": ["1", "2", "3"],
    },
    2: {
        "pairing": "B",
        "grafted_on": date(2026, 3, 10),
        "record_on": date(2026, 3, 20),
        "cells": ["2.2", "3.2"],
    },
}
SEASONS = {"Spring": (date(2026, 1, 1), date(2026, 3, 9))}
CELLS = [cell for run in RUNS.values() for cell in run["cells"]]
STATES = ["dead", "wilting", "firm", "gone", "unmarked"]
DEVICES = range(3)


def uuid_of(kind, number):
    """A UUIDv4 that tells nothing of the order in which things happened, the same in every run."""
    return str(UUID(bytes=md5(f"{kind} {number}".encode()).digest(), version=4))


@st.composite
def histories(draw, max_marks=16, max_checks=5):
    days = draw(_some_of(DAYS))
    checks = draw(st.lists(_checks(days), min_size=1, max_size=max_checks))
    history = {
        "seasons": SEASONS,
        "runs": RUNS,
        "checks": {uuid_of("check", number): check for number, check in enumerate(checks)},
        "marks": {},
        "closings": {},
        "numbers": {},
    }
    _make_marks(draw, history, max_marks)
    _close_checks(draw, history)
    _write_numbers(draw, history)
    return history


def _some_of(things):
    """A few of many, so that what happens meets in one place, and yet everything has its turn."""
    return st.lists(st.sampled_from(things), min_size=1, max_size=3, unique=True)


def _checks(days):
    return st.fixed_dictionaries(
        {
            "day": st.sampled_from(days),
            "kind": st.sampled_from(["whole", "numbers", "part"]),
            "places": st.lists(st.sampled_from([1, 2, 3]), unique=True),
            "void": st.sampled_from([False] * 7 + [True]),
            "device": st.sampled_from(DEVICES),
            "time": st.sampled_from([time(12, 0), time(0, 5), time(23, 55)]),
        }
    )


def _make_marks(draw, history, max_marks):
    """Let devices mark cells, each knowing what it last fetched."""
    known = {device: set() for device in DEVICES}
    count = draw(st.integers(0, max_marks))
    cells = draw(st.one_of(_some_of(CELLS), st.just(CELLS)))
    for number in range(count):
        device = draw(st.sampled_from(DEVICES))
        if draw(st.booleans()):
            known[device] = set(history["marks"])
        cell = draw(st.sampled_from(cells))
        uuid = uuid_of("mark", number)
        history["marks"][uuid] = {
            "check": draw(st.sampled_from(sorted(history["checks"]))),
            "cell": cell,
            "kind": draw(st.sampled_from(["seen", "seen", "undo", "correction"])),
            "state": draw(st.sampled_from(STATES)),
            "replaces": _honest(history, cell, known[device])
            + draw(_any_names("mark", count))
            + draw(_any_names("closing", 4)),
        }
        known[device].add(uuid)


def _honest(history, cell, known):
    """The marks of the cell that somebody who knows of ``known`` sees standing."""
    seen = {uuid: history["marks"][uuid] for uuid in known if history["marks"][uuid]["cell"] == cell}
    return sorted(oracle.unreplaced(seen))


def _any_names(kind, count):
    """Mostly nothing; else names of marks made before and after, of this and of other cells, or unknown."""
    names = st.integers(0, count + 1).map(lambda number: uuid_of(kind, number))
    return st.one_of(st.just([]), st.just([]), st.lists(names, min_size=1, max_size=3))


def _close_checks(draw, history):
    """Close most checks, some twice; let some be opened again by one who saw some of the closings."""
    number = 0
    for check in history["checks"]:
        for kind in draw(st.sampled_from([["close"], [], ["close", "reopen"], ["close", "close", "reopen"]])):
            named = draw(_any_names("closing", number)) if kind == "reopen" else []
            if kind == "reopen" and draw(st.booleans()):
                named = [*named, uuid_of("closing", number - 1)]
            entry = {"check": check, "kind": kind, "replaces": named, "known": draw(_known(history))}
            history["closings"][uuid_of("closing", number)] = entry
            number += 1


def _known(history):
    """What a closing tells that its author knew: nothing is told, or no mark, or some, or all."""
    marks = sorted(history["marks"])
    some = st.lists(st.sampled_from(marks), unique=True) if marks else st.just([])
    return st.one_of(st.none(), st.just([]), some, st.just(marks))


def _write_numbers(draw, history):
    for check, entry in history["checks"].items():
        for run in RUNS:
            if entry["kind"] == "numbers" and draw(st.booleans()):
                counts = {"dead": draw(st.integers(0, 4)), "wilting": draw(st.integers(0, 4))}
                history["numbers"][check, run] = counts


@st.composite
def crews(draw):
    """Histories of two to four honest tablets, with and without network, which close with what they knew.

    A tablet with network gives what it has and gets what the others gave. What it marks names all that it
    knows of the cell: the open marks, and the closings of checks that saw it.
    """
    history = {"seasons": SEASONS, "runs": RUNS, "checks": {}, "marks": {}, "closings": {}, "numbers": {}}
    crew = [Tablet(history, number) for number in range(draw(st.integers(2, 4)))]
    days = sorted(draw(_some_of(DAYS[:1] + DAYS[5:])))
    cells = draw(_some_of(CELLS))
    server = set()
    for _ in range(draw(st.integers(4, 18))):
        tablet = draw(st.sampled_from(crew))
        act = draw(st.sampled_from(["meet", "mark", "mark", "mark", "undo", "close", "close", "reopen"]))
        if act == "meet":
            tablet.meet(server)
        elif act == "reopen":
            tablet.reopen()
        elif act == "close":
            tablet.close(draw(st.sampled_from(days)), draw(st.sampled_from(["whole", "whole", "part"])))
        else:
            state = draw(st.sampled_from(["dead", "dead", "wilting", "firm", "gone"]))
            tablet.mark(
                draw(st.sampled_from(days)), draw(st.sampled_from(cells)), state, takes_back=act == "undo"
            )
    return history


class Tablet:
    """An honest tablet: what it knows of the marks and closings of a history, and the check it is in."""

    def __init__(self, history, number):
        self.history, self.number = history, number
        self.known, self.check = set(), None

    def meet(self, server):
        server |= self.known
        self.known |= server

    def _open(self, day, kind="whole"):
        if self.check is None:
            self.check = uuid_of("check", len(self.history["checks"]))
            fields = {"day": day, "kind": kind, "places": [1, 2] if kind == "part" else [], "void": False}
            self.history["checks"][self.check] = {**fields, "device": self.number, "time": time(12, 0)}

    def mark(self, day, cell, state, *, takes_back):
        self._open(day)
        own = {
            uuid: m for uuid, m in self.history["marks"].items() if uuid in self.known and m["cell"] == cell
        }
        standing, kind = sorted(oracle.unreplaced(own)), "seen"
        if takes_back and standing:
            kind, replaced = "undo", own[standing[0]]["replaces"]
            state = next((own[uuid]["state"] for uuid in replaced if uuid in own), "unmarked")
        uuid = uuid_of("mark", len(self.history["marks"]))
        entry = {"check": self.check, "cell": cell, "kind": kind, "state": state}
        self.history["marks"][uuid] = entry | {"replaces": [*standing, *self._closings_of(cell)]}
        self.known.add(uuid)

    def _closings_of(self, cell):
        checks = self.history["checks"]
        return [
            uuid
            for uuid, closing in sorted(self.history["closings"].items())
            if uuid in self.known
            and (checks[closing["check"]]["kind"] == "whole" or oracle.place_of(cell) in (1, 2))
        ]

    def close(self, day, kind):
        self._open(day, kind)
        marks = sorted(self.known & self.history["marks"].keys())
        uuid = uuid_of("closing", len(self.history["closings"]))
        entry = {"check": self.check, "kind": "close", "replaces": [], "known": marks}
        self.history["closings"][uuid] = entry
        self.known.add(uuid)
        self.check = None

    def reopen(self):
        """Open the check again whose closing this tablet knows, if it is in no other."""
        closings = self.history["closings"]
        last = max((uuid for uuid in self.known if uuid in closings), default=None)
        if self.check is None and last is not None:
            self.check = closings[last]["check"]
            own = [u for u in sorted(self.known) if u in closings and closings[u]["check"] == self.check]
            entry = {"check": self.check, "kind": "reopen", "replaces": own, "known": None}
            closings[uuid_of("closing", len(closings))] = entry


def rare_history():
    """One history with the things in it that chance seldom brings together."""
    noon = {"places": [], "void": False, "device": 0, "time": time(12, 0)}
    open_day_6, day_7, open_10 = uuid_of("rare", 0), uuid_of("rare", 1), uuid_of("rare", 2)
    numbers, others, void = uuid_of("rare", 3), uuid_of("rare", 4), uuid_of("rare", 5)
    whole, part = uuid_of("rare", 6), uuid_of("rare", 7)
    first, later = sorted([uuid_of("rare", 8), uuid_of("rare", 9)], reverse=True)
    look_6, look_10, shut = uuid_of("rare", 10), uuid_of("rare", 11), uuid_of("rare", 12)

    def check(day, kind="whole", **fields):
        return {**noon, "day": date(2026, 3, day), "kind": kind, **fields}

    def mark(check, cell, state, kind="seen", replaces=()):
        return {"check": check, "cell": cell, "kind": kind, "state": state, "replaces": list(replaces)}

    def closing(check, kind="close", replaces=()):
        return {"check": check, "kind": kind, "replaces": list(replaces)}

    return {
        "seasons": SEASONS,
        "runs": RUNS,
        "checks": {
            open_day_6: check(8),
            day_7: check(9),
            open_10: check(10),
            numbers: check(15, "numbers"),
            others: check(15, "numbers"),
            void: check(15, "numbers", void=True),
            whole: check(16),
            part: check(16, "part", places=[1]),
        },
        "marks": {
            first: mark(open_day_6, "1", "gone"),  # of two that left open, the earlier is not the smaller
            later: mark(day_7, "1", "gone"),
            uuid_of("rare", 13): mark(day_7, "2", "gone"),
            look_6: mark(open_day_6, "3", "firm"),
            uuid_of("rare", 14): mark(open_day_6, "3", "unmarked", "undo", [look_6]),
            look_10: mark(open_10, "3", "wilting"),
            uuid_of("rare", 15): mark(open_day_6, "3", "firm", "undo", [look_10]),  # of an earlier day
        },
        "closings": {
            uuid_of("rare", 16): closing(day_7),
            uuid_of("rare", 17): closing(numbers),
            uuid_of("rare", 18): closing(others),
            uuid_of("rare", 19): closing(void),
            shut: closing(whole),
            uuid_of("rare", 20): closing(part),
            uuid_of("rare", 21): closing(part, "reopen", [shut]),  # names the closing of another check
        },
        "numbers": {
            (numbers, 2): {"dead": 0, "wilting": 2},
            (others, 2): {"dead": 1, "wilting": 0},
            (void, 2): {"dead": 2, "wilting": 0},
        },
    }


# --- how it reaches the server ------------------------------------------------------------------------


def parts_of(history):
    """Each thing that can reach the server by itself, as (kind, key)."""
    parts = [("check", check) for check in history["checks"]]
    parts += [("void", check) for check, entry in history["checks"].items() if entry["void"]]
    return parts + [(kind[:-1], key) for kind in ("marks", "closings", "numbers") for key in history[kind]]


@st.composite
def histories_with_leavings(draw):
    """Histories in which plants also leave: by cells (a part check that is no look) and by number."""
    history = draw(histories(max_marks=12))
    for check in history["checks"].values():
        check["is_leaving"] = check["kind"] == "part" and draw(st.booleans())
    leaving = st.fixed_dictionaries(
        {"run": st.sampled_from(list(RUNS)), "day": st.sampled_from(DAYS), "plants": st.integers(1, 3)}
    )
    return {**history, "left": draw(st.lists(leaving, max_size=3))}


@st.composite
def deliveries(draw, history):
    """Everything of a history at least once, shuffled, some of it again, in chunks as they arrive."""
    chance = random.Random(draw(st.integers(0, 2**32)))
    parts = parts_of(history)
    parts += chance.choices(parts, k=chance.randint(0, len(parts)))
    chance.shuffle(parts)
    chunks = []
    while parts:
        size = chance.choice([1, 3, 8, 40])
        chunks.append(parts[:size])
        parts = parts[size:]
    return chunks


def arrived(history, parts):
    """The part of a history that these parts tell. A check arrives with whatever first belongs to it."""
    parts, table = set(parts), {}
    for kind, name in (("mark", "marks"), ("closing", "closings"), ("number", "numbers")):
        table[name] = {key: entry for key, entry in history[name].items() if (kind, key) in parts}
    named = {key for kind, key in parts if kind in {"check", "void"}}
    named |= {entry["check"] for name in ("marks", "closings") for entry in table[name].values()}
    named |= {check for check, _run in table["numbers"]}
    checks = {
        check: {**entry, "void": ("void", check) in parts}
        for check, entry in history["checks"].items()
        if check in named
    }
    return {**history, **table, "checks": checks}
