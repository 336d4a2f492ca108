"""Find a flat again by its pattern: which of its places hold no living plant.

Somebody taps, on an empty drawing, the cells that are dead or empty in the flat before them. Each flat of the
book is compared with that. A tapped cell agrees if the book knows it dead or empty too; a cell that the book
knows dead or empty and nobody tapped is one of the others. The flat in which the fewest cells differ (tapped
without agreeing, and others) comes first; of equals the one in which more agree. Flats that are equal in both
are tied, and more taps tell them apart.

Worked example. Tapped: 3, 8, 20. Flat P is empty in 3, 8, 20 and 41: all three agree, one other, so one cell
differs. Flat Q is empty in 3 and 8: two agree, so one differs as well; P comes first, as more agree. A flat
that is dead all over agrees in all three and comes last, as 69 of its 72 cells differ.

Source: our convention. The number of differing places is the distance of R. W. Hamming (1950), Bell System
Technical Journal 29(2), 147-160 (definition from memory).
"""

from collections.abc import Collection, Hashable, Mapping
from dataclasses import dataclass
from typing import TypeVar

Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Fit:
    """How a flat fits: cells that agree, of so many tapped, and other cells that are empty there."""

    agreed: int
    tapped: int
    others: int

    @property
    def differing(self) -> int:
        return self.tapped - self.agreed + self.others


def fit(tapped: Collection[int], empty: Collection[int], *, unused: Collection[int] = ()) -> Fit:
    """Return how the places that are ``empty`` in a flat fit those that were ``tapped``.

    Parameters
    ----------
    tapped, empty : collection of int
        Place numbers, from 1; each counts once.
    unused : collection of int
        Places that the flat's layout leaves out: whether they were tapped or not says nothing.

    Returns
    -------
    Fit

    Raises
    ------
    ValueError
        If a place is below 1.
    """
    asked, known = set(tapped) - set(unused), set(empty) - set(unused)
    wrong = next((place for place in asked | known if place < 1), None)
    if wrong is not None:
        raise ValueError(f"places must be at least 1, got {wrong}")
    return Fit(len(asked & known), len(asked), len(known - asked))


def ranked(fits: Mapping[Key, Fit]) -> list[tuple[Key, Fit]]:
    """Return the flats, best first; those that are tied stay in the order in which they were given."""
    return sorted(fits.items(), key=lambda entry: (entry[1].differing, -entry[1].agreed))


def tied_first(ranks: list[tuple[Key, Fit]]) -> int:
    """Return how many flats share the first place; 0 of none."""
    if not ranks:
        return 0
    best = ranks[0][1]
    return sum((fit.differing, fit.agreed) == (best.differing, best.agreed) for _key, fit in ranks)
