"""What the ledger of some flats holds: plain data, from which whoever counts needs no database."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date

from nursery.calc.fold import MarkFact
from nursery.calc.seen_alive import Look


@dataclass(frozen=True, slots=True)
class RunFact:
    """A run as the counts see it. ``record_on`` is None until a tongue approach is severed."""

    id: int
    flat_id: int
    number: int
    pairing_id: int
    season_id: int | None
    grafted_on: date
    record_on: date | None


@dataclass(frozen=True, slots=True)
class CellFact:
    id: int
    run_id: int
    place_no: int
    graft_no: int
    is_present: bool
    is_graft: bool  # False for a plant that was moved in: it is stock here, no graft of this flat
    came_on: date | None = None  # the day it was moved in
    moved_on: date | None = None  # the day it was moved to another flat


@dataclass(frozen=True, slots=True)
class CheckFact:
    id: int
    day: date
    kind: str
    seen_places: frozenset[int]
    is_closed: bool
    cause: str
    is_leaving: bool = False  # tells only which cells left: nobody looked at the others


@dataclass(slots=True)
class FlatFacts:
    """All that happened to one flat, as far as its counts go."""

    id: int
    code: str
    origin: str
    cells: list[CellFact] = field(default_factory=list)
    checks: dict[int, CheckFact] = field(default_factory=dict)
    marks: dict[int, list[MarkFact]] = field(default_factory=lambda: defaultdict(list))  # by cell
    causes: dict[str, str] = field(default_factory=dict)  # by mark
    numbers: list[tuple[int, int, int, int]] = field(default_factory=list)  # check, run, dead, wilting
    tallies: list[tuple[int, date, int, int, int]] = field(default_factory=list)  # run, day, counts
    pools: list[tuple[int, date, int]] = field(default_factory=list)  # moved in: run, day, plants
    left: list[tuple[int, date, int]] = field(default_factory=list)  # left by number: run, day, plants
    looks: dict[int, list[Look]] = field(default_factory=dict)  # by cell; see closed_looks


@dataclass(slots=True)
class Ledger:
    flats: dict[int, FlatFacts]
    runs: dict[int, RunFact]
