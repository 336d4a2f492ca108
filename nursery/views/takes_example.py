"""The example on the page that says how a take is computed: published data, computed when it is shown."""

from dataclasses import dataclass

from nursery.calc.take import dispersion, take_interval

# M. J. Crowder (1978), Applied Statistics 27, 34-37, table 3: seeds germinated of seeds sown, plate by plate.
CROWDER_1978 = {
    "Seed 75 on bean": ((10, 39), (23, 62), (23, 81), (26, 51), (17, 39)),
    "Seed 75 on cucumber": ((5, 6), (53, 74), (55, 72), (32, 51), (46, 79), (10, 13)),
    "Seed 73 on bean": ((8, 16), (10, 30), (8, 28), (23, 45), (0, 4)),
    "Seed 73 on cucumber": ((3, 12), (22, 41), (15, 30), (32, 51), (3, 7)),
}


@dataclass(frozen=True, slots=True)
class ExampleRow:
    name: str
    flats: int
    alive: int
    grafted: int
    share: float
    effective: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Example:
    phi: float
    df: int
    flats: int
    rows: tuple[ExampleRow, ...]


def worked_example() -> Example:
    """Return dispersion and ranges of Crowder's plates."""
    plates = [(name, *counts) for name, of_name in CROWDER_1978.items() for counts in of_name]
    names, alive, sown = zip(*plates, strict=True)
    phi, df = dispersion(alive, sown, groups=names)
    rows = tuple(_row(name, of_name, (phi, df)) for name, of_name in CROWDER_1978.items())
    return Example(phi, df, len(plates), tuple(sorted(rows, key=lambda row: -row.share)))


def _row(name: str, plates: tuple[tuple[int, int], ...], spread: tuple[float, int]) -> ExampleRow:
    alive, sown = (sum(counts) for counts in zip(*plates, strict=True))
    low, high = take_interval(alive, sown, phi=spread[0], df=spread[1]) or (0.0, 1.0)
    return ExampleRow(name, len(plates), alive, sown, alive / sown, sown / spread[0], low, high)
