"""The state of one cell, folded from the marks that people made on it.

Marks come from several tablets, late, twice and in any order, and clocks disagree. So the fold asks no
clock. Each mark names the marks of that cell which its author could see and meant to replace. A mark that
nobody replaced is open. The open marks say the state:

- no marks at all: unmarked;
- all open marks of one state: that state;
- open marks of different states: a disagreement, and the worse counts, in the order dead, gone, wilting,
  firm, unmarked, until somebody who saw them all settles it.

An undo is a mark like any other; it repeats the state from before the one it takes back, "unmarked"
included. A mark that is itself replaced still replaces those it names. Names of unknown marks, and a mark
naming itself, are left out. Marks that replace each other in a circle cannot come from honest tablets;
among them nobody is replaced. What lies in a circle is what can be reached from itself: a replacement
counts only if it leads from one strongly connected group to another. Hence some mark is always open.

Worked example. Ana taps the cell dead (mark a). Ben, whose tablet has not heard of it, marks it wilting
(b). Neither names the other: dead, in disagreement. Ana undoes her tap (c: unmarked, replaces a): b and c
are open, wilting, still in disagreement. Ben's tablet has now seen all; he taps dead (d: replaces b and c,
as its author saw them): only d is open, dead, no disagreement. In any order of arrival, the same.

A mark may also name closings of checks. They are no marks, so here they are unknown names; what they say of a
cell that nobody marked, ``calc.seen_alive`` tells.

Sources: the rule is this project's own. Replacing only what was seen is the idea of the observed-remove
set, M. Shapiro et al. (2011), INRIA RR-7506. Strongly connected groups are found by the two-pass method of
S. R. Kosaraju, published in M. Sharir (1981), Comput Math Appl 7, 67-72.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

UNMARKED = "unmarked"
WORST_FIRST = ("dead", "gone", "wilting", "firm", UNMARKED)
KINDS = ("seen", "undo", "correction")

_RANK = {state: rank for rank, state in enumerate(WORST_FIRST)}


@dataclass(frozen=True, slots=True)
class MarkFact:
    """What the fold needs of a mark: kind of KINDS, state of WORST_FIRST, day (and key) of its check."""

    uuid: str
    kind: str
    state: str
    replaces: tuple[str, ...]
    day: date
    check: int = 0


@dataclass(frozen=True, slots=True)
class CellFold:
    """State of a cell, whether people disagree on it, the mark that decides, and all open marks by UUID."""

    state: str
    disagreement: bool
    deciding: MarkFact | None
    open: tuple[MarkFact, ...]


_Edges = dict[str, set[str]]
_NOTHING = CellFold(UNMARKED, False, None, ())


def fold_cell(marks: Sequence[MarkFact]) -> CellFold:
    """Return the state of a cell.

    Parameters
    ----------
    marks : sequence of MarkFact
        All marks of the cell that count (for a past day: those of checks of that day or earlier), in any
        order; the same mark may come more than once.

    Returns
    -------
    CellFold
        The decision is that of the worst open state. Among several marks of it the smallest UUID decides;
        among several "gone" the earliest day comes first.

    Raises
    ------
    ValueError
        If a state is not one of WORST_FIRST.

    Source
    ------
    This module's text.
    """
    if not marks:
        return _NOTHING
    if len(marks) == 1:
        return _decide(marks)
    by_uuid = _without_duplicates(marks)
    replaced = _replaced(by_uuid)
    if not replaced:
        return _decide(list(by_uuid.values()))
    return _decide([mark for mark in by_uuid.values() if mark.uuid not in replaced])


def _without_duplicates(marks: Sequence[MarkFact]) -> dict[str, MarkFact]:
    by_uuid = {mark.uuid: mark for mark in marks}
    if len(by_uuid) < len(marks):
        # The store keeps one content for a UUID. Should two get here, the order must still not matter.
        by_uuid = {mark.uuid: mark for mark in sorted(marks, key=_content, reverse=True)}
    return by_uuid


def _content(mark: MarkFact) -> tuple[str, str, str, tuple[str, ...], date]:
    return mark.uuid, mark.kind, mark.state, mark.replaces, mark.day


def _decide(open_marks: Sequence[MarkFact]) -> CellFold:
    if len(open_marks) == 1:
        only = open_marks[0]
        _rank(only)
        return CellFold(only.state, False, only, tuple(open_marks))
    ordered = sorted(open_marks, key=_uuid)
    deciding = min(ordered, key=_weight)
    disagreement = any(mark.state != deciding.state for mark in ordered)
    return CellFold(deciding.state, disagreement, deciding, tuple(ordered))


def _uuid(mark: MarkFact) -> str:
    return mark.uuid


def _rank(mark: MarkFact) -> int:
    try:
        return _RANK[mark.state]
    except KeyError:
        raise ValueError(f"state must be one of {', '.join(WORST_FIRST)}, got {mark.state!r}") from None


def _weight(mark: MarkFact) -> tuple[int, date]:
    """Order by state, worst first; the gone by day. Of equals, ``min`` takes the first: the smallest UUID."""
    return _rank(mark), mark.day if mark.state == "gone" else date.min


def _replaced(by_uuid: Mapping[str, MarkFact]) -> set[str]:
    """Return the UUIDs of the marks that another mark replaces, circles left out."""
    edges: _Edges = {}
    replaced: set[str] = set()
    for uuid, mark in by_uuid.items():
        if not mark.replaces:
            continue
        targets = {name for name in mark.replaces if name in by_uuid and name != uuid}
        if targets:
            edges[uuid] = targets
            replaced |= targets
    if _is_circle_free(edges, replaced):
        return replaced
    group = _connected_groups(edges, by_uuid)
    return {target for uuid, targets in edges.items() for target in targets if group[uuid] != group[target]}


def _is_circle_free(edges: _Edges, replaced: set[str]) -> bool:
    """Return whether no chain of replacements leads back to its start.

    Each mark of a circle replaces and is replaced, so fewer than two such marks make none: this answers for
    nearly every cell. Otherwise marks that nobody replaces are taken away until none is left, or a circle.
    """
    if len(replaced & edges.keys()) < 2:
        return True
    times_replaced: dict[str, int] = {}
    for targets in edges.values():
        for target in targets:
            times_replaced[target] = times_replaced.get(target, 0) + 1
    free = [uuid for uuid in edges if uuid not in times_replaced]
    left = len(edges)
    while free:
        left -= 1
        for target in edges[free.pop()]:
            times_replaced[target] -= 1
            if not times_replaced[target] and target in edges:
                free.append(target)
    return left == 0


def _connected_groups(edges: _Edges, uuids: Iterable[str]) -> dict[str, str]:
    """Return for every mark a name of its strongly connected group (Kosaraju)."""
    backward: _Edges = {}
    for uuid, targets in edges.items():
        for target in targets:
            backward.setdefault(target, set()).add(uuid)
    group: dict[str, str] = {}
    for root in reversed(_finishing_order(edges, uuids)):
        pending = [root] if root not in group else []
        while pending:
            uuid = pending.pop()
            if uuid not in group:
                group[uuid] = root
                pending.extend(backward.get(uuid, ()))
    return group


def _finishing_order(edges: _Edges, uuids: Iterable[str]) -> list[str]:
    """Return the marks as a depth-first walk leaves them; without recursion, as chains may be long."""
    order: list[str] = []
    entered: set[str] = set()
    for root in uuids:
        if root in entered:
            continue
        entered.add(root)
        path = [(root, iter(edges.get(root, ())))]
        while path:
            uuid, ahead = path[-1]
            following = next((target for target in ahead if target not in entered), None)
            if following is None:
                order.append(uuid)
                path.pop()
            else:
                entered.add(following)
                path.append((following, iter(edges.get(following, ()))))
    return order
