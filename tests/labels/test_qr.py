import csv
from pathlib import Path

import pytest
import zxingcpp
from PIL import Image

from nursery.labels.qr import Symbol, symbol

CAPACITY = Path(__file__).parents[1] / "data" / "qr_capacity.csv"


def capacities():
    """Rows of ISO/IEC 18004's capacity table, computed by trial encoding with another library."""
    with CAPACITY.open(newline="") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        return [row for row in rows if row["level"] in "MQ"]


def read(code: Symbol) -> zxingcpp.Barcode:
    dark = Image.new("L", (code.full_side, code.full_side), 255)
    for x, y, length in code.runs():
        dark.paste(0, (x + 4, y + 4, x + 4 + length, y + 5))
    (found,) = zxingcpp.read_barcodes(
        dark.resize((dark.width * 4, dark.height * 4), Image.Resampling.NEAREST)
    )
    return found


@pytest.mark.parametrize("row", capacities(), ids=lambda row: row["version"] + row["level"])
@pytest.mark.parametrize(("column", "character"), [("alnum_max", "A"), ("byte_max", "a")])
def test_takes_the_smallest_symbol_that_holds_the_address(row, column, character):
    most, modules = int(row[column]), int(row["modules"])
    assert symbol(character * most, row["level"]).side == modules
    assert symbol(character * (most + 1), row["level"]).side == modules + 4


@pytest.mark.parametrize("level", ["M", "Q"])
@pytest.mark.parametrize("address", ["HTTP://192.168.1.20:8000/F3K7QNX", "https://farm.example/F3K7QNX?x=1"])
def test_says_the_address_at_the_level_asked_for(address, level):
    found = read(symbol(address, level))
    assert found.text == address
    assert found.ec_level == level


def test_runs_cover_the_dark_modules_once():
    code = symbol("HTTP://192.168.1.20:8000/F3K7QNX", "Q")
    covered = [(x + step, y) for x, y, length in code.runs() for step in range(length)]
    rows = code.rows.split("\n")
    dark = [(x, y) for y, row in enumerate(rows) for x, module in enumerate(row) if module == "1"]
    assert sorted(covered) == sorted(dark)
    assert {len(row) for row in rows} == {code.side} == {len(rows)}


def test_runs_are_merged_as_far_as_they_go():
    code = symbol("HTTP://192.168.1.20:8000/F3K7QNX", "Q")
    runs = code.runs()
    assert not {(x + length, y) for x, y, length in runs} & {(x, y) for x, y, _ in runs}
    assert runs[0] == (0, 0, 7)  # the top of a finder pattern, ISO/IEC 18004


def test_is_remembered_for_a_reprint():
    assert symbol("HTTP://192.168.1.20/F3K7QNX", "M") is symbol("HTTP://192.168.1.20/F3K7QNX", "M")


@pytest.mark.parametrize(("address", "words"), [("", "empty"), ("a" * 3000, "too long")])
def test_refuses_what_no_symbol_can_say(address, words):
    with pytest.raises(ValueError, match=words):
        symbol(address, "M")
