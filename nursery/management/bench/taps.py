"""A batch of marks against a view that inserts one row, in turn, in one process."""

import uuid
from collections.abc import Iterator
from typing import Any

from django.db import connection

from nursery.management.bench.asking import Asker, with_floors
from nursery.management.bench.book import batch_data, check_data, make_flats, opened_check
from nursery.management.bench.figures import Goal, Measured, Row, in_turn, milliseconds
from nursery.management.bench.profiling import profile_of
from nursery.models import Flat

GOALS = {  # marks in a batch: at most so many times the floor
    "sqlite": {10: Goal(6), 100: Goal(25)},
    "postgresql": {10: Goal(4), 100: Goal(8)},
}
PLACES = 144  # of a flat, so that 100 marks fit in one


def measure_batches(*, repeats: int, times: int) -> Iterator[Row]:
    """Yield a row for batches of 10 and of 100 marks, each the first of a new check of a fresh flat."""
    asker = Asker.logged_in()
    with with_floors():
        for size in (10, 100):
            yield _measure(asker, size, repeats=repeats, times=times)


def _measure(asker: Asker, size: int, *, repeats: int, times: int) -> Row:
    flats = iter(make_flats(repeats * times + 60, 8, PLACES // 8))
    check_id, cell_id = opened_check(next(flats))
    device = str(uuid.uuid4())
    sent: dict[str, Any] = {}

    def prepared() -> dict[str, Any]:
        sent.clear()
        sent.update(_batch(next(flats), size, device), floor={"check": check_id, "cell": cell_id})
        return sent

    def ours() -> float:
        batch = prepared()
        return milliseconds(lambda: asker.ask("/api/marks", batch))

    def floor() -> float:  # it reads the same batch
        return milliseconds(lambda: asker.ask("/floor/insert", sent))

    mine, least = in_turn(ours, floor, times=times, repeats=repeats)
    row = Row(
        f"batch-{size}",
        f"a batch of {size} marks / one INSERT of a row, same middleware and database settings",
        Measured("ms", mine), Measured("ms", least), GOALS[connection.vendor][size],
        note="in process, through the whole WSGI stack; first batch of a new check of a fresh flat of 144",
    )  # fmt: skip
    if row.status != "met":
        row.profile = profile_of(lambda: asker.ask("/api/marks", prepared()))
    return row


def _batch(flat: Flat, size: int, device: str) -> dict[str, Any]:
    return batch_data(check_data(flat), range(1, size + 1), device, is_first=True)
