"""Crowder's seeds written as tallies: each plate a flat, each seed type and extract a pairing.

Source: M. J. Crowder (1978), Appl Statist 27, 34-37, table 3 (tests/data/crowder_seeds.csv). What germinated
stands for what took. The dates are ours and make each count a record: 14 days after the grafting.
"""

import csv
import json
from pathlib import Path

DATA = Path(__file__).parent / "data"
EXPECTED = json.loads((DATA / "crowder_expected.json").read_text())
CROP = "Broomrape"
SEASON = "Laboratory 1978"
HEADER = "season,flat,crop,scion,rootstock,method,grafter,grafted_on,checked_on,grafted,alive,wilting"
# Name of the row in the report: (scion, rootstock), by the name in crowder_expected.json.
PAIRINGS = {
    "75bean": ("Seed 75", "Bean"),
    "75cuc": ("Seed 75", "Cucumber"),
    "73bean": ("Seed 73", "Bean"),
    "73cuc": ("Seed 73", "Cucumber"),
}


def plates():
    """Yield (plate, name in crowder_expected.json, seeds, germinated)."""
    lines = [line for line in (DATA / "crowder_seeds.csv").read_text().splitlines() if line[0] != "#"]
    for row in csv.DictReader(lines):
        seed = "73" if row["x1_seed73"] == "1" else "75"
        extract = "cuc" if row["x2_cucumber"] == "1" else "bean"
        yield int(row["plate"]), seed + extract, int(row["n"]), int(row["r"])


def row_name(name):
    scion, rootstock = PAIRINGS[name]
    return f"{scion} on {rootstock}"


def tallies_csv(season=SEASON, grafter=""):
    """Return the file as bytes."""
    rows = [HEADER]
    for plate, name, seeds, germinated in plates():
        scion, rootstock = PAIRINGS[name]
        rows.append(
            f"{season},Plate {plate},{CROP},{scion},{rootstock},splice,{grafter},"
            f"1978-03-01,1978-03-15,{seeds},{germinated},"
        )
    return ("\n".join(rows) + "\n").encode()
