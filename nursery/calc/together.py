"""Which plants to move so that patchy flats become few full ones.

The fullest flats stay and their gaps are filled; the emptiest are emptied. As many flats are emptied as the
gaps of the others allow, and no plant moves that need not. A flat that cannot be emptied wholly is left as it
is: moving half of it saves no tray.

Worked example. Three flats of 4 places hold 3, 2 and 2 plants. Together 7 plants fit into two flats, so one
can be emptied: the first of those with 2. Its plants go to the gap of the flat with 3 and to one of the two
gaps of the other. Moves: 2.

Source: ours. For flats of one format no choice empties more flats, nor as many with fewer moves (the tests
try every choice); for mixed formats it is a good choice, not proven the best.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Plant:
    """A living plant: the flat and the place it stands in."""

    flat: int
    place: int


@dataclass(frozen=True, slots=True)
class Gap:
    """A free place of a flat that stays."""

    flat: int
    place: int


def plan_together(
    living: Mapping[int, Sequence[int]], free: Mapping[int, Sequence[int]]
) -> list[tuple[Plant, Gap]]:
    """Return the moves that empty as many flats as possible, in the order in which to make them.

    Parameters
    ----------
    living, free : mapping of int to sequence of int
        For each flat the places with a living plant, and those that are free; a place stands in one of the
        two at most. The same flats in both.

    Returns
    -------
    list of (Plant, Gap)
        Each plant of an emptied flat once, each gap at most once. Empty if no flat can be emptied.

    Raises
    ------
    ValueError
        If the two mappings name different flats, or a place is both.

    Source
    ------
    This module's text.
    """
    if living.keys() != free.keys():
        raise ValueError("living and free must name the same flats")
    for flat, places in living.items():
        both = set(places) & set(free[flat])
        if both:
            raise ValueError(f"flat {flat}: places {sorted(both)} are both living and free")
    emptied = _emptied(living, free)
    gaps = _gaps({flat: free[flat] for flat in free if flat not in emptied}, living)
    plants = [Plant(flat, place) for flat in emptied for place in sorted(living[flat])]
    return list(zip(plants, gaps, strict=False))


def _emptied(living: Mapping[int, Sequence[int]], free: Mapping[int, Sequence[int]]) -> list[int]:
    """Return the flats to empty, the emptiest first: as many as the gaps of the others take in."""
    order = sorted((flat for flat in living if living[flat]), key=lambda flat: (len(living[flat]), flat))
    room = sum(len(free[flat]) for flat in order)
    emptied: list[int] = []
    moving = 0
    for flat in order:
        room -= len(free[flat])
        moving += len(living[flat])
        if moving > room:
            break
        emptied.append(flat)
    return emptied


def _gaps(free: Mapping[int, Sequence[int]], living: Mapping[int, Sequence[int]]) -> Iterator[Gap]:
    """Yield the gaps of the flats that stay, the fullest flat first."""
    for flat in sorted(free, key=lambda flat: (-len(living[flat]), flat)):
        if living[flat]:
            for place in sorted(free[flat]):
                yield Gap(flat, place)
