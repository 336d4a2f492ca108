"""The take report: what of the grafts took, by pairing, by method, by grafter and so on (``take_cuts``).

It reads counts, grades and names, in a number of queries that does not depend on what is in the book. Only
records make a take. A run that has none yet is an early count; a day only partly seen says how much was seen;
plants that left before day 7 stand apart. The runs of one flat in one row are summed first, as the flat is
the unit of variation (see ``nursery.calc.take``); of how many flats of the row that are is said beside it.

A pair of grafters is a row of its own, "Ash with Wren", whoever of the two was named first: nobody knows
which of them joined which cell. Grafts whose grafter was not recorded are a row as well.
"""

from collections.abc import Collection
from dataclasses import asdict, dataclass, replace
from typing import Any

from nursery.calc.take import dispersion_of_sums, take_interval
from nursery.models.saleable import SaleableSums
from nursery.models.take_cuts import RowKey, TakeBy
from nursery.models.take_filter import TakeFilter
from nursery.models.take_reading import CropSums, RowSums, read_takes
from nursery.models.take_rows import RowNames

__all__ = [
    "CropTakes",
    "EarlyRow",
    "LeftRow",
    "PartRow",
    "TakeBy",
    "TakeFilter",
    "TakeReport",
    "TakeRow",
    "take_report",
]


@dataclass(frozen=True, slots=True)
class TakeRow:
    """One compared row. Shares are 0..1; None is what cannot be told.

    ``flats`` have their record, of ``flats_grafted`` in this row; of the plants ``graded``, ``saleable``
    could be sold and bear ``heads``.
    """

    key: RowKey
    public: str
    name: str
    flats: int
    runs: int
    grafted: int
    alive: int
    wilting: int
    take_share: float
    low: float | None
    high: float | None
    flats_grafted: int
    graded: int
    saleable: int
    heads: int
    two_heads_even: int
    two_heads_uneven: int

    @property
    def saleable_share(self) -> float | None:
        return self.saleable / self.graded if self.graded else None

    def overlaps(self, other: "TakeRow") -> bool:
        """Whether both ranges are known and share a part."""
        if self.low is None or self.high is None or other.low is None or other.high is None:
            return False
        return self.low <= other.high and other.low <= self.high


@dataclass(frozen=True, slots=True)
class EarlyRow:
    """Runs without a record at their last complete count, ``day`` days after grafting."""

    key: RowKey
    public: str
    name: str
    day: int
    flats: int
    runs: int
    grafted: int
    alive: int
    wilting: int


@dataclass(frozen=True, slots=True)
class PartRow:
    """Runs without a record whose last closed day saw only part of them."""

    key: RowKey
    public: str
    name: str
    day: int
    flats: int
    runs: int
    seen: int
    grafted: int


@dataclass(frozen=True, slots=True)
class LeftRow:
    """Plants gone before day 7, which count nowhere, and (day, plants) of those counted when they left."""

    key: RowKey
    public: str
    name: str
    early: int
    counted: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class CropTakes:
    """All rows of one crop, best first, with the dispersion of their flats (None where it cannot be told)."""

    crop: str
    crop_key: str
    dispersion: float | None
    df: int
    rows: tuple[TakeRow, ...]
    early: tuple[EarlyRow, ...]
    part_seen: tuple[PartRow, ...]
    left_early: tuple[LeftRow, ...]

    @property
    def close_to_first(self) -> list[TakeRow]:
        """The other rows whose range overlaps with that of the first."""
        return [row for row in self.rows[1:] if row.overlaps(self.rows[0])]

    @property
    def has_grades(self) -> bool:
        """Whether plants of any row were graded."""
        return any(row.graded for row in self.rows)

    @property
    def has_rows(self) -> bool:
        return bool(self.rows or self.early or self.part_seen or self.left_early)

    def limited_to(self, workers: frozenset[int]) -> "CropTakes":
        def visible(rows: tuple[Any, ...]) -> tuple[Any, ...]:
            return tuple(row for row in rows if row.key and workers.issuperset(row.key))

        return replace(
            self,
            rows=visible(self.rows),
            early=visible(self.early),
            part_seen=visible(self.part_seen),
            left_early=visible(self.left_early),
        )


@dataclass(frozen=True, slots=True)
class TakeTotal:
    """What took of the grafts that have their record, and what of the graded plants could be sold."""

    alive: int
    grafted: int
    saleable: int
    graded: int

    @property
    def take_share(self) -> float | None:
        return self.alive / self.grafted if self.grafted else None

    @property
    def saleable_share(self) -> float | None:
        return self.saleable / self.graded if self.graded else None


@dataclass(frozen=True, slots=True)
class TakeReport:
    by: TakeBy
    only: TakeFilter
    crops: tuple[CropTakes, ...]

    def limited_to(self, workers: Collection[int]) -> "TakeReport":
        """Keep the rows of these grafters only; the spread stays that of all flats.

        The row of a pair is kept for those who may see both.
        """
        limited = [crop.limited_to(frozenset(workers)) for crop in self.crops]
        return replace(self, crops=tuple(crop for crop in limited if crop.has_rows))

    @property
    def total(self) -> "TakeTotal":
        """All rows of all crops added up; two rows may share a flat, so flats are not among it."""
        rows = [row for crop in self.crops for row in crop.rows]
        columns = ("alive", "grafted", "saleable", "graded")
        return TakeTotal(*(sum(getattr(row, column) for row in rows) for column in columns))

    def as_dict(self) -> dict[str, Any]:
        """Return plain values for JSON, without the program's own keys."""
        return {"crops": [_crop_dict(crop) for crop in self.crops]}


def take_report(*, by: TakeBy, only: TakeFilter | None = None) -> TakeReport:
    """Return the takes of the grafts that ``only`` lets through (all if None), row by row in each crop."""
    only = only or TakeFilter()
    names = RowNames(by)
    sums = read_takes(names, only)
    crops = [_crop_takes(crop, sums[crop], names) for crop in sorted(sums, key=names.crop_name)]
    return TakeReport(by=by, only=only, crops=tuple(crop for crop in crops if crop.has_rows))


def _crop_takes(crop: int, sums: CropSums, names: RowNames) -> CropTakes:
    phi, df = dispersion_of_sums(row.group for row in sums.rows.values())
    rows = [_take_row(key, sums, names, (phi, df)) for key in sums.rows]
    return CropTakes(
        crop=names.crop_name(crop),
        crop_key=names.crop_key(crop),
        dispersion=phi if df else None,
        df=df,
        rows=tuple(sorted(rows, key=lambda row: (-row.take_share, -row.grafted, row.name))),
        early=tuple(_early_row(at, counts, names) for at, counts in names.in_order(sums.early)),
        part_seen=tuple(_part_row(at, counts, names) for at, counts in names.in_order(sums.part)),
        left_early=_left_rows(sums, names),
    )


def _take_row(key: RowKey, sums: CropSums, names: RowNames, spread: tuple[float, int]) -> TakeRow:
    row: RowSums = sums.rows[key]
    low, high = take_interval(row.alive, row.grafted, phi=spread[0], df=spread[1]) or (None, None)
    sold = sums.saleable.get(key, SaleableSums())
    return TakeRow(
        key=key,
        public=names.public(key),
        name=names.name(key),
        flats=row.flats,
        runs=row.runs,
        grafted=row.grafted,
        alive=row.alive,
        wilting=row.wilting,
        take_share=row.alive / row.grafted,
        low=low,
        high=high,
        flats_grafted=row.flats + sums.waiting[key],
        graded=sold.graded,
        saleable=sold.saleable,
        heads=sold.heads,
        two_heads_even=sold.two_heads_even,
        two_heads_uneven=sold.two_heads_uneven,
    )


def _early_row(at: tuple[RowKey, int], counts: list[tuple[int, ...]], names: RowNames) -> EarlyRow:
    flats, grafted, alive, wilting = zip(*counts, strict=True)
    return EarlyRow(
        key=at[0],
        public=names.public(at[0]),
        name=names.name(at[0]),
        day=at[1],
        flats=len(set(flats)),
        runs=len(counts),
        grafted=sum(grafted),
        alive=sum(alive),
        wilting=sum(wilting),
    )


def _part_row(at: tuple[RowKey, int], counts: list[tuple[int, ...]], names: RowNames) -> PartRow:
    flats, seen, grafted = zip(*counts, strict=True)
    return PartRow(
        key=at[0],
        public=names.public(at[0]),
        name=names.name(at[0]),
        day=at[1],
        flats=len(set(flats)),
        runs=len(counts),
        seen=sum(seen),
        grafted=sum(grafted),
    )


def _left_rows(sums: CropSums, names: RowNames) -> tuple[LeftRow, ...]:
    rows = [
        LeftRow(
            key=key,
            public=names.public(key),
            name=names.name(key),
            early=sums.left_early[key],
            counted=tuple(sorted(sums.left_late[key].items())),
        )
        for key in {*sums.left_early, *sums.left_late}
    ]
    return tuple(sorted(rows, key=lambda row: row.name))


def _crop_dict(crop: CropTakes) -> dict[str, Any]:
    return {
        "crop": crop.crop,
        "dispersion": crop.dispersion,
        "df": crop.df,
        "rows": [_row_dict(row) for row in crop.rows],
        "early": [_row_dict(row) for row in crop.early],
        "part_seen": [_row_dict(row) for row in crop.part_seen],
        "left_early": [
            {
                "name": row.name,
                "left_early": row.early,
                "counted_when_left": [{"day": day, "plants": plants} for day, plants in row.counted],
            }
            for row in crop.left_early
        ],
    }


def _row_dict(row: TakeRow | EarlyRow | PartRow) -> dict[str, Any]:
    return {name: value for name, value in asdict(row).items() if name not in ("key", "public")}
