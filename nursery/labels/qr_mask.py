"""Finding the mask of a QR symbol: the whole symbol is one integer, so that rules are a few shifts.

Bit ``row * side + column`` is a module, 1 is dark. The words and their error correction come from the
library; what is done here is to lay them out, once for all eight masks, and to score each mask. The
rules of the score are those of ISO/IEC 18004 as the library applies them, and the mask chosen is the
same (a test compares whole symbols); it only takes a sixth of the time.

Example: in a row of side 5 whose modules are all dark, ``same`` below has the bits of columns 0 to 3,
for the module to the right of each is like it; four such bits in a row are one window of five alike.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from operator import itemgetter
from typing import Any

MASKS = range(8)


@dataclass(frozen=True)
class Frame:
    """What is the same in all symbols of one version and level.

    ``pick`` takes the words as a text of bits and returns the modules, last one first; ``masks``,
    ``plain`` and ``final`` hold for each mask the data modules it turns over, and the fixed modules
    without (as scored) and with the format bits.
    """

    side: int
    pick: Callable[[str], Sequence[str]]
    masks: tuple[int, ...]
    plain: tuple[int, ...]
    final: tuple[int, ...]


def masked_modules(words: Sequence[int], *, version: int, correction: int) -> tuple[str, int]:
    """Return the modules of the best masked symbol as a text of 0 and 1, row by row, and its side."""
    frame = frame_of(version, correction)
    bits = "".join([f"{word:08b}" for word in words])
    data = int("".join(frame.pick(bits + "00000000")), 2)  # up to 7 bits remain over, then the fixed ones
    scores = [penalty(data ^ frame.masks[mask] | frame.plain[mask], frame.side) for mask in MASKS]
    best = scores.index(min(scores))
    modules = data ^ frame.masks[best] | frame.final[best]
    return f"{modules:0{frame.side**2}b}"[::-1], frame.side


def penalty(modules: int, side: int) -> int:
    """Return how hard a symbol is to read by the four rules of ISO/IEC 18004; less is better."""
    pairs, rows = _pairs(side)
    score = 0
    for step, within in ((1, pairs), (side, rows)):
        same = ~(modules ^ modules >> step) & within
        fives = same & same >> step & same >> 2 * step & same >> 3 * step
        runs = fives & ~(fives << step)
        score += fives.bit_count() + 2 * runs.bit_count()  # a run of n is n - 4 windows and costs n - 2
    right = ~(modules ^ modules >> 1) & pairs
    squares = right & right >> side & ~(modules ^ modules >> side) & rows
    score += 3 * squares.bit_count()
    score += 40 * _finder_likes(modules, side)
    share = modules.bit_count() / side**2
    return score + 10 * int(abs(share * 100 - 50) / 5)


@lru_cache(maxsize=64)
def _pairs(side: int) -> tuple[int, int]:
    """Return the modules that have a neighbour at the right, and those that have one below."""
    row = (1 << side - 1) - 1
    return sum(row << side * y for y in range(side)), (1 << side * (side - 1)) - 1


@lru_cache(maxsize=64)
def _starts(side: int) -> tuple[int, int]:
    """Return the modules from which eleven in a row, or eleven downwards, lie in the symbol."""
    row = (1 << side - 10) - 1
    return sum(row << side * y for y in range(side)), (1 << side * (side - 10)) - 1


def _finder_likes(modules: int, side: int) -> int:
    """Count 1:1:3:1:1 with four light modules before or after it, along rows and columns."""
    count = 0
    for step, starts in zip((1, side), _starts(side), strict=True):
        at = [modules >> step * offset for offset in range(11)]
        both = ~at[1] & at[4] & ~at[5] & at[6] & ~at[9] & starts
        after = at[0] & at[2] & at[3] & ~at[7] & ~at[8] & ~at[10]
        before = ~at[0] & ~at[2] & ~at[3] & at[7] & at[8] & at[10]
        count += (both & (after | before)).bit_count()
    return count


@lru_cache(maxsize=32)
def frame_of(version: int, correction: int) -> Frame:
    """Return the frame of a version (1 to 40) and the library's number of an error level."""
    from qrcode.util import mask_func

    fixed = [[_fixed_modules(version, correction, mask, is_test=test) for mask in MASKS] for test in (1, 0)]
    side = len(fixed[0][0])
    order = _data_order(fixed[0][0])
    turned = [[(y, x) for y, x in order if mask_func(mask)(y, x)] for mask in MASKS]
    nth = {y * side + x: number for number, (y, x) in enumerate(order)}
    pick = itemgetter(*(nth.get(place, -1) for place in reversed(range(side**2))))
    plain, final = (tuple(_bits_of(dark, side) for dark in map(_dark, kind)) for kind in fixed)
    return Frame(side, pick, tuple(_bits_of(places, side) for places in turned), plain, final)


def _fixed_modules(version: int, correction: int, mask: int, *, is_test: int) -> list[list[bool | None]]:
    """Return the library's symbol before any data: None where data will be."""
    from qrcode import QRCode

    class Unfilled(QRCode):  # type: ignore[misc]
        def map_data(self, data: Any, mask_pattern: int) -> None:
            pass

    code = Unfilled(version=version, error_correction=correction, border=0)
    code.data_cache = []
    code.makeImpl(bool(is_test), mask)
    modules: list[list[bool | None]] = code.modules
    return modules


def _data_order(modules: list[list[bool | None]]) -> list[tuple[int, int]]:
    """Return the data modules in the order of their bits: up and down in pairs of columns, from the right."""
    side = len(modules)
    columns = [*range(side - 1, 6, -2), *range(5, 0, -2)]  # column 6 holds the timing pattern
    places = []
    for number, right in enumerate(columns):
        rows = range(side) if number % 2 else reversed(range(side))
        places += [(y, x) for y in rows for x in (right, right - 1)]
    return [(y, x) for y, x in places if modules[y][x] is None]


def _dark(modules: list[list[bool | None]]) -> list[tuple[int, int]]:
    return [(y, x) for y, row in enumerate(modules) for x, dark in enumerate(row) if dark]


def _bits_of(places: list[tuple[int, int]], side: int) -> int:
    return sum(1 << y * side + x for y, x in places)
