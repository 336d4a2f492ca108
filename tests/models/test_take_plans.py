"""How the databases go about the take report: no count is read that is not shown."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.actions.synthetic import make_synthetic_book
from nursery.models.take_reading import records_sql
from nursery.models.take_rows import RowNames
from nursery.models.takes import TakeBy, TakeFilter, take_report

pytestmark = pytest.mark.django_db


def plan_of(sql, params=()):
    explain = "EXPLAIN QUERY PLAN" if connection.vendor == "sqlite" else "EXPLAIN"
    with connection.cursor() as cursor:
        cursor.execute(f"{explain} {sql}", params)
        return [str(row[-1]) for row in cursor.fetchall()]


def asked_for():
    sql, params, _width = records_sql(TakeFilter().counts(), RowNames(TakeBy.PAIRING))
    return sql, params


def test_records_are_summed_flat_by_flat_in_one_pass_over_their_index():
    make_synthetic_book(100_000)
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:  # what a table of 2,000 counts is too small to be worth
            cursor.execute("SET LOCAL enable_seqscan = off; SET LOCAL enable_bitmapscan = off")
            cursor.execute("SET LOCAL enable_hashagg = off; SET LOCAL enable_sort = off")
    lines = plan_of(*asked_for())
    (scan,) = (line for line in lines if "scan" in line.lower() and "daycount" in line)
    if connection.vendor == "sqlite":
        assert scan == "SCAN nursery_daycount USING COVERING INDEX day_count_records"
        # The index has the flats in order: only the rows of the report are sorted.
        assert lines.count("USE TEMP B-TREE FOR GROUP BY") == 1
    else:
        assert "Index Only Scan using day_count_records" in scan


@pytest.mark.parametrize("by", list(TakeBy))
def test_no_statement_scans_all_counts(by):
    make_synthetic_book(50_000)
    with CaptureQueriesContext(connection) as asked:
        take_report(by=by)
    for query in asked.captured_queries:
        if connection.vendor == "sqlite" and "nursery_daycount" in query["sql"]:
            for line in plan_of(query["sql"]):
                scans = line.startswith("SCAN") and "daycount" in line
                assert not scans or "INDEX day_count_records" in line, line
