"""Places of a flat, said and counted.

Places are numbered from 1, row by row from the label corner. A place is said as the letter of its row and
the number of its column: in a flat of 12 columns place 1 is A1, place 12 is A12, place 13 is B1.

Allotting. A flat is grafted in the order of its places. The first run begins at the first place that is
used, and each hand-over begins another run at a place of its own; a run reaches to the place before the
next one begins. Places without a plant are skipped and take no number in the order of grafting. Example:
places 1 to 6, place 2 blank, a second run from place 4: the first run has 1 and 3, the second 4, 5 and 6.

Spans. "A10-B2" is every place from A10 to B2 as one reads: A10, A11, A12, B1, B2 in a flat of 12 columns.
"C" is the whole row, "A-C" the rows A, B and C.

Source: our convention; the arithmetic is counted out in the tests.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

_PLACE = re.compile(r"([A-Z])0*([1-9]\d{0,2})", re.ASCII)
_COUNT_DIGITS_MOST = 9  # more than any flat has; longer ones would cost time, or an error of Python's own
_SEPARATORS = re.compile(r"[\s,;.]+")
_DASH = re.compile(r"\s*(?:-|\u2013|\.\.)\s*")
_ROW = re.compile(r"[A-Z]", re.ASCII)


class PlaceError(ValueError):
    """A text that says no place of the flat. ``reason`` is 'form', 'outside', 'unused' or 'too_many'."""

    def __init__(self, reason: str, said: str) -> None:
        super().__init__(f"{said}: {reason}")
        self.reason = reason
        self.said = said


@dataclass(frozen=True, slots=True)
class Allotted:
    """One plant: where it stands, the run it belongs to, and its turn in that run (from 1)."""

    place_no: int
    run_number: int
    order_in_run: int


def place_name(place_no: int, columns: int) -> str:
    """Return a place as it is said: place 13 of a flat with 12 columns is "B1".

    Raises
    ------
    ValueError
        If the place is below 1 or in a row beyond Z.
    """
    row, column = divmod(place_no - 1, columns)
    if not 0 <= row < 26:
        raise ValueError(f"place_no must lie in rows A to Z, got {place_no}")
    return f"{chr(ord('A') + row)}{column + 1}"


def place_number(said: str, *, rows: int, columns: int) -> int:
    """Return the number of a place that is said like "B1" (case and leading zeros do not matter).

    Raises
    ------
    PlaceError
        'form' if it is not a letter and a number, 'outside' if the flat has no such row or column.
    """
    match = _PLACE.fullmatch(said.strip().upper())
    if match is None:
        raise PlaceError("form", said)
    row, column = ord(match[1]) - ord("A"), int(match[2])
    if row >= rows or column > columns:
        raise PlaceError("outside", said)
    return row * columns + column


def read_blanks(text: str, used_places: Sequence[int], *, rows: int, columns: int) -> list[int]:
    """Return the places without a plant in what somebody typed.

    Parameters
    ----------
    text : str
        Places such as "A3 F11", parted by spaces or commas, in any order; or one number alone, "5": the
        last five of the used places are empty.
    used_places : sequence of int
        Places that the layout uses, ascending.
    rows, columns : int
        Shape of the flat.

    Returns
    -------
    list of int
        Place numbers, ascending, each once; empty for an empty text.

    Raises
    ------
    PlaceError
        As by ``place_number``; 'unused' for a place that the layout does not use, 'too_many' for a number
        above that of the used places.
    """
    parts = [part for part in _SEPARATORS.split(text) if part]
    if len(parts) == 1 and parts[0].isdecimal():
        count = int(parts[0]) if len(parts[0]) <= _COUNT_DIGITS_MOST else None
        if count is None or count > len(used_places):
            raise PlaceError("too_many", parts[0])
        return list(used_places[len(used_places) - count :])
    used, blanks = set(used_places), set()
    for part in parts:
        place_no = place_number(part, rows=rows, columns=columns)
        if place_no not in used:
            raise PlaceError("unused", part)
        blanks.add(place_no)
    return sorted(blanks)


def read_places(text: str, *, rows: int, columns: int) -> list[int]:
    """Return the places that somebody typed, such as "A1 A2 C3-C12" or "A-C F".

    Parameters
    ----------
    text : str
        Places, rows and spans of either, parted by spaces or commas, in any order. A span runs as one reads.
    rows, columns : int
        Shape of the flat.

    Returns
    -------
    list of int
        Place numbers, ascending, each once; empty for an empty text.

    Raises
    ------
    PlaceError
        As by ``place_number``; 'form' also for a span that runs backwards.
    """
    places: set[int] = set()
    for part in _SEPARATORS.split(_DASH.sub("-", text)):
        if not part:
            continue
        first, dash, last = part.partition("-")
        begin = _ends(first, rows=rows, columns=columns)[0]
        end = _ends(last if dash else first, rows=rows, columns=columns)[1]
        if end < begin:
            raise PlaceError("form", part)
        places.update(range(begin, end + 1))
    return sorted(places)


def _ends(said: str, *, rows: int, columns: int) -> tuple[int, int]:
    """Return the first and last place of what is said: a place, or a whole row."""
    if _ROW.fullmatch(said.upper()):
        first = place_number(f"{said}1", rows=rows, columns=columns)
        return first, first + columns - 1
    place = place_number(said, rows=rows, columns=columns)
    return place, place


def spans_of(places: Sequence[int]) -> list[tuple[int, int]]:
    """Return places as spans (first, last) of neighbours in reading order, ascending.

    Example: 1, 2, 3, 7 is (1, 3) and (7, 7). The order of ``places`` does not matter, each counts once.
    """
    spans: list[tuple[int, int]] = []
    for place in sorted(set(places)):
        if spans and spans[-1][1] == place - 1:
            spans[-1] = (spans[-1][0], place)
        else:
            spans.append((place, place))
    return spans


def places_text(places: Sequence[int], columns: int) -> str:
    """Return places so that ``read_places`` reads them: 1 to 3 and 7 of 12 columns are "A1-A3 A7"."""
    return " ".join(
        place_name(first, columns) + (f"-{place_name(last, columns)}" if last > first else "")
        for first, last in spans_of(places)
    )


def allot(places: Sequence[int], starts: Sequence[int]) -> list[Allotted]:
    """Return every plant of a flat with its run and its turn.

    Parameters
    ----------
    places : sequence of int
        Places with a plant, ascending.
    starts : sequence of int
        First place of each run, in the order of the runs, rising; run 1 also takes what lies before its own.

    Returns
    -------
    list of Allotted
        One for each place, in the order of the places. A run may come out without a plant.

    Raises
    ------
    ValueError
        If there is no run or the starts do not rise.
    """
    if not starts:
        raise ValueError("starts must hold at least one run")
    if any(later <= earlier for earlier, later in pairwise(starts)):
        raise ValueError(f"starts must rise, got {list(starts)}")
    plants, run, order = [], 0, 0
    for place_no in places:
        while run + 1 < len(starts) and starts[run + 1] <= place_no:
            run, order = run + 1, 0
        order += 1
        plants.append(Allotted(place_no=place_no, run_number=run + 1, order_in_run=order))
    return plants
