"""Insert many rows in one statement, leaving out those whose unique key is there already."""

import json
from collections.abc import Sequence
from typing import Any

from django.db import connection, models


def insert_new(rows: Sequence[models.Model]) -> None:
    """Insert ``rows`` (of one model) in one statement; a row in conflict with a unique key is left out.

    SQLite allows Django too few parameters for that, so there the rows travel as one JSON text.
    """
    if not rows:
        return
    model = type(rows[0])
    if connection.vendor != "sqlite":
        model._default_manager.bulk_create(rows, ignore_conflicts=True)
        return
    fields = [field for field in model._meta.concrete_fields if not isinstance(field, models.AutoField)]
    values = json.dumps(list(zip(*(_column(field, rows) for field in fields), strict=True)))
    quote = connection.ops.quote_name
    columns = ", ".join(quote(str(field.column)) for field in fields)
    picks = ", ".join(f"json_extract(value, '$[{index}]')" for index in range(len(fields)))
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {quote(model._meta.db_table)} ({columns}) "
            f"SELECT {picks} FROM json_each(%s) WHERE true ON CONFLICT DO NOTHING",
            [values],
        )


def _column(field: Any, rows: Sequence[models.Model]) -> list[Any]:
    """Return the values of ``field`` as SQLite stores them; most rows of a batch share most of them."""
    found, name = [], field.attname
    last, stored = object(), None
    for row in rows:
        value = getattr(row, name)
        if value is not last:
            last, stored = value, field.get_db_prep_save(value, connection)
        found.append(stored)
    return found
