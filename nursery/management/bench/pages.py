"""The page of a flat of 288 cells; labels."""

from collections.abc import Iterator

from nursery.labels.timing import time_labels
from nursery.management.bench.asking import Asker, with_floors
from nursery.management.bench.book import make_flats
from nursery.management.bench.figures import Goal, Measured, Row, in_turn, milliseconds
from nursery.management.bench.floor_urls import buttons
from nursery.management.bench.profiling import profile_of


def measure_page(*, repeats: int, times: int) -> Iterator[Row]:
    """Yield a row for the page on which a flat of 288 cells is checked."""
    asker = Asker.logged_in()
    (flat,) = make_flats(1, 12, 24)
    cells = [(place, True) for place in range(1, 289)]
    with with_floors():
        page = f"/{flat.code}/check"
        mine, least = in_turn(
            lambda: milliseconds(lambda: asker.ask(page)),
            lambda: milliseconds(lambda: asker.ask(f"/floor/page/{flat.pk}")),
            times=times,
            repeats=repeats,
        )
        row = Row(
            "page-288",
            "the page that checks 288 cells / buttons by f-string after one query, same middleware",
            Measured("ms", mine), Measured("ms", least), Goal(10),
            more={"string_alone_ms": round(milliseconds(lambda: buttons(cells)), 4),
                  "bytes": len(asker.ask(page))},
        )  # fmt: skip
        if row.status != "met":
            row.profile = profile_of(lambda: asker.ask(page))
    yield row


def measure_labels(*, repeats: int, count: int) -> Iterator[Row]:
    """Yield the first print and the reprint of labels, each against the libraries used plainly."""
    rounds = time_labels(count, rounds=repeats)
    floor = Measured("labels/s", tuple(one["floor"] for one in rounds))
    for name, what, limit in (
        ("labels-first", "labels printed for the first time / qrcode and reportlab used plainly", 1.2),
        ("labels-reprint", "the same labels printed again / qrcode and reportlab used plainly", 4),
    ):
        key = name.removeprefix("labels-")
        ours = Measured("labels/s", tuple(one[key] for one in rounds))
        yield Row(name, what, ours, floor, Goal(limit, is_at_least=True), more={"labels": count})
