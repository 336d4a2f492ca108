"""What becomes of the invented grafts: an invented chance, flat by flat."""

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass

SPREAD = 28.0  # a + b of the Beta that flats vary by: an intraclass correlation of 1 / 29
NOVICE = "Rowan"
NOVICE_LOSS = 0.05
CAUSES = ["union", "union", "union", "dried", "dried", "rot", "mechanical", ""]


@dataclass(frozen=True, slots=True)
class Fate:
    """When a graft dies (day after grafting; infinite if it takes), and whether it wilts on day 7."""

    dies_on: float
    wilts: bool
    cause: str


def fates_of(
    places: Sequence[int], *, take: float, grafters: dict[int, str], rng: random.Random
) -> dict[int, Fate]:
    """Return the fate of the plant in each place; ``grafters`` names who grafted it."""
    share = rng.betavariate(take * SPREAD, (1 - take) * SPREAD)
    fates = {}
    for place in places:
        loss = (1 - share) + (NOVICE_LOSS if grafters.get(place) == NOVICE else 0.0)
        if rng.random() < loss:
            fates[place] = Fate(rng.choice([3, 4, 5, 6, 8, 9, 11]), wilts=True, cause=rng.choice(CAUSES))
        else:
            fates[place] = Fate(math.inf, wilts=rng.random() < 0.03, cause="")
    return fates
