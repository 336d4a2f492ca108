"""Which flats of a batch to count when a sample is enough for now.

A sample tells of the batch only if nobody chose it: the flats at the door are not those at the wall. So
the order is drawn by lot, with the batch itself as the seed: whoever asks again, on whatever device, gets
the same flats, and a larger sample holds the smaller one. The size is three tenths of the flats, and at
least 6.

Worked example. A batch of 40 flats: 12. Of 15 flats 4.5, so 6. Of 5 flats all 5.

Sources: drawing by lot without replacement, W. G. Cochran (1977), Sampling Techniques, 3rd ed., chapter 2;
three tenths and 6 are common practice, no source.
"""

import math
import random
from collections.abc import Collection

SHARE, LEAST = 0.3, 6


def sample_size(flats: int) -> int:
    """Return how many of ``flats`` flats are a sample; all, where they are few.

    Raises
    ------
    ValueError
        If flats is negative.
    """
    if flats < 0:
        raise ValueError(f"flats must be at least 0, got {flats}")
    return min(flats, max(LEAST, math.ceil(round(SHARE * flats, 6))))


def draw_sample(codes: Collection[str], size: int, *, seed: str) -> list[str]:
    """Return ``size`` of the codes, drawn by lot; the same for the same codes and seed, in any order given.

    Raises
    ------
    ValueError
        If size is not between 0 and the number of codes.
    """
    if not 0 <= size <= len(codes):
        raise ValueError(f"size must be between 0 and {len(codes)}, got {size}")
    drawn = sorted(codes)
    random.Random(seed).shuffle(drawn)
    return drawn[:size]
