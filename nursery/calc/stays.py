"""Where something stood, from when to when, in places that themselves were moved.

A flat comes to a place at certain moments; between two of them it stays there. A place (a trolley) stands in
another one, and that changes too while the flat is on it. Each stretch of time in which the whole row of
places is the same is one stay.

Example. At 9 a flat comes onto trolley 3, which stands in the hall. At 10 the trolley is pushed into chamber
1, and at 12 the flat is taken to bay 2. It stayed from 9 to 10 on trolley 3 in the hall, from 10 to 12 on
trolley 3 in chamber 1, and from 12 on in bay 2. What is stated for the same moment is one change: the last
word counts.

Source: our convention; the tests count it out moment by moment.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

Settling = tuple[datetime, int | None]


@dataclass(frozen=True, slots=True)
class Arrival:
    """The thing comes to ``place`` (None: it is not said where) at ``at``."""

    at: datetime
    place: int | None


@dataclass(frozen=True, slots=True)
class Stay:
    """From ``since`` up to ``until`` (None: still) in ``chain``, the innermost place first.

    ``arrival`` is the position of the arrival that the stay belongs to; ``mover`` is the place whose own
    move began the stay, None where the arrival itself did.
    """

    since: datetime
    until: datetime | None
    chain: tuple[int, ...]
    arrival: int
    mover: int | None = None


def chain_at(
    place: int | None, moment: datetime, settlings: Mapping[int, Sequence[Settling]]
) -> tuple[int, ...]:
    """Return a place and the places around it at a moment, the innermost first.

    Parameters
    ----------
    place : int or None
        The place looked at; None gives an empty row.
    moment : datetime
        Aware; a settling at this very moment counts already.
    settlings : mapping
        For each place when it came to stand in which other (None: in none), in the order of time. Before
        its first settling, and where it has none, a place stands in none.

    A circle, which nobody should have stored, ends where it would begin again.
    """
    chain: list[int] = []
    while place is not None and place not in chain:
        chain.append(place)
        place = _stood_in(settlings.get(place, ()), moment)
    return tuple(chain)


def stays(arrivals: Sequence[Arrival], settlings: Mapping[int, Sequence[Settling]]) -> list[Stay]:
    """Return the stays that arrivals and settlings add up to, in the order of time.

    Parameters
    ----------
    arrivals : sequence of Arrival
        In the order of time; of several at one moment the last counts.
    settlings : mapping
        As for ``chain_at``.

    Raises
    ------
    ValueError
        If the arrivals are not in the order of time.
    """
    found: list[Stay] = []
    for index, arrival in enumerate(arrivals):
        until = arrivals[index + 1].at if index + 1 < len(arrivals) else None
        if until is not None and until < arrival.at:
            raise ValueError(f"arrivals must be in the order of time, got {until} after {arrival.at}")
        if until != arrival.at:
            found += _stays_of(arrival, until, index, settlings)
    return found


def _stays_of(
    arrival: Arrival, until: datetime | None, index: int, settlings: Mapping[int, Sequence[Settling]]
) -> list[Stay]:
    chain = chain_at(arrival.place, arrival.at, settlings)
    found: list[Stay] = []
    since = looked_at = arrival.at
    mover = None
    while change := _next_change(chain, looked_at, until, settlings):
        looked_at, moved = change
        after = chain_at(arrival.place, looked_at, settlings)
        if after != chain:  # else it was pushed out and back in one moment
            found.append(Stay(since, looked_at, chain, index, mover))
            since, chain, mover = looked_at, after, moved
    return [*found, Stay(since, until, chain, index, mover)]


def _next_change(
    chain: tuple[int, ...],
    after: datetime,
    until: datetime | None,
    settlings: Mapping[int, Sequence[Settling]],
) -> tuple[datetime, int] | None:
    """Return the first moment after ``after`` and before ``until`` at which a place of the chain moved."""
    coming = [
        (moment, place)
        for place in chain
        for moment, _into in settlings.get(place, ())
        if moment > after and (until is None or moment < until)
    ]
    return min(coming, default=None)


def _stood_in(settled: Sequence[Settling], moment: datetime) -> int | None:
    position = bisect_right(settled, moment, key=lambda entry: entry[0])
    return settled[position - 1][1] if position else None
