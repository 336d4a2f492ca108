"""One flat of four places, whose history is written line by line for the reference fold.

Run 1 was grafted on 2 March in places 1 to 4: its day 7 is 9 March, its record day 16 March. Run 2 is a
re-graft of 10 March in places 2 and 3 ("2.2", "3.2"), for the histories that ask for it.
"""

from datetime import date

from tests import oracle

RUN_1 = {
    "pairing": "A",
    "grafted_on": date(2026, 3, 2),
    "record_on": date(2026, 3, 16),
    "cells": ["1", "2", "3", "4"],
}
RUN_2 = {
    "pairing": "B",
    "grafted_on": date(2026, 3, 10),
    "record_on": date(2026, 3, 20),
    "cells": ["2.2", "3.2"],
}


def march(day):
    return date(2026, 3, day)


class Book:
    """Writes a history line by line."""

    def __init__(self, *runs):
        self.history = {
            "seasons": {"Spring": (march(1), march(9))},
            "runs": dict(enumerate(runs or [RUN_1], 1)),
            "checks": {},
            "marks": {},
            "closings": {},
            "numbers": {},
        }

    def check(self, name, day, kind="whole", *, places=(), void=False):
        self.history["checks"][name] = {
            "day": march(day),
            "kind": kind,
            "places": list(places),
            "void": void,
        }

    def mark(self, uuid, check, cell, state, *, kind="seen", replaces=()):
        entry = {"check": check, "cell": cell, "kind": kind, "state": state, "replaces": list(replaces)}
        self.history["marks"][uuid] = entry

    def close(self, uuid, check, known=None):
        entry = {"check": check, "kind": "close", "replaces": [], "known": known}
        self.history["closings"][uuid] = entry

    def reopen(self, uuid, check, *replaces):
        self.history["closings"][uuid] = {"check": check, "kind": "reopen", "replaces": list(replaces)}

    def numbers(self, check, run, dead, wilting):
        self.history["numbers"][check, run] = {"dead": dead, "wilting": wilting}

    def state(self, cell, day=None):
        return oracle.cell_states(self.history, day and march(day))[cell]

    def row(self, day, run=1):
        return oracle.day_counts(self.history)[run, march(day)]

    def counts(self, day, run=1):
        """grafted, seen, alive, wilting, dead, gone, gone early"""
        row = self.row(day, run)
        return tuple(row[c] for c in ("grafted", "seen", "alive", "wilting", "dead", "gone", "gone_early"))
