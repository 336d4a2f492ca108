"""The export of the demonstration farm reads back whole."""

import json

import pytest
from openpyxl import load_workbook

from nursery.actions.export_tables import TABLES, export_tables
from nursery.actions.jobs import made_file
from nursery.models import Cell, Flat, Mark, Run
from tests.actions.test_export import exported, on_this_connection, tables_in  # noqa: F401

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("demo_farm", "on_this_connection")]


def test_csv_reads_back_every_row_of_the_demonstration_farm():
    job = exported("export_csv")
    tables = tables_in(made_file(job))
    for table in export_tables():
        assert len(tables[table.name]) == table.model.objects.count(), table.name
    flat = Flat.objects.filter(note="").first()
    row = next(row for row in tables["flats"] if row["code"] == flat.code)
    assert json.loads(row["blank_places"] or "null") == flat.blank_places
    marks = {row["uuid"]: row for row in tables["marks"]}
    for mark in Mark.objects.select_related("cell__flat", "check_ref")[:20]:
        row = marks[str(mark.uuid)]
        assert (row["check"], row["state"]) == (str(mark.check_ref.uuid), mark.state)
        assert (row["cell_flat"], row["cell_place_no"]) == (mark.cell.flat.code, str(mark.cell.place_no))
    runs = {row["key"] for row in tables["runs"]}
    assert {row["run"] for row in tables["cells"]} <= runs and len(runs) == Run.objects.count()
    assert job.done_count == job.total_count == sum(len(rows) for rows in tables.values())


def test_xlsx_has_the_same_rows_in_as_many_sheets():
    book = load_workbook(made_file(exported("export_xlsx")), read_only=True)
    assert book.sheetnames == ["README", *(table for table, _words in TABLES.values())]
    assert sum(1 for _row in book["cells"].iter_rows()) == Cell.objects.count() + 1
    codes = [row[0] for row in book["flats"].iter_rows(min_row=2, values_only=True)]
    assert codes == list(Flat.objects.order_by("pk").values_list("code", flat=True))
