"""Data that several calculations are checked against."""

import csv
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

DATA = Path(__file__).parents[1] / "data"


@dataclass(frozen=True)
class Crowder:
    """Plates as (germinated, tried, group), and the published and recomputed fits."""

    plates: tuple[list[int], list[int], list[str]]
    expected: dict[str, Any]


@pytest.fixture(scope="session")
def crowder() -> Crowder:
    """Source: M. J. Crowder (1978), Appl Statist 27, 34-37, table 3."""
    with (DATA / "crowder_seeds.csv").open() as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    seed, extract = {"0": "75", "1": "73"}, {"0": "bean", "1": "cuc"}
    groups = [seed[row["x1_seed73"]] + extract[row["x2_cucumber"]] for row in rows]
    plates = [int(row["r"]) for row in rows], [int(row["n"]) for row in rows], groups
    return Crowder(plates, json.loads((DATA / "crowder_expected.json").read_text()))
