"""Tables on screen as files for a spreadsheet: all of what the filters let through, and nothing that runs."""

import csv
import io

import pytest
from openpyxl import load_workbook

from nursery.models import Change
from tests.factories import make_crop, make_cultivar, make_flat, make_run
from tests.models.rows import SIGNED


def rows_of(client, address):
    answer = client.get(address)
    assert answer.status_code == 200 and "attachment" in answer["Content-Disposition"]
    if "format=xlsx" in address:
        header, *rows = list(load_workbook(io.BytesIO(answer.content)).active.values)
        return [dict(zip(header, row, strict=True)) for row in rows]
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


@pytest.fixture
def flats(farm):
    return [make_run(make_flat()).flat for _ in range(45)]  # more than a page


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_list_of_flats_is_whole(grower, flats, kind):
    assert {row["code"] for row in rows_of(grower, f"/flats?format={kind}")} == {flat.code for flat in flats}


def test_the_search_holds_for_the_file(grower, flats):
    (row,) = rows_of(grower, f"/flats?format=csv&q={flats[3].code}")
    assert (row["code"], row["grafted"]) == (flats[3].code, "72")


@pytest.mark.parametrize("sign", ["=", "+", "-", "@"])
def test_a_name_that_looks_like_a_formula_does_not_run(grower, farm, sign):
    make_cultivar(f"{sign}1+1", make_crop())
    assert rows_of(grower, "/records/cultivars?format=csv")[0]["Name"] == f"'{sign}1+1"
    assert rows_of(grower, "/records/cultivars?format=xlsx")[0]["Name"] == f"{sign}1+1"


def test_changes_are_a_table_too(grower, farm):
    run = make_run(make_flat())
    Change.objects.create(
        flat=run.flat, run=run, field="cut", old="above", new="below", reason="Seen", **SIGNED
    )
    (row,) = rows_of(grower, "/changes?format=csv")
    assert (row["reason"], row["flats"]) == ("Seen", run.flat.code)


@pytest.mark.parametrize("address", ["/flats", "/records/crops", "/changes"])
def test_another_kind_of_file_is_not_found(grower, farm, address):
    assert grower.get(f"{address}?format=pdf").status_code == 404
