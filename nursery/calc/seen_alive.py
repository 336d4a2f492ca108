"""Seen alive against dead: the disagreement between a closed check and a mark that it did not know.

Who closes a check and tells which marks were to be seen says more than the marks of that check: the cells
that were left alone were seen alive. A tablet elsewhere may have called one of them dead meanwhile. Then two
people who looked say different things of one plant, though no two marks stand against each other. The worse
counts, as ever: dead, in disagreement, until somebody settles it.

A closed check is a look at each cell that it saw. It speaks of a cell only if it bears no mark of that cell,
and if the marks of the cell that its closings knew do not already say dead or gone: what was known to be dead
is left alone for that. An open mark "dead" stands against such a look if it was made in another check, of the
same day or an earlier one, and its author did not know of the closings either: neither the mark nor one that
it replaces, straight or through others, names one of them. What is dead on a later day may have lived before.

For a past day the looks of that day and earlier speak, with the marks of that day and earlier. Nothing is
asked of a clock, nor of the order of arrival.

Worked example. On 9 March Ana's tablet, in the far bay without network, marks the cell dead (mark a). Ben
looks at the whole flat that day, touches nothing there and closes (closing c, which knew no mark). Ana's
tablet comes home: a does not name c, c did not know a. Dead, in disagreement; in whatever order both came.
Wren goes and looks: alive. Her mark (d: firm, replaces a and c) leaves d alone open: firm, no disagreement.
Had Ben's tablet known a, it would have drawn the cell dead, and his closing would say nothing of it. Had Ana
seen that Ben had closed, her mark would name c: then she is the later one, and nobody is against her.

Sources: the rule is this project's own; as in ``calc.fold``, who knew what is told, not guessed from times.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from nursery.calc.fold import CellFold, MarkFact, fold_cell

SEES_NOTHING_IN = ("dead", "gone")


@dataclass(frozen=True, slots=True)
class Look:
    """A closed check that saw a cell: its key, its day, its closings that stand, all the marks they knew."""

    check: int
    day: date
    closings: frozenset[str]
    known: frozenset[str]


def doubts(fold: CellFold, marks: Sequence[MarkFact], looks: Iterable[Look]) -> list[tuple[MarkFact, Look]]:
    """Return each open mark "dead" with each look that saw the cell alive and did not know of it.

    Parameters
    ----------
    fold : CellFold
        The fold of ``marks``.
    marks : sequence of MarkFact
        The marks of the cell that count, as for ``fold_cell``, each with its check.
    looks : iterable of Look
        The closed checks that told what they knew and saw the cell; for a past day, those up to that day.

    Returns
    -------
    list of (MarkFact, Look)
        Empty where nobody is against anybody: there the closings change nothing.

    Source
    ------
    This module's text.
    """
    if fold.state != "dead":
        return []
    alive = [look for look in looks if _saw_it_alive(look, marks)]
    if not alive:
        return []
    dead = [mark for mark in fold.open if mark.state == "dead"]
    by_uuid = {mark.uuid: mark for mark in marks}
    named = {mark.uuid: _named_by(mark, by_uuid) for mark in dead}
    return [
        (mark, look)
        for mark in dead
        for look in alive
        if mark.day <= look.day and not named[mark.uuid] & look.closings
    ]


def _saw_it_alive(look: Look, marks: Sequence[MarkFact]) -> bool:
    if any(mark.check == look.check for mark in marks):
        return False
    known = [mark for mark in marks if mark.uuid in look.known]
    return fold_cell(known).state not in SEES_NOTHING_IN


def _named_by(mark: MarkFact, by_uuid: Mapping[str, MarkFact]) -> set[str]:
    """Return all that a mark names, straight or through the marks that it replaces."""
    named: set[str] = set()
    pending = [mark.uuid]
    while pending:
        replaces = by_uuid[pending.pop()].replaces
        pending += {name for name in replaces if name not in named and name in by_uuid}
        named.update(replaces)
    return named


def fold_with_looks(marks: Sequence[MarkFact], looks: Sequence[Look]) -> CellFold:
    """Return the state of a cell as ``fold_cell`` does, in disagreement also where a look saw it alive."""
    fold = fold_cell(marks)
    if looks and not fold.disagreement and doubts(fold, marks, looks):
        return replace(fold, disagreement=True)
    return fold
