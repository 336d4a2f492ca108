"""The take report over a book of invented counts, against one query that sums the records per flat."""

import time
from collections.abc import Iterator

from django.db import connection

from nursery.actions.synthetic import make_synthetic_book
from nursery.management.bench.asking import Asker
from nursery.management.bench.figures import Goal, Measured, Row, in_turn, milliseconds
from nursery.management.bench.profiling import profile_of
from nursery.models import Season

FLOOR = """
SELECT pairing_id, count(*), sum(alive), sum(grafted), sum(1.0 * alive * alive / grafted)
FROM (SELECT pairing_id, flat_id, sum(alive + gone - gone_early) AS alive,
             sum(grafted - gone_early) AS grafted
      FROM nursery_daycount WHERE is_record AND grafted > gone_early GROUP BY pairing_id, flat_id) AS flats
GROUP BY pairing_id
"""


def measure_takes(cells: int, *, repeats: int, times: int) -> Iterator[Row]:
    """Yield a row for the page of takes over so many cells, in an empty database."""
    began = time.perf_counter()
    book = make_synthetic_book(cells)
    made_in = time.perf_counter() - began
    asker = Asker.logged_in()
    season = Season.objects.create(name="Nothing grafted", starts_on="1990-01-01", ends_on="1990-12-31")
    fixed = f"/takes?season={season.key}"
    page, least = in_turn(
        lambda: milliseconds(lambda: asker.ask("/takes")),
        lambda: milliseconds(_floor),
        times=times,
        repeats=repeats,
    )
    empty, _again = in_turn(
        lambda: milliseconds(lambda: asker.ask(fixed)),
        lambda: milliseconds(_floor),
        times=times,
        repeats=repeats,
    )
    row = Row(
        f"takes-{cells}",
        f"take report over {cells:,} cells, less the page without a count / one query with sums per flat",
        Measured("ms", tuple(whole - part for whole, part in zip(page, empty, strict=True))),
        Measured("ms", least), Goal(2) if cells >= 10_000_000 else None,
        note="the page's fixed cost stands apart: fixed_ms is the same page with nothing counted",
        more={
            "page_ms": round(Measured("ms", page).median, 2),
            "fixed_ms": round(Measured("ms", empty).median, 2),
            "flats": book.flats, "runs": book.runs, "counts": book.counts, "made_in_s": round(made_in, 1),
        },
    )  # fmt: skip
    if row.status == "not met":
        row.profile = profile_of(lambda: asker.ask("/takes"), times=2)
    yield row


def _floor() -> None:
    with connection.cursor() as cursor:
        cursor.execute(FLOOR)
        cursor.fetchall()
